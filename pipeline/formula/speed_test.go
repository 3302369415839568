package formula

import "testing"

// comparisons are those that filters consist of.
var comparisons = []string{
	`role == "mixture"`, `"mixture" == role`, `role != "donor"`, `role == plan`, `ex == 350`, `350 == ex`, `ex != 520`, `ionic > "500 mmol/L"`, `ionic < fraction * ionic`,
	`0.2 < fraction <= 0.5`, `ex in [350, 520]`, `ex in 340..360`, `role in ["dilution", "standard", "mixture"]`, `role in [plan, chain]`, `date > "2031-03-01"`, `taken == date`,
	`mixture && plan == "ratio" || not long`, `wells.transmittance > "95 %"`, `levels.Rg_2 > levels.Rg_1`, `carbon[day] > 0.5`, `capillary < cell`, `ex < cell`, `temperature > "298 K"`,
	`role contains "ix"`, `role matches "^mix"`, `(long ? ionic : fraction * ionic) > "0.05 mol/L"`, `(ionic ?? "0.1 M") > "0.05 M"`, `v_donor / v_total > 0.01`, `sqrt(fraction) > 0.5`, `len(role) > 3`,
}

func TestNoAllocation(t *testing.T) {
	w := laboratory(t)
	env := w.env()
	for _, src := range comparisons {
		t.Run(src, func(t *testing.T) {
			f, err := CompileCondition(src, w)
			if err != nil {
				t.Fatal(err)
			}
			if v := f.Eval(env); v.Null {
				t.Fatal("null: nothing was compared")
			}
			if n := testing.AllocsPerRun(100, func() { f.Eval(env) }); n != 0 {
				t.Errorf("%g allocations", n)
			}
		})
	}
}

// fixed is an Env that costs nothing: the rest is the evaluation.
type fixed struct{ v Value }

func (f *fixed) Get(string) Value            { return f.v }
func (f *fixed) Member(string, string) Value { return f.v }

// BenchmarkConditions works 30 conditions out over 10,000 rows, with an Env that looks names up in a map and with one that does
// nothing.
func BenchmarkConditions(b *testing.B) {
	b.Run("map", func(b *testing.B) { benchmarkConditions(b, laboratory(b).env()) })
	b.Run("fixed", func(b *testing.B) { benchmarkConditions(b, &fixed{Value{Number: 350, Text: "mixture", Bool: true}}) })
}

func benchmarkConditions(b *testing.B, env Env) {
	w := laboratory(b)
	var formulas []*Formula
	for _, src := range comparisons {
		formulas = append(formulas, mustCompile(b, src, w))
	}
	b.ReportAllocs()
	for b.Loop() {
		for range 10_000 {
			for _, f := range formulas {
				f.Eval(env)
			}
		}
	}
}

func BenchmarkCompile(b *testing.B) {
	w := laboratory(b)
	for b.Loop() {
		mustCompile(b, `mixture && ex == 350 && ionic > "500 mmol/L"`, w)
	}
}
