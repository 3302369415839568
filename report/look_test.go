package report

import (
	"context"
	"os"
	"testing"
)

// TestLook writes a report to the folder that the environment names, for looking at it.
func TestLook(t *testing.T) {
	dir := os.Getenv("FASCICLE_LOOK")
	if dir == "" {
		t.Skip("FASCICLE_LOOK is not set")
	}
	res, err := Write(context.Background(), fullFake(t, dir).Outcome)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%+v", res)
}
