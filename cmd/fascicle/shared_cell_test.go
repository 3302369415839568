package main

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"

	"gonum.org/v1/gonum/mat"
)

// What the study in testdata/shared-cell states.
const (
	cellLength, uCell  = 1.0, 0.0008 // cm
	factor, uFactor    = 1.0142, 0.0008
	offset, uOffset    = 0.00150, 0.00040
	covFactorOffset    = -1.6e-7
	uReading           = 0.0008
	bandFrom, bandTo   = 470.0, 590.0 // nm
	scanStep           = 2.5          // nm
	bandWidth          = bandTo - bandFrom
	dilutions          = 12
	covarianceAgreesTo = 1e-5
)

// dilution is one sample by the closed form: the integral of its readings over the range, its concentration, and its area.
type dilution struct{ reading, donor, area float64 }

// The twelve areas are a_i = (o·W + f·S_i)/l with S_i = Σ w_k r_ik and W = Σ w_k. So, with the uncertainties of the cell, of factor and
// offset, and of the readings,
//
//	cov(a_i, a_j) = a_i·a_j·u²(l)/l² + [S_i·S_j·u²(f) + W²·u²(o) + (S_i + S_j)·W·cov(f, o)]/l² + δ_ij·f²·u²(r)·Σ w²/l²
//
// (JCGM 100:2008, 5.2.2). What the program makes of own parts and shared parts must be this matrix, and the mean of the areas for each
// concentration must have the u that it gives.
func TestTwelveSamplesOfOneCell(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "study")
	if err := os.CopyFS(dir, os.DirFS("../../testdata/shared-cell")); err != nil {
		t.Fatal(err)
	}
	fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	samples, weights := readDilutions(t, dir)
	expected := mat.NewSymDense(dilutions, nil)
	squares := 0.0
	for _, w := range weights {
		squares += w * w
	}
	for i, a := range samples {
		for j, b := range samples[:i+1] {
			v := a.area*b.area*uCell*uCell/cellLength/cellLength +
				(a.reading*b.reading*uFactor*uFactor+bandWidth*bandWidth*uOffset*uOffset+(a.reading+b.reading)*bandWidth*covFactorOffset)/cellLength/cellLength
			if i == j {
				v += factor * factor * uReading * uReading * squares / cellLength / cellLength
			}
			expected.SetSym(i, j, v)
		}
	}
	found := make([]pipeline.Value, 0, dilutions)
	var mean pipeline.Value
	for _, v := range readValues(t, dir) {
		switch {
		case v.Stage == "bands" && v.Name == "area":
			found = append(found, v)
		case v.Stage == "per_donor" && v.Name == "mean":
			mean = v
		}
	}
	scale := unitScale(t, found[0].Unit, "nm/cm")
	for i, a := range found {
		if x := *a.Value * scale; math.Abs(x-samples[i].area) > 1e-12*x {
			t.Errorf("%s: area %.9g, expected %.9g", a.Sample, x, samples[i].area)
		}
		for j, b := range found[:i+1] {
			v := 0.0
			for source, p := range a.Parts {
				v += p * b.Parts[source] * scale * scale
			}
			if i == j {
				v += *a.Own * *a.Own * scale * scale
			}
			want := expected.At(i, j)
			if off := math.Abs(v-want) / math.Sqrt(expected.At(i, i)*expected.At(j, j)); off > covarianceAgreesTo {
				t.Errorf("covariance of %s and %s: %.9g, expected %.9g (off by %.1g)", a.Sample, b.Sample, v, want, off)
			}
		}
	}
	right, naive := meanUncertainty(t, expected, samples)
	u := *mean.U * unitScale(t, mean.Unit, "nm.L/(cm.mmol)")
	if math.Abs(u-right) > covarianceAgreesTo*right {
		t.Errorf("u of the mean is %.9g, expected %.9g", u, right)
	}
	t.Logf("u of the mean %.4g; taken for independent %.4g", right, naive)
	if naive > 0.6*right {
		t.Errorf("taken for independent, the samples give the mean u = %.4g, hardly less than %.4g: the study shows nothing", naive, right)
	}
}

// meanUncertainty gives the u of the mean of area/donor of least variance, and that of the mistake of taking the areas for independent.
func meanUncertainty(t *testing.T, v *mat.SymDense, samples []dilution) (right, naive float64) {
	t.Helper()
	scaled := mat.NewSymDense(dilutions, nil)
	independent := 0.0
	for i, a := range samples {
		for j, b := range samples[:i+1] {
			scaled.SetSym(i, j, v.At(i, j)/a.donor/b.donor)
		}
		independent += 1 / scaled.At(i, i)
	}
	var inverse mat.Dense
	if err := inverse.Inverse(scaled); err != nil {
		t.Fatal(err)
	}
	return 1 / math.Sqrt(mat.Sum(&inverse)), 1 / math.Sqrt(independent)
}

func unitScale(t *testing.T, from, to string) float64 {
	t.Helper()
	a, errA := catalog.ParseUnit(from)
	b, errB := catalog.ParseUnit(to)
	c, err := catalog.Convert(a, b)
	if errA != nil || errB != nil || err != nil {
		t.Fatal(from, to, errA, errB, err)
	}
	return c.Delta(1)
}

// readDilutions reads the raw files by itself, and gives the weights of the trapezoid rule.
func readDilutions(t *testing.T, dir string) (samples []dilution, weights []float64) {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "samples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	for _, row := range rows[1:] {
		text, err := os.ReadFile(filepath.Join(dir, "raw", row[0]+".txt"))
		if err != nil {
			t.Fatal(err)
		}
		d := dilution{donor: number(row[1])}
		weights = nil
		for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n")[1:] {
			cells := strings.Fields(line)
			x := number(cells[0])
			if x < bandFrom || x > bandTo {
				continue
			}
			w := scanStep
			if x == bandFrom || x == bandTo {
				w /= 2
			}
			weights = append(weights, w)
			d.reading += w * number(cells[1])
		}
		d.area = (offset*bandWidth + factor*d.reading) / cellLength
		samples = append(samples, d)
	}
	if len(samples) != dilutions {
		t.Fatalf("%d samples", len(samples))
	}
	return samples, weights
}
