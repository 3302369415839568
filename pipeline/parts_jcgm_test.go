package pipeline_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"fascicle/pipeline"
)

// partsStudy copies a study of testdata and runs it.
func partsStudy(t *testing.T, name string) map[string]pipeline.Value {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("testdata", name))); err != nil {
		t.Fatal(err)
	}
	return runValues(t, dir)
}

// runValues runs a study of the kinds above and gives its values by STAGE/NAME/ITEM.
func runValues(t testing.TB, dir string) map[string]pipeline.Value {
	t.Helper()
	r := run(t, dir, partsKinds(), pipeline.Options{})
	if len(r.failed)+len(r.blocked) > 0 {
		t.Fatal(r.messages)
	}
	values, err := r.ReadValues(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]pipeline.Value{}
	for _, v := range values {
		out[v.Stage+"/"+v.Name+"/"+v.Item] = v
	}
	return out
}

func near(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s is null, expected %g", what, want)
	} else if math.Abs(*got-want) > tolerance {
		t.Errorf("%s = %.9g, expected %g ± %g", what, *got, want, tolerance)
	}
}

// JCGM 100:2008, H.1: results as printed (50 000 838 nm, u_c 32 nm, ν_eff 16), to the digits that a calculator gives (Q1 of our check
// values: 31.710610, 16.656063); parts of table H.1.
func TestGaugeBlock(t *testing.T) {
	v := partsStudy(t, "jcgm/h1")["gauge/x/sample=gauge"]
	near(t, "l", v.Value, 50000838, 1e-6)
	near(t, "u(l)", v.U, 31.710610, 1e-5)
	near(t, "ν_eff", v.Nu, 16.656063, 1e-5)
	for src, want := range map[string]float64{"standard": 25, "difference": 9.7, "expansions": 2.9, "temperatures": -16.7} {
		p := v.Parts["constants."+src]
		near(t, "part of "+src, &p, want, 0.05)
	}
	for _, src := range []string{"expansion", "deviation"} {
		if p, ok := v.Parts["constants."+src]; ok {
			t.Errorf("%s has a part, %g: to first order it has none", src, p)
		}
	}
}

// JCGM 100:2008, H.2, table H.3, to the digits that a calculator gives (Q5 and Q6 of our check values). Once the three means are shared
// sources, once they lead and their covariance is own: the results must be the same.
func TestImpedance(t *testing.T) {
	all := partsStudy(t, "jcgm/h2")
	want := map[string][2]float64{"R": {127.732170, 0.071071}, "X": {219.846512, 0.295582}, "Z": {254.259702, 0.236336}}
	for name, w := range want {
		shared, own := all["element/"+name+"/sample=element"], all["lead/"+name+"/all"]
		near(t, "shared "+name, shared.Value, w[0], 2e-6)
		near(t, "u of shared "+name, shared.U, w[1], 1e-6)
		near(t, name, own.Value, w[0], 2e-6)
		near(t, "u of "+name, own.U, w[1], 1e-6)
		if *shared.Own != 0 || len(own.Parts) != 0 {
			t.Errorf("%s: own %g of the shared one, parts %v of the leading one: each should be one or the other", name, *shared.Own, own.Parts)
		}
		if len(shared.Parts) > 3 || len(shared.Parts) < 2 {
			t.Errorf("%s has the parts %v: three numbers have three directions", name, shared.Parts)
		}
	}
	for _, c := range []struct {
		a, b string
		r    float64
	}{{"R", "X", -0.588430}, {"R", "Z", -0.485259}, {"X", "Z", 0.992512}} {
		a, b := all["element/"+c.a+"/sample=element"], all["element/"+c.b+"/sample=element"]
		r := covariance(a, b) / *a.U / *b.U
		near(t, "r("+c.a+", "+c.b+")", &r, c.r, 2e-6)
	}
}

// covariance of two values by the parts that they share (JCGM 100:2008, 5.2.2).
func covariance(a, b pipeline.Value) float64 {
	s := 0.0
	for src, p := range a.Parts {
		s += p * b.Parts[src]
	}
	return s
}

// JCGM 100:2008, H.3 (Q7 of our check values): the correction at 30 °C is −0.1494 °C with u = 0.0041 °C; 0.0073 °C would be the mistake
// of taking intercept and slope for independent.
func TestThermometer(t *testing.T) {
	all := partsStudy(t, "jcgm/h3")
	near(t, "y1", all["line/y1/all"].Value, -0.171204, 1e-6)
	near(t, "u(y1)", all["line/y1/all"].U, 0.002878, 1e-6)
	near(t, "y2", all["line/y2/all"].Value, 0.0021827, 1e-7)
	near(t, "u(y2)", all["line/y2/all"].U, 0.00066794, 1e-8)
	b := all["correction/b/sample=t30"]
	near(t, "b(30 °C)", b.Value, -0.149377, 1e-6)
	near(t, "u of b(30 °C)", b.U, 0.004139, 1e-6)
	near(t, "ν of b(30 °C)", b.Nu, 9, 1e-9) // two directions of one covariance
	if at20 := all["correction/b/sample=t20"]; math.Abs(*at20.U-0.002878) > 1e-6 {
		t.Errorf("u of b(20 °C) = %g, expected that of y1", *at20.U)
	}
	if r := covariance(b, all["correction/b/sample=t20"]) / *b.U / *all["correction/b/sample=t20"].U; r >= 0 {
		t.Errorf("the corrections at 20 and 30 °C are correlated by %g, expected less than 0", r)
	}
}
