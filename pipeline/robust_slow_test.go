//go:build slow

package pipeline_test

// slow says that tests of robustness try everything, which takes minutes: go test -tags slow.
const slow = true
