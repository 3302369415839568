//go:build unix

package lifetime

import (
	"math"
	"os"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// peerDecays reads what testdata/peer/reconvolution.py wrote: a response and decays, a column each.
func peerDecays(tb testing.TB) (response []float64, decays [][]float64) {
	tb.Helper()
	name := os.Getenv("FASCICLE_PEER")
	if name == "" {
		tb.Skip("FASCICLE_PEER is not set: see testdata/peer/reconvolution.py")
	}
	text, err := os.ReadFile(name)
	if err != nil {
		tb.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		for i, cell := range strings.Split(strings.TrimSpace(line), ",") {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				tb.Fatal(err)
			}
			if i == 0 {
				response = append(response, v)
				continue
			}
			if len(decays) < i {
				decays = append(decays, nil)
			}
			decays[i-1] = append(decays[i-1], v)
		}
	}
	return response, decays
}

// BenchmarkPeer fits the decays that SciPy fitted: an operation is one fit, search for a start and all.
func BenchmarkPeer(b *testing.B) {
	response, decays := peerDecays(b)
	r, err := PrepareResponse(response, -1)
	if err != nil {
		b.Fatal(err)
	}
	var w Workspace
	var s Solution
	i := 0
	b.ReportAllocs()
	began := cpu(b)
	for b.Loop() {
		p := Problem{Counts: decays[i%len(decays)], Last: len(response) - 1, Terms: 2,
			Shift: Fixable{Lo: -50, Hi: 50}, Background: Fixable{Hi: math.Inf(1)}, Scatter: Fixable{Fixed: true}}
		p.Use(r)
		if err := w.Fit(&s, &p, nil); err != nil || s.Status != Converged {
			b.Fatal(err, s.Status)
		}
		if i < 3 {
			b.Logf("decay %d tau1 %.5f tau2 %.5f a1 %.3f a2 %.3f shift %.5f b %.5f deviance %.4f", i, s.Tau[0], s.Tau[1], s.Amp[0], s.Amp[1], s.Shift, s.Background, s.Objective)
		}
		i++
	}
	b.ReportMetric(float64(cpu(b)-began)/float64(i), "cpu-ns/op")
}

// cpu is the processor time that the process has taken, in ns.
func cpu(b *testing.B) int64 {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return u.Utime.Nano() + u.Stime.Nano()
}
