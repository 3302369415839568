package importing

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// openFile reads a file of the open data; without them the test is skipped.
func openFile(t *testing.T, name string) []byte {
	t.Helper()
	dir := os.Getenv("FASCICLE_OPEN_DATA")
	if dir == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// counted is what an independent program says of a file: items, points, the range of the axis, and the sum of all values.
type counted struct {
	items, points int
	lo, hi        float64
	sums          []float64 // of the values of each of the first items; of all together when there is one
	first, last   string    // the field sample of the first and the last item
}

// countItems imports a file, the axis in the unit used inside.
func countItems(t *testing.T, s setting, name string) (c counted, flags []string) {
	t.Helper()
	c.lo, c.hi = math.Inf(1), math.Inf(-1)
	err := readFile(context.Background(), s.settings(t), openFile(t, name), name, func(fields []pipeline.Captured, tab *table.Table, f []pipeline.Remark) error {
		c.items++
		c.points += tab.Len()
		x, y := pipeline.CurveColumns(tab)
		c.lo, c.hi = min(c.lo, x.Floats[0]), max(c.hi, x.Floats[len(x.Floats)-1])
		sum := 0.0
		for i, v := range y.Floats {
			if !y.IsNull(i) {
				sum += v
			}
		}
		c.sums = append(c.sums, sum)
		for _, f := range fields {
			if f.Name == "sample" {
				c.last = f.Text
			}
		}
		if c.items == 1 {
			c.first = c.last
		}
		for _, r := range f {
			flags = append(flags, r.Text)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return c, flags
}

func (c counted) compare(t *testing.T, want counted) {
	t.Helper()
	near := func(what string, got, want float64) {
		if math.Abs(got-want) > 1e-12*math.Abs(want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	if c.items != want.items || c.points != want.points || c.first != want.first || c.last != want.last {
		t.Errorf("%d items, %d points, %q to %q; want %d, %d, %q, %q", c.items, c.points, c.first, c.last, want.items, want.points, want.first, want.last)
	}
	near("lower end of the axis", c.lo, want.lo)
	near("upper end of the axis", c.hi, want.hi)
	sums := c.sums
	if len(want.sums) == 1 {
		all := 0.0
		for _, s := range sums {
			all += s
		}
		sums = []float64{all}
	}
	for i, w := range want.sums {
		near("sum", sums[i], w)
	}
}

// Five transients beside one time axis, below three rows of parameters. Numbers: numpy.loadtxt(file, delimiter=",", skiprows=4) of NumPy 1.24.2, .shape, its first
// column's ends and .sum(axis=0); the first transient also by awk -F, 'NR>4 {n++; s+=$2}': 5604 and 59640.
func TestOpenTransients(t *testing.T) {
	got, flags := countItems(t, setting{columns: []string{"time = 1 [ns]", "counts = 2"}, u: []string{"counts = poisson"}}, "decay/trpl_sample1.csv")
	got.compare(t, counted{items: 5, points: 5 * 5604, lo: 0, hi: 1434.6434515426963, sums: []float64{59640, 630335, 13259878, 18635734, 10424462}})
	if len(flags) != 1 || flags[0] != "3 rows above the data, with the same number in the first cell, left out (lines 2, 4)" {
		t.Errorf("flags %q", flags)
	}
}

// 171 spectra in rows behind a date and a name, without a line for the axis: the data's own description says 350 to 750 nm in steps of 1 nm. Numbers: each line split
// at commas and all but the first two cells of each put into a numpy.array of NumPy 1.24.2: .shape (171, 401), .sum() 2280.0966745637033, of the first row 13.310693181028803.
func TestOpenRows(t *testing.T) {
	s := setting{layout: "rows", curves: "*,<sample>", columns: []string{"wavelength = 350 to 750 [nm]", "absorbance = 2"}}
	got, flags := countItems(t, s, "spectra/nist_mcresol_purple_NISTData.csv")
	if math.Abs(got.sums[0]-13.310693181028803) > 1e-12 {
		t.Errorf("first sum %v", got.sums[0])
	}
	got.compare(t, counted{items: 171, points: 171 * 401, lo: 350, hi: 750, sums: []float64{2280.0966745637033}, first: "586B_1", last: "FB4_3"})
	if flags != nil {
		t.Errorf("flags %q", flags)
	}
	_, err := items(t, setting{curves: "*,<sample>", columns: xy}, string(openFile(t, "spectra/nist_mcresol_purple_NISTData.csv")))
	if err == nil {
		t.Error("the axis was guessed")
	}
}

// Compositions, a row each. Numbers: awk -F, 'NR>1 {n++; a+=$1; b+=$2; c+=$3; d+=$4}' of mawk 1.3.4.
func TestOpenLines(t *testing.T) {
	for file, want := range map[string]counted{
		"turbidity/AspLys_NaCl_start.csv":  {items: 47, points: 47, sums: []float64{62.625, 56.625, 30800.0, 34}},
		"turbidity/AspLys_NaCl_cycle2.csv": {items: 18, points: 18, sums: []float64{72.22500000000001, 65.71249999999999, 21600.0, 6}},
	} {
		s := setting{layout: "lines", columns: []string{"anion = Conc_SIGMA_Asp_250_(mM)", "cation = Conc_AP_Lys_100_(mM)", "salt = Conc_NaCl_(mM)", "phase = Phase"}}
		sums, n := make([]float64, 4), 0
		err := readFile(context.Background(), s.settings(t), openFile(t, file), file, func(_ []pipeline.Captured, tab *table.Table, _ []pipeline.Remark) error {
			n += tab.Len()
			for k := range tab.Columns {
				sums[k] += tab.Columns[k].Floats[0]
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		for k := range sums[:3] {
			sums[k] *= 1000 // from mol/L
		}
		counted{items: n, points: n, sums: sums}.compare(t, want)
	}
}
