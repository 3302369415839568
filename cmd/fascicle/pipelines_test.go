package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/stages"

	"gonum.org/v1/gonum/stat/distuv"
)

// readyMade lists the folders of the ready-made studies.
func readyMade(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(root, "pipelines", "*", pipeline.StudyFile))
	if err != nil || len(files) < 5 {
		t.Fatal(files, err)
	}
	for i, f := range files {
		files[i] = filepath.Dir(f)
	}
	return files
}

// Every ready-made study is in order as it lies there, with the sheet beside it and no raw file at all.
func TestReadyMadeStudiesAreInOrder(t *testing.T) {
	for _, dir := range readyMade(t) {
		t.Run(filepath.Base(dir), func(t *testing.T) {
			p, faults := pipeline.Load(dir, stages.Kinds())
			if len(faults) > 0 {
				t.Fatal(faults)
			}
			if len(p.Sheet.Rows) == 0 {
				t.Error("the sheet has no sample")
			}
			fascicle(t, "check", dir).want(t, 0, []string{"in order"}, nil)
		})
	}
}

// Every family has a ready-made study that uses it, but for import, which all use.
func TestReadyMadeStudiesUseEveryFamily(t *testing.T) {
	used := map[string]bool{}
	for _, dir := range readyMade(t) {
		p, faults := pipeline.Load(dir, stages.Kinds())
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		for _, s := range p.Study.Graph {
			family, _, _ := strings.Cut(s.Kind.Value, ".")
			used[family] = true
		}
	}
	for _, k := range stages.Kinds() {
		if family, _, _ := strings.Cut(k.Name, "."); !used[family] {
			t.Errorf("no ready-made study uses the family %s", family)
		}
	}
}

// bench writes invented measurements into a copy of a ready-made study.
type bench struct {
	t   *testing.T
	dir string
	rng *rand.Rand
}

func newBench(t *testing.T, study string) bench {
	t.Helper()
	dir := filepath.Join(t.TempDir(), study)
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(root, "pipelines", study))); err != nil {
		t.Fatal(err)
	}
	return bench{t, dir, rand.New(rand.NewPCG(7, uint64(len(study))))}
}

// count draws the counts of a channel.
func (b bench) count(mean float64) float64 {
	if mean == 0 {
		return 0
	}
	return distuv.Poisson{Lambda: mean, Src: b.rng}.Rand()
}

// scan writes a file of two columns.
func (b bench) scan(name string, from, to, step float64, y func(x float64) float64) {
	b.t.Helper()
	var out strings.Builder
	out.WriteString("invented\n")
	for k := range int(math.Round((to-from)/step)) + 1 {
		x := from + float64(k)*step
		fmt.Fprintf(&out, "%.6g,%.6g\n", x, y(x))
	}
	b.write(name, out.String())
}

func (b bench) write(name, text string) {
	b.t.Helper()
	name = filepath.Join(b.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
		b.t.Fatal(err)
	}
}

// run runs the study, in which everything must come out.
func (b bench) run() numbers {
	b.t.Helper()
	c := fascicle(b.t, "run", b.dir)
	c.want(b.t, 0, []string{"0 failed, 0 blocked"}, nil)
	if b.t.Failed() {
		b.t.FailNow()
	}
	// of a control or a solvent not everything is measured
	if strings.Count(c.out, "remark: ") != strings.Count(c.out, " has no file of ")+strings.Count(c.out, " has files of ") {
		b.t.Errorf("remarks:\n%s", c.out)
	}
	return readNumbers(b.t, b.dir)
}

// truth holds a number against what it was made from: within four standard uncertainties, which must be known and small.
func (n numbers) truth(t *testing.T, address, unit string, truth, atMost float64) {
	t.Helper()
	x, u := n.value(t, address, unit)
	if !(u > 0 && u < atMost) || math.Abs(x-truth) > 4*u {
		t.Errorf("%s = %.6g ± %.2g, made from %.6g; u is expected below %.2g", address, x, u, truth, atMost)
	}
}

func gauss(x, centre, sigma float64) float64 { return math.Exp(-0.5 * math.Pow((x-centre)/sigma, 2)) }

// Lifetimes and shares that the decays were drawn from come back, and with them the efficiency of the transfer.
func TestReadyMadeDecays(t *testing.T) {
	b := newBench(t, "decays")
	const width, channels, period = 0.05, 1000, 50.0
	response := func(x float64) float64 { return gauss(x, 3, 0.12) }
	for _, day := range []string{"d1", "d2"} {
		b.scan("raw/response/"+day+".csv", 0, width*(channels-1), width, func(x float64) float64 { return b.count(60000 * response(x)) })
	}
	type decay struct {
		day        string
		amplitudes []float64 // counts a channel of a response of area 1
		taus       []float64
	}
	decays := map[string]decay{
		"M30":  {"d1", []float64{2500, 2500}, []float64{0.9, 3.2}},
		"M60":  {"d1", []float64{4000, 1500}, []float64{0.7, 2.8}},
		"M30s": {"d2", []float64{2000, 3000}, []float64{1.1, 3.4}},
		"V":    {"d1", []float64{5000}, []float64{3.9}},
		"Vs":   {"d2", []float64{5000}, []float64{4.1}},
	}
	for _, name := range slices.Sorted(keys(decays)) {
		d := decays[name]
		means := make([]float64, channels)
		area := 0.0
		for k := range channels {
			area += response(width * float64(k))
		}
		for k := range channels { // the sum over the response's channels, as light comes; earlier pulses as a geometric series
			r := response(width*float64(k)) / area
			if r < 1e-12 {
				continue
			}
			for i := range channels {
				at := width * float64(i-k)
				if at < 0 {
					at += period
				}
				for j, tau := range d.taus {
					means[i] += r * d.amplitudes[j] * math.Exp(-at/tau) / (1 - math.Exp(-period/tau))
				}
			}
		}
		k := -1
		b.scan("raw/decay/"+d.day+"/"+name+".csv", 0, width*(channels-1), width, func(float64) float64 { k++; return b.count(means[k] + 2) })
	}
	found := b.run()
	for sample, control := range map[string]string{"M30": "V", "M60": "V", "M30s": "Vs"} {
		d, alone := decays[sample], decays[control]
		mean, sum := 0.0, 0.0
		for j, a := range d.amplitudes {
			mean, sum = mean+a*d.taus[j], sum+a
		}
		item := fmt.Sprintf("day=%s,sample=%s", d.day, sample)
		found.truth(t, "lifetimes/tau_1/"+item, "ns", d.taus[0], 0.1)
		found.truth(t, "lifetimes/tau_2/"+item, "ns", d.taus[1], 0.1)
		found.truth(t, "lifetimes/tau_amplitude/"+item, "ns", mean/sum, 0.05)
		found.truth(t, "transfer/E/"+item, "1", 1-mean/sum/alone.taus[0], 0.02)
		found.truth(t, fmt.Sprintf("alone/tau_1/day=%s,sample=%s", d.day, control), "ns", alone.taus[0], 0.02)
	}
}

// Emission that was hidden under dark counts, the solvent's Raman band and absorption comes back, and the efficiency with it.
func TestReadyMadeEmission(t *testing.T) {
	b := newBench(t, "emission")
	const excitation = 350.0
	absorbance := func(donor, fraction, x float64) float64 {
		return 0.03*donor/5*gauss(x, 350, 25) + 0.04*fraction*gauss(x, 520, 35)
	}
	raman := func(x float64) float64 { return 3000 * gauss(x, 397, 6) }
	left := map[string]float64{"M30": 0.4, "M60": 0.1, "M30c": 0.7, "V": 1, "Vc": 1} // of the donor's light
	donor := map[string]float64{"M30": 5, "M60": 4, "M30c": 5, "V": 5, "Vc": 5}      // µmol/L, as in the sheet
	fraction := map[string]float64{"M30": 0.3, "M60": 0.6, "M30c": 0.3}
	day := map[string]string{"M30": "d1", "M60": "d1", "M30c": "d2", "V": "d1", "Vc": "d2", "W": "d1", "Wc": "d2"}
	const dark = 40
	for _, d := range []string{"d1", "d2"} {
		b.scan("raw/dark/"+d+".csv", 360, 720, 1, func(float64) float64 { return b.count(dark) })
	}
	for _, name := range slices.Sorted(keys(day)) {
		d, f := donor[name], fraction[name]
		b.scan("raw/emission/"+day[name]+"/"+name+".csv", 360, 720, 1, func(x float64) float64 {
			light := 8000*d*left[name]*gauss(x, 425, 12) + 4000*d*(1-left[name])*gauss(x, 610, 18)
			if left[name] == 0 {
				light = 0
			}
			loss := math.Pow(10, -(absorbance(d, f, excitation)+absorbance(d, f, x))/2)
			return b.count(light*loss + raman(x) + dark)
		})
		if left[name] > 0 {
			b.scan("raw/absorbance/"+day[name]+"/"+name+".csv", 300, 750, 1, func(x float64) float64 {
				return absorbance(d, f, x) + 0.002*b.rng.NormFloat64()
			})
		}
	}
	found := b.run()
	for _, sample := range []string{"M30", "M60", "M30c"} {
		item := fmt.Sprintf("day=%s,sample=%s", day[sample], sample)
		found.truth(t, "transfer/E/"+item, "1", 1-left[sample], 0.02)
		found.truth(t, "bands/maximum/"+item, "nm", 425, 1)
	}
}

// The window lies between the mixtures that were turbid and those that were not.
func TestReadyMadeTurbidity(t *testing.T) {
	b := newBench(t, "turbidity")
	var table strings.Builder
	table.WriteString("sample;transmittance [%]\n")
	turbid := map[string]bool{"N40": true, "N50": true, "N60": true, "C50": true}
	for _, name := range []string{"N10", "N20", "N30", "N40", "N50", "N60", "N70", "N80", "N90", "C10", "C30", "C50", "C70", "C90"} {
		level := 99.0
		if turbid[name] {
			level = 22
		}
		fmt.Fprintf(&table, "%s;%.2f\n", name, level+0.5*b.rng.NormFloat64())
	}
	b.write("raw/turbidity_plate.csv", table.String())
	found := b.run()
	for _, c := range []struct {
		address string
		lo, hi  float64
	}{
		{"windows/opens/salt=NaCl,ionic=0.1", 0.3, 0.4},
		{"windows/closes/salt=NaCl,ionic=0.1", 0.6, 0.7},
		{"windows/opens/salt=CaCl2,ionic=0.1", 0.3, 0.5},
		{"windows/closes/salt=CaCl2,ionic=0.1", 0.5, 0.7},
	} {
		v := found[c.address]
		if v.Lo == nil || v.Hi == nil || string(v.Bound) != "interval" || math.Abs(*v.Lo-c.lo) > 1e-12 || math.Abs(*v.Hi-c.hi) > 1e-12 {
			t.Errorf("%s: %+v, expected an interval from %v to %v", c.address, v, c.lo, c.hi)
		}
	}
	// 0.304 nm/√(I/(mol/L)) is the Debye length in water at 25 °C (Israelachvili, Intermolecular and Surface Forces; from memory)
	for sample, ratio := range map[string]float64{"N10": 9, "N50": 1, "C90": 1.0 / 9} {
		if x, _ := found.value(t, "solution/debye/sample="+sample, "nm"); math.Abs(x-0.304/math.Sqrt(0.1)) > 0.003 {
			t.Errorf("%s: Debye length %.4f nm, expected 0.304/√0.1", sample, x)
		}
		if x, _ := found.value(t, "solution/charge_ratio/sample="+sample, "1"); math.Abs(x/ratio-1) > 1e-9 {
			t.Errorf("%s: charge ratio %.6g, expected %.6g", sample, x, ratio)
		}
	}
}

// The molar absorptivity comes back through two wrong photometers, and its uncertainty holds what the samples share: the cell's, and half
// of each day's factor at least.
func TestReadyMadeCalibrated(t *testing.T) {
	b := newBench(t, "calibrated")
	const molar = 2.0 // L/(mmol cm)
	reads := map[string]float64{"d1": 0.97, "d2": 1.04}
	donor := map[string]float64{"P1": 0.10, "P2": 0.15, "P3": 0.20, "P4": 0.25, "P5": 0.30, "P6": 0.35}
	filter := map[string]float64{"F1": 0.25, "F2": 0.5, "F3": 0.25, "F4": 0.5}
	for _, c := range [...]struct{ day, samples string }{{"d1", "P1 P2 P3 F1 F2 W1"}, {"d2", "P4 P5 P6 F3 F4 W2"}} {
		for _, name := range strings.Fields(c.samples) {
			b.scan("raw/"+c.day+"/"+name+".csv", 350, 550, 1, func(x float64) float64 {
				a := filter[name]
				if a == 0 {
					a = molar*donor[name]*gauss(x, 430, 22) + 0.02
				}
				return a*reads[c.day] + 0.001*b.rng.NormFloat64()
			})
		}
	}
	found := b.run()
	found.truth(t, "molar/mean/all", "L/(cm.mmol)", molar, 0.02)
	found.truth(t, "bands/maximum/day=d1,sample=P3", "nm", 430, 0.5)
	found.truth(t, "line/slope/all", "L/(cm.mmol)", molar, 0.04)
	found.truth(t, "line/intercept/all", "1/cm", 0, 0.01)
	for day, expected := range reads {
		found.truth(t, "day_factor/factor/day="+day, "1", 1/expected, 0.01)
	}
	mean := found["molar/mean/all"]
	if cell := mean.Parts["constants.cell"]; math.Abs(cell+*mean.Value*0.002) > 1e-3*0.004 { // d ln(molar)/d ln(cell) = −1
		t.Errorf("the cell's part of the mean is %v, expected %v", cell, -*mean.Value*0.002)
	}
	certificates := 0.0
	for source, part := range mean.Parts {
		if strings.HasPrefix(source, "sheet.certified[") {
			certificates += part * part
		}
	}
	if share := math.Sqrt(certificates) / *mean.Value; share < 0.003 || share > 0.007 { // 0.006 for a day from 0.003/0.5 and 0.002/0.25, less by two days
		t.Errorf("the certificates' part of the mean is %.2g of it", share)
	}
}
