package scattering

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"fascicle/stages/correction"
	"fascicle/stages/importing"
)

// openCurve reads q, I, u of a file of the open data set; q from 1/Å to 1/nm.
func openCurve(t *testing.T, name string) (q, i, u []float64) {
	t.Helper()
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	data, err := os.ReadFile(filepath.Join(dir, "scattering", name))
	if err != nil {
		t.Fatal(err)
	}
	text, err := importing.ParseText(data)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range text.Columns[0] {
		q = append(q, 10*x)
	}
	return q, text.Columns[1], text.Columns[2]
}

// Lysozyme at 8 mg/mL less its buffer. The data set (BioStruct-UdeM, lysozyme
// SAXS tutorial data) states Rg 14.36(4) Å and I0 0.01180(2) for
// 0.0134 < q < 0.0895 1/Å. Those ends are the rounded positions of the points at
// 0.0133653 and 0.0895351 1/Å: with both of them, 58 points, the weighted line
// gives the stated digits; taken literally the ends leave both out, and the
// result lies within one u. The numbers below are from the normal equations in
// exact rational arithmetic (Python, fractions.Fraction).
func TestGuinierLysozyme(t *testing.T) {
	q, i, u := openCurve(t, "lys8_averaged.dat")
	_, ib, ub := openCurve(t, "lys_buffer_averaged.dat")
	d, err := correction.Subtract(q, i, u, q, ib, ub, 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name      string
		low, high float64 // 1/Å
		points    int
		rg, urg   float64 // Å
		i0, ui0   float64
		chi2      float64
	}{
		{"the points meant", 0.01336, 0.08954, 58, 14.356275420224183, 0.042671045488092016, 0.011797185258287738, 2.0253688426324513e-05, 131.6248118962292},
		{"the printed ends", 0.0134, 0.0895, 56, 14.328231224008675, 0.044439081183796705, 0.011789270702909213, 2.0570633688538296e-05, 125.53600452677598},
	} {
		t.Run(c.name, func(t *testing.T) {
			first, last := len(q), 0
			for k, x := range q {
				if x >= 10*c.low && x <= 10*c.high {
					first, last = min(first, k), max(last, k)
				}
			}
			g := FitGuinier(q[first:last+1], d.Y[first:last+1], d.U[first:last+1], Line, nil)
			if g.N != c.points || g.DOF != c.points-2 {
				t.Errorf("%d points, want %d", g.N, c.points)
			}
			near(t, "Rg", 10*g.Rg, c.rg, 1e-9)
			near(t, "u(Rg)", 10*g.URg, c.urg, 1e-9)
			near(t, "I0", g.I0, c.i0, 1e-9)
			near(t, "u(I0)", g.UI0, c.ui0, 1e-9)
			near(t, "chi2", g.Chi2, c.chi2, 1e-8)
			if math.Abs(10*g.Rg-14.36) > 0.04 || math.Abs(g.I0-0.01180) > 0.00002 {
				t.Errorf("Rg %.3f Å, I0 %.6f: more than one u from the published 14.36(4) Å, 0.01180(2)", 10*g.Rg, g.I0)
			}
		})
	}
	// At this concentration the particles repel each other: the search sees the
	// downturn, and leaving it out raises Rg towards the 14.67(3) Å that the
	// data set states from p(r).
	r, g := search(t, q, d.Y, d.U, RangeOptions{}, nil)
	if r.Status != Fitted || r.LowQ != Downturn || !(10*g.Rg > 14.36 && 10*g.Rg < 14.67+2*10*g.URg) {
		t.Errorf("search: %+v, Rg %.2f(%.2f) Å", r, 10*g.Rg, 10*g.URg)
	}
}

// RNA of 30 bases in 600 mM NaCl (TongGeorgeWang, RNAcondensatesCVSAXS): the
// data set states Rg 23.25(6) Å and I0 0.042376 over its first 30 points, up to
// q·Rg = 1.28. The search finds the same range.
func TestGuinierRNA(t *testing.T) {
	q, i, u := openCurve(t, "rU30_600mMNaCl_normalBuffer.dat")
	r, g := search(t, q, i, u, RangeOptions{Limit: 1.3, Shape: Chain}, nil)
	if r.First != 0 || r.Last != 29 || r.LowQ != Straight {
		t.Errorf("range %+v, want points 0 to 29", r)
	}
	if math.Abs(10*g.Rg-23.25) > 0.005 || math.Abs(10*g.URg-0.06) > 0.005 || math.Abs(g.I0-0.042376) > 5e-7 {
		t.Errorf("Rg %.3f(%.3f) Å, I0 %.6f; stated 23.25(6) Å, 0.042376", 10*g.Rg, 10*g.URg, g.I0)
	}
}

// The same RNA condensed with a polycation rises steeply towards low q.
func TestGuinierCondensateIsRefused(t *testing.T) {
	q, i, u := openCurve(t, "rU30PR30_150mMNaCl_contrastMatched.dat")
	for _, s := range []Shape{Compact, Chain} {
		for _, v := range [][]float64{u, nil} {
			if r, _ := FindGuinier(q, i, v, RangeOptions{Shape: s}, nil); r.Status != NoPlateau {
				t.Errorf("shape %d, u known %v: %+v", s, v != nil, r)
			}
		}
	}
}
