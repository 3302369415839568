package formula

import (
	"errors"
	"testing"

	"fascicle/catalog"
)

// words is a scope and the values for it; members are called name.key.
type words struct {
	types  map[string]Type
	values map[string]Value
	member map[[2]string]Value
}

func newWords() *words {
	return &words{types: map[string]Type{}, values: map[string]Value{}, member: map[[2]string]Value{}}
}

func (w *words) Lookup(name string) (Type, bool) { t, ok := w.types[name]; return t, ok }

func (w *words) Member(name, key string) (Type, bool) { t, ok := w.types[name+"."+key]; return t, ok }

func (w *words) Names() []string {
	names := make([]string, 0, len(w.types))
	for n := range w.types {
		names = append(names, n)
	}
	return names
}

// values is an Env whose member keys are split beforehand, so that reading allocates nothing.
type values struct {
	plain  map[string]Value
	member map[[2]string]Value
}

func (v values) Get(name string) Value {
	if x, ok := v.plain[name]; ok {
		return x
	}
	return Value{Null: true}
}

func (v values) Member(name, key string) Value {
	if x, ok := v.member[[2]string{name, key}]; ok {
		return x
	}
	return Value{Null: true}
}

func (w *words) env() Env { return values{w.values, w.member} }

func unit(t testing.TB, s string) catalog.Unit {
	t.Helper()
	u, err := catalog.ParseUnit(s)
	if err != nil {
		t.Fatalf("unit %q: %v", s, err)
	}
	return u
}

func (w *words) number(t testing.TB, name, u string, x float64) *words {
	t.Helper()
	w.types[name] = Type{Number, unit(t, u)}
	w.values[name] = Value{Number: x}
	return w
}

func (w *words) entry(t testing.TB, name, key, u string, x float64) *words {
	t.Helper()
	w.types[name+"."+key] = Type{Number, unit(t, u)}
	w.member[[2]string{name, key}] = Value{Number: x}
	return w
}

// byField declares name as a NumberMap; its entries are added with entry.
func (w *words) byField(t testing.TB, name, u string) *words {
	t.Helper()
	w.types[name] = Type{NumberMap, unit(t, u)}
	return w
}

func (w *words) textual(name string, sort Sort, s string) *words {
	w.types[name] = Type{Sort: sort}
	w.values[name] = Value{Text: s}
	return w
}

func (w *words) truth(name string, b bool) *words {
	w.types[name] = Type{Sort: Bool}
	w.values[name] = Value{Bool: b}
	return w
}

func (w *words) null(names ...string) *words {
	for _, n := range names {
		w.values[n] = Value{Null: true}
	}
	return w
}

// laboratory is a mixture of the example study: one row of the sheet, its constants, a few captured fields and joined columns.
func laboratory(t testing.TB) *words {
	t.Helper()
	w := newWords()
	for _, f := range [][2]string{{"sample", "LN35"}, {"role", "mixture"}, {"plan", "ratio"}, {"chain", "long"}, {"salt", "NaCl"}, {"day", "d1"},
		{"band", "donor"}, {"phase", "upper"}, {"substance", "violane"}, {"preparation", "a"}} {
		w.textual(f[0], Text, f[1])
	}
	w.textual("date", Date, "2031-03-04").textual("taken", Date, "2031-03-04T10:30:00")
	w.number(t, "ionic", "mol/L", 0.1).number(t, "fraction", "1", 0.35).number(t, "v_donor", "µL", 100).number(t, "v_acceptor", "µL", 54.1)
	w.number(t, "v_total", "µL", 2000).number(t, "temperature", "°C", 25).number(t, "density", "g/mL", 1.0012).number(t, "index", "1", 1.334)
	w.number(t, "ex", "nm", 350).number(t, "donor", "mmol/L", 0.5015).number(t, "acceptor", "mmol/L", 0.269959).number(t, "donor_mass", "mg/mL", 0.1566686)
	w.number(t, "acceptor_mass", "mg/mL", 0.0724299997)
	w.byField(t, "stock", "mmol/L").entry(t, "stock", "violane", "mmol/L", 10.03).entry(t, "stock", "ambrelle", "mmol/L", 9.98)
	w.byField(t, "unit_mass", "g/mol").entry(t, "unit_mass", "violane", "g/mol", 312.4).entry(t, "unit_mass", "ambrelle", "g/mol", 268.3)
	w.byField(t, "specific_volume", "mL/g").entry(t, "specific_volume", "violane", "mL/g", 0.71).entry(t, "specific_volume", "ambrelle", "mL/g", 0.83)
	w.byField(t, "carbon", "mm").entry(t, "carbon", "d1", "mm", 1).entry(t, "carbon", "d2", "mm", 1.005)
	w.byField(t, "spacing", "nm").entry(t, "spacing", "violane", "nm", 0.68).entry(t, "spacing", "ambrelle", "nm", 0.55)
	w.number(t, "cell", "mm", 10).number(t, "capillary", "mm", 1.48)
	w.truth("mixture", true).truth("donor_only", false).truth("acceptor_only", false).truth("alone", false).truth("solvent", false)
	w.truth("solute", true).truth("mixing", true).truth("ladder", false).truth("long", true)
	w.entry(t, "wells", "transmittance", "%", 93).entry(t, "levels", "number", "1", 1).entry(t, "levels", "Rg_2", "nm", 14.4).entry(t, "levels", "Rg_1", "nm", 2.1)
	w.entry(t, "droplets", "area_fraction", "1", 0.2).entry(t, "droplets", "circularity", "1", 0.9).entry(t, "droplets", "percolating", "1", 0.1)
	w.entry(t, "compositions", "dense_fraction", "1", 0.02)
	w.entry(t, "acceptor_lifetimes", "tau_amplitude", "ns", 3.1).entry(t, "acceptor_alone_lifetimes", "tau_amplitude", "ns", 2.6)
	return w
}

func mustCompile(t testing.TB, src string, scope Scope) *Formula {
	t.Helper()
	f, err := Compile(src, scope)
	if err != nil {
		t.Fatalf("Compile(%s): %v", src, err)
	}
	return f
}

// mustFail gives the error of an expression that must not compile.
func mustFail(t testing.TB, src string, scope Scope) *Error {
	t.Helper()
	f, err := Compile(src, scope)
	if err == nil {
		t.Fatalf("Compile(%s) gave %v, want an error", src, f.Type())
	}
	var e *Error
	if !errors.As(err, &e) {
		t.Fatalf("Compile(%s): %T, want *Error", src, err)
	}
	return e
}

// show writes a Value for comparison with a table.
func show(f *Formula, env Env) string {
	v := f.Eval(env)
	switch {
	case v.Null:
		return "null"
	case f.Type().Sort == Bool && v.Bool:
		return "true"
	case f.Type().Sort == Bool:
		return "false"
	case f.Type().Sort == Number:
		return catalog.FormatPlain(v.Number)
	}
	return v.Text
}
