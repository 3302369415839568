package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"fascicle/pipeline"
)

// realStudy copies a study of testdata into a new folder, and the files of the open data set that match beside it. It skips the test
// where there are none.
func realStudy(t *testing.T, study string, patterns ...string) (dir, open string) {
	t.Helper()
	open = os.Getenv("FASCICLE_OPEN_DATA")
	if open == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	dir = filepath.Join(t.TempDir(), study)
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(root, "testdata", study))); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "raw"), 0o777); err != nil {
		t.Fatal(err)
	}
	for _, p := range patterns {
		files, err := filepath.Glob(filepath.Join(open, filepath.FromSlash(p)))
		if err != nil || len(files) == 0 {
			t.Fatal(p, files, err)
		}
		for _, f := range files {
			if err := copyFile(f, filepath.Join(dir, "raw", filepath.Base(f)), 0o666); err != nil {
				t.Fatal(err)
			}
		}
	}
	return dir, open
}

// numbers are the values of a study, by STAGE/NAME/ITEM.
type numbers map[string]pipeline.Value

func readNumbers(t *testing.T, dir string) numbers {
	t.Helper()
	out := numbers{}
	for _, v := range readValues(t, dir) {
		out[v.Stage+"/"+v.Name+"/"+v.Item] = v
	}
	return out
}

// value gives a number in the unit that is expected of it, and its uncertainty (NaN: none is known).
func (n numbers) value(t *testing.T, address, unit string) (x, u float64) {
	t.Helper()
	v, ok := n[address]
	if !ok || v.Value == nil {
		t.Fatalf("values.json has no %s", address)
	}
	if v.Unit != unit {
		t.Errorf("%s is in %q, expected %q", address, v.Unit, unit)
	}
	u = math.NaN()
	if v.U != nil {
		u = *v.U
	}
	return *v.Value, u
}

// near holds a number and its uncertainty against others, both within the same relative distance.
func (n numbers) near(t *testing.T, address, unit string, value, u, within float64) {
	t.Helper()
	x, ux := n.value(t, address, unit)
	if math.Abs(x/value-1) > within || math.Abs(ux/u-1) > within {
		t.Errorf("%s = %v ± %v, expected %v ± %v", address, x, ux, value, u)
	}
}

// flagged tells whether one of a number's flags holds a text.
func (n numbers) flagged(address, text string) bool {
	return slices.ContainsFunc(n[address].Flags, func(f string) bool { return strings.Contains(f, text) })
}

// Rhodamine 6G in methanol (Edinburgh-Chemistry-Teaching, Data-driven chemistry, CC BY 4.0): nine scans of five solutions, four of which
// bear a concentration. The maximum lies near 528 nm and the molar absorptivity there is 1.1e5 L/(mol cm) (literature, from memory), while
// the labels give about 1e3. The study must find both, and question the labels.
//
// Heights are held against the highest of the net readings themselves; the Beer–Lambert line against the normal equations of a weighted
// line (labels without error); the factor of the line through zero against the closed form g = ΣK·L/ΣK² over the readings' means, of
// equal weight since their noise is not known.
func TestRhodamine(t *testing.T) {
	dir, _ := realStudy(t, "rhodamine", "spectra/r6g_methanol_*.csv")
	fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	if t.Failed() {
		return
	}
	const known = 1.1e5                                                                  // L/(mol cm)
	const noise = 0.0002                                                                 // of a reading, as neighbouring ones differ
	labels := map[string]float64{"A": 0.055e-3, "D": 0.03e-3, "E": 0.01e-3, "F": 0.1e-3} // mol/L
	found := readNumbers(t, dir)
	blank := absorbances(t, filepath.Join(dir, "raw", "r6g_methanol_blank.csv"))
	sumKL, sumKK := 0.0, 0.0
	var w, wx, wy, wxx, wxy float64 // sums of the normal equations
	for solution, scans := range map[string]int{"A": 3, "C": 1, "D": 1, "E": 1, "F": 3} {
		if m, u := found.value(t, "maxima/mean/solution="+solution, "nm"); math.Abs(m-528) > 1 || !(u < 0.2) {
			t.Errorf("the maximum of %s lies at %.2f ± %.2f nm, expected near 528", solution, m, u)
		}
		label, labelled := labels[solution]
		heights := 0.0
		for k := range scans {
			scan := solution + strconv.Itoa(k+1)
			net := absorbances(t, filepath.Join(dir, "raw", "r6g_methanol_"+scan+".csv"))
			top, mean := 0.0, 0.0
			for wavelength := 500; wavelength <= 550; wavelength++ {
				a := net[wavelength] - blank[wavelength]
				top = max(top, a)
				if wavelength >= 525 && wavelength <= 530 {
					mean += a / 6
				}
			}
			height, u := found.value(t, "bands/height/sample="+scan, "1/cm")
			if math.Abs(height-top) > 2*noise {
				t.Errorf("%s: height %.5f/cm, the highest reading is %.5f", scan, height, top)
			}
			heights += height / float64(scans)
			if !labelled {
				if v := found["by_scan/molar/sample="+scan]; v.Value != nil {
					t.Errorf("%s bears no concentration, but has a molar absorptivity of %v", scan, *v.Value)
				}
				continue
			}
			p := 1 / (u * u)
			w, wx, wy, wxx, wxy = w+p, wx+p*label, wy+p*height, wxx+p*label*label, wxy+p*label*height
			sumKL, sumKK = sumKL+known*label*mean, sumKK+known*label*known*label
			molar, _ := found.value(t, "by_scan/molar/sample="+scan, "L/(mol.cm)")
			if math.Abs(molar/(height/label)-1) > 1e-12 {
				t.Errorf("%s: molar absorptivity %.5g L/(mol cm), expected %.5g", scan, molar, height/label)
			}
			over, _ := found.value(t, "by_scan/label_over_absorbance/sample="+scan, "1")
			if over < 50 || over > 120 { // E alone is near 54
				t.Errorf("%s: the label is %.4g times what the absorbance says, expected about a hundred times", scan, over)
			}
		}
		if labelled {
			molar, _ := found.value(t, "molar/mean/solution="+solution, "L/(cm.mmol)")
			if expected := heights / label / 1e3; math.Abs(molar/expected-1) > 1e-9 {
				t.Errorf("%s: the labels give %.6g L/(mmol cm), expected %.6g", solution, molar, expected)
			}
		}
	}
	det := w*wxx - wx*wx
	found.near(t, "line/slope/all", "L/(cm.mmol)", (w*wxy-wx*wy)/det/1e3, math.Sqrt(w/det)/1e3, 1e-6)
	if slope, _ := found.value(t, "line/slope/all", "L/(cm.mmol)"); slope < 0.9 || slope > 1.1 {
		t.Errorf("the labels give %.4g L/(mmol cm), expected near 1, where 110 is known", slope)
	}
	if !found.flagged("line/slope/all", "times as much about the fit as their uncertainties say") {
		t.Error("the points lie nowhere near a line, for their u, and nobody says so")
	}
	if factor, _ := found.value(t, "label/factor/all", "1"); math.Abs(factor*sumKL/sumKK-1) > 1e-9 {
		t.Errorf("the line says that labels are %.6g times too high, the closed form %.6g times", factor, sumKK/sumKL)
	}
	const disagree = "the standards disagree beyond the scatter of their readings"
	if !found.flagged("label/factor/all", disagree) {
		t.Error("the labels are not proportional to the absorbance either, and nobody says so")
	}
	page := text(t, filepath.Join(dir, "out", "report.html"))
	for _, want := range []string{"and what its labels say", "label_over_absorbance", disagree} {
		if !strings.Contains(page, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

// absorbances reads a scan in steps of 1 nm by itself.
func absorbances(t *testing.T, name string) map[int]float64 {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	out := map[int]float64{}
	for line := range strings.Lines(string(data)) {
		var nm int
		var a float64
		if n, _ := fmt.Sscanf(line, "%d,%g", &nm, &a); n == 2 {
			out[nm] = a
		}
	}
	return out
}

// Labels (1: a condensate, 0: none) of poly-aspartate and poly-lysine with NaCl, Leurs et al., ChemRxiv 2024-frnj3, Zenodo 16949697,
// AspLys_NaCl_start.csv. Where a condensate dissolves was read off the labels by eye: between two of the salts that were tried, or beyond
// the last of them.
func TestPeptides(t *testing.T) {
	dir, open := realStudy(t, "peptides")
	writePeptideSheet(t, filepath.Join(open, "turbidity", "AspLys_NaCl_start.csv"), filepath.Join(dir, "samples.csv"))
	fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	if t.Failed() {
		return
	}
	found := readNumbers(t, dir)
	for _, c := range []struct {
		series  string
		windows float64
		bound   string // of the edge at which it clears
		lo, hi  float64
	}{
		{series: "asp=2.4,lys=1.6", windows: 1, bound: "interval", lo: 0.6, hi: 1},
		{series: "asp=1.2,lys=0.8", windows: 1, bound: "interval", lo: 0.6, hi: 1},
		{series: "asp=0.6,lys=0.4", windows: 1, bound: "lower", lo: 1},
		{series: "asp=0.3,lys=0.2", windows: 1, bound: "lower", lo: 1},
		{series: "asp=1,lys=1", windows: 1, bound: "interval", lo: 0.5, hi: 1},
		{series: "asp=0.5,lys=0.5", windows: 1, bound: "interval", lo: 1, hi: 1.5},
		{series: "asp=0.25,lys=0.25", windows: 1, bound: "interval", lo: 1, hi: 1.5},
		{series: "asp=0.125,lys=0.125", windows: 1, bound: "interval", lo: 1, hi: 1.5},
		{series: "asp=0.0625,lys=0.0625"}, // never turbid at the salts tried
	} {
		t.Run(c.series, func(t *testing.T) {
			if n, _ := found.value(t, "edges/windows/"+c.series, "1"); n != c.windows {
				t.Fatalf("%v turbid windows, expected %v", n, c.windows)
			}
			closes := found["edges/closes/"+c.series]
			if closes.Unit != "mol/L" || string(closes.Bound) != c.bound {
				t.Fatalf("closes in %q with bound %q, expected mol/L and %q", closes.Unit, closes.Bound, c.bound)
			}
			switch c.bound {
			case "interval":
				if closes.Lo == nil || closes.Hi == nil || math.Abs(*closes.Lo-c.lo) > 1e-12 || math.Abs(*closes.Hi-c.hi) > 1e-12 {
					t.Errorf("closes from %v to %v, expected %v to %v mol/L", closes.Lo, closes.Hi, c.lo, c.hi)
				}
			case "lower":
				if closes.Value == nil || math.Abs(*closes.Value-c.lo) > 1e-12 {
					t.Errorf("closes beyond %v, expected beyond %v mol/L", closes.Value, c.lo)
				}
			case "":
				if closes.Value != nil {
					t.Errorf("it closes at %v without ever being turbid", *closes.Value)
				}
			}
			if opens := found["edges/opens/"+c.series]; c.windows > 0 && string(opens.Bound) != "upper" {
				t.Errorf("turbid from the first salt on, but opens has the bound %q", opens.Bound)
			}
		})
	}
}

// writePeptideSheet makes a sheet of the table of labels: a name in front of each row, and heads that are names with units.
func writePeptideSheet(t *testing.T, from, to string) {
	t.Helper()
	f, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	b.WriteString("sample,asp [mmol/L],lys [mmol/L],salt [mmol/L],label\n")
	for i, row := range rows[1:] {
		fmt.Fprintf(&b, "P%02d,%s\n", i+1, strings.Join(row, ","))
	}
	if err := os.WriteFile(to, []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
}

// Luminescence of a III–V semiconductor at five powers (Max Grossmann, TRPL data, MIT): for the weakest 6.06 ± 0.0265 ns were published,
// a single exponential; range and estimator are not told. At higher powers the decay is no single exponential, and the fits must say so.
//
// There is no response. That costs: the time of the pulse, and so the amplitude at that time; whatever decays as fast as the response;
// and the certainty that the response has died out where the fit begins, at the highest channel. From 5 ns on, more than half of the
// counts are gone, and the standard uncertainty is 1.5 times as large. The two lifetimes share the later counts: their difference has
// the variance u²(later) − u²(all), since the whole tail's is the efficient estimate.
func TestTransients(t *testing.T) {
	dir, _ := realStudy(t, "transients", "decay/trpl_sample1.csv")
	fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	if t.Failed() {
		return
	}
	found := readNumbers(t, dir)
	const published, uPublished = 6.06, 0.0265 // ns
	tau, u := found.value(t, "lifetimes/tau_1/sample=x2", "ns")
	if d := math.Abs(tau - published); d > 2*math.Hypot(u, uPublished) {
		t.Errorf("%.4f ± %.4f ns, published 6.06 ± 0.0265 ns", tau, u)
	}
	if math.Abs(u/uPublished-1) > 0.05 {
		t.Errorf("u = %.4f ns, published 0.0265 ns", u)
	}
	later, uLater := found.value(t, "later/tau_1/sample=x2", "ns")
	if d := later - tau; math.Abs(d) > 3*math.Sqrt(uLater*uLater-u*u) {
		t.Errorf("from 5 ns on %.4f ± %.4f ns, of the whole tail %.4f ± %.4f ns: they differ by more than the counts left out explain", later, uLater, tau, u)
	}
	const poor = "the fit does not describe the decay"
	for _, transient := range []string{"x2", "x3", "x4", "x5", "x6"} {
		if said, expected := found.flagged("lifetimes/tau_1/sample="+transient, poor), transient != "x2"; said != expected {
			t.Errorf("%s: said that one exponential is not enough: %v, expected %v", transient, said, expected)
		}
	}
	page := text(t, filepath.Join(dir, "out", "report.html"))
	for _, want := range []string{"no response is fed: the tail from", "lifetimes that are short against the response are lost", poor} {
		if !strings.Contains(page, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
}

// Lysozyme at 4 and 8 mg/mL (BioStruct-UdeM, lysozyme SAXS tutorial data, MIT), single exposures less the averaged buffer. Published for
// 8 mg/mL, of all exposures: Rg = 14.36(4) Å. The numbers expected are the normal equations of the weighted line in rational arithmetic
// (Python's fractions.Fraction, from the same files).
//
// Two exposures of the same 8 mg/mL differ in forward scattering by 3.5 %, five times what their u allow, while their radii agree. A
// single exposure's intensity is not believable to its u, and the study must say so instead of averaging it away.
func TestLysozymeTwice(t *testing.T) {
	dir, _ := realStudy(t, "lysozyme-two", "scattering/lys4_frame*.dat", "scattering/lys8_frame*.dat", "scattering/lys_buffer_averaged.dat")
	fascicle(t, "run", dir).want(t, 0, []string{"0 failed, 0 blocked"}, nil)
	if t.Failed() {
		return
	}
	const angstrom = 0.1 // nm
	found := readNumbers(t, dir)
	for _, c := range []struct {
		item            string
		rg, urg, i0, ui float64
	}{
		{"sample=lys4,exposure=000", 14.324911525322976, 0.19715325421585267, 0.005709713142801445, 4.5110779050601956e-05},
		{"sample=lys8,exposure=000", 14.356418919118765, 0.11476494264602966, 0.01247660815401829, 5.769914449748214e-05},
		{"sample=lys8,exposure=001", 14.5184975015952, 0.11628023273594791, 0.012045080864804925, 5.663430681745148e-05},
	} {
		found.near(t, "guinier/Rg_1/"+c.item, "nm", c.rg*angstrom, c.urg*angstrom, 1e-9)
		found.near(t, "guinier/I0_1/"+c.item, "1", c.i0, c.ui, 1e-9)
	}
	four, uFour := found.value(t, "size/mean/protein=4", "nm")
	eight, uEight := found.value(t, "size/mean/protein=8", "nm")
	if d := math.Abs(four - eight); d > 2*math.Hypot(uFour, uEight) {
		t.Errorf("Rg %.3f ± %.3f nm at 4 mg/mL and %.3f ± %.3f nm at 8 mg/mL: one protein, two sizes", four, uFour, eight, uEight)
	}
	if d := math.Abs(eight - 1.436); d > 2*math.Hypot(uEight, 0.004) {
		t.Errorf("Rg %.3f ± %.3f nm at 8 mg/mL, published 1.436(4) nm", eight, uEight)
	}
	// the mean of two with the inverse squares of their u as weights
	w1, w2 := 1/(5.769914449748214e-05*5.769914449748214e-05), 1/(5.663430681745148e-05*5.663430681745148e-05)
	mean := (w1*0.01247660815401829 + w2*0.012045080864804925) / (w1 + w2) / 8
	found.near(t, "forward/mean/protein=8", "mL/mg", mean, 1/math.Sqrt(w1+w2)/8, 1e-9)
	const scatter = "times as much as their uncertainties say"
	if !found.flagged("forward/mean/protein=8", scatter) || found.flagged("size/mean/protein=8", scatter) {
		t.Error("the forward scattering of the two exposures differs by more than its u, their radii do not; expected a flag at the first alone")
	}
}
