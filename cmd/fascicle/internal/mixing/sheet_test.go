package mixing

import (
	"io/fs"
	"math"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipelines"

	"github.com/google/go-cmp/cmp"
)

func sheet(t *testing.T) []row {
	t.Helper()
	rows, err := readSheet(pipelines.MixingRatio())
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func TestSheetIsTheStudyThatIsMeant(t *testing.T) {
	series, conditions := map[string]map[float64]bool{}, map[string]int{}
	got := map[string]int{}
	for _, r := range sheet(t) {
		switch {
		case r.mixing():
			if series[r.series()] == nil {
				series[r.series()] = map[float64]bool{}
			}
			series[r.series()][r.fraction] = true
			conditions[r.series()+" "+form(r.fraction, 2)]++
			if r.ionic != 0.1 || r.warm {
				t.Errorf("%s: ionic strength %g", r.sample, r.ionic)
			}
			// Fractions are what volumes and stocks make: n+/(n+ + n−), to the digits of the sheet.
			plus, minus := r.acceptor.value*stockAmbrelle.value, r.donor.value*stockViolane.value
			if f := plus / (plus + minus); math.Abs(f-r.fraction) > 5e-4 {
				t.Errorf("%s: volumes make a fraction of %.4f, the sheet says %g", r.sample, f, r.fraction)
			}
		case r.ladder() && r.warm:
			got["warm"]++
		case r.ladder():
			got["ladder"]++
			if r.ionic < 0.01 || r.ionic > 0.9 {
				t.Errorf("%s: ionic strength %g", r.sample, r.ionic)
			}
		default:
			got[strings.TrimSpace(r.role+" "+r.chain)+" "+r.day]++
		}
	}
	want := map[string]int{"ladder": 8, "warm": 4}
	for _, day := range days {
		want["donor long "+day], want["donor short "+day], want["acceptor "+day], want["solvent "+day], want["carbon "+day] = 3, 3, 3, 3, 1
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if len(series) != 6 {
		t.Errorf("%d series", len(series))
	}
	replicated := 0
	for name, fractions := range series {
		if len(fractions) != 8 {
			t.Errorf("%s: %d fractions", name, len(fractions))
		}
	}
	for name, n := range conditions {
		if n == 3 {
			replicated++
		} else if n != 1 {
			t.Errorf("%s: %d preparations", name, n)
		}
	}
	if replicated != 4 {
		t.Errorf("%d conditions with three preparations", replicated)
	}
}

func TestNumbersOfTheSheet(t *testing.T) {
	for _, c := range []struct {
		text string
		want volume
	}{{"", volume{}}, {"25", volume{value: 25}}, {"100.0(3)", volume{100, 0.3}}, {"2000(4)", volume{2000, 4}}, {"17.75(12)", volume{17.75, 0.12}}} {
		got, err := parseNumber(c.text)
		if err != nil || math.Abs(got.value-c.want.value) > 1e-12 || math.Abs(got.u-c.want.u) > 1e-12 {
			t.Errorf("%q: %v %v", c.text, got, err)
		}
	}
	for _, bad := range []string{"x", "1.0(x)", "(3)"} {
		if _, err := parseNumber(bad); err == nil {
			t.Errorf("%q: no error", bad)
		}
	}
}

func TestStudyStatesWhatTheSimulatorKnows(t *testing.T) {
	study, err := fs.ReadFile(pipelines.MixingRatio(), "study.yaml")
	if err != nil {
		t.Fatal(err)
	}
	_, constants, _ := strings.Cut(string(study), "\nconstants:")
	constants, _, _ = strings.Cut(constants, "\nderive:")
	for _, s := range statements() {
		name, key, of := strings.Cut(strings.TrimPrefix(s.source, "constants."), ".")
		_, text, _ := strings.Cut(constants, "\n  "+name+": ")
		if of {
			_, text, _ = strings.Cut(text, key+": ")
		}
		text = text[:strings.IndexAny(text, ",}#\n")]
		number, _, _ := strings.Cut(text, " ")
		n, err := catalog.ParseNumber(number)
		if err != nil || n.Value != s.value || math.Abs(n.U-s.u) > 1e-12 {
			t.Errorf("study.yaml says %q of %s (%v), the simulator %g ± %g", text, s.source, err, s.value, s.u)
		}
	}
	for _, mass := range []struct {
		name  string
		value float64
	}{{"violane", violaneMass}, {"ambrelle", ambrelleMass}} {
		if !strings.Contains(constants, mass.name+": "+form(mass.value, 1)+" g/mol") {
			t.Errorf("study.yaml does not say that a unit of %s weighs %g g/mol", mass.name, mass.value)
		}
	}
}
