package pipeline_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"fascicle/pipeline"
)

// Stages begin while workers still read the files of others: run with -race, this finds state that both touch.
func TestStagesBeginWhileOthersRead(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "samples.csv", "sample\nS1\n")
	write(t, dir, "early/S1.csv", "1,1\n")
	for i := range 24 {
		write(t, dir, fmt.Sprintf("late/S1_%d.csv", i), fmt.Sprintf("1,%d\n", i))
	}
	var study strings.Builder
	study.WriteString("study: two imports\nsamples: samples.csv\ngraph:\n  c0: {kind: t.read, set: {files: early/<sample>.csv}}\n  late: {kind: t.read, set: {files: late/<sample>_<rep>.csv}}\n")
	for i := range 12 {
		fmt.Fprintf(&study, "  c%d: {kind: t.sign, from: {curve: c%d}}\n", i+1, i)
	}
	write(t, dir, "study.yaml", study.String())
	kinds := fixtureKinds(nil)
	out, err := pipeline.Run(context.Background(), load(t, dir, kinds), pipeline.Options{Jobs: 4})
	if err != nil {
		t.Fatal(err)
	}
	if c := out.Counts; c.Made+c.Kept != 1+24+12 || c.Failed+c.Blocked > 0 {
		t.Errorf("%+v", c)
	}
}
