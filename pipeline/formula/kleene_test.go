package formula

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// tables are Kleene's strong tables (S. C. Kleene, Introduction to Metamathematics, 1952, §64, from memory), with t, f and u.
var tables = map[string]map[string]string{
	"and": {"tt": "t", "tf": "f", "tu": "u", "ft": "f", "ff": "f", "fu": "f", "ut": "u", "uf": "f", "uu": "u"},
	"or":  {"tt": "t", "tf": "t", "tu": "t", "ft": "t", "ff": "f", "fu": "u", "ut": "t", "uf": "u", "uu": "u"},
	// Kleene's equivalence: u as soon as one side is u
	"==": {"tt": "t", "tf": "f", "tu": "u", "ft": "f", "ff": "t", "fu": "u", "ut": "u", "uf": "u", "uu": "u"},
}

var letter = map[string]string{"true": "t", "false": "f", "null": "u"}

func value3(s byte) Value { return Value{Null: s == 'u', Bool: s == 't'} }

func TestKleene(t *testing.T) {
	for op, table := range tables {
		spellings := map[string][]string{"and": {"and", "&&"}, "or": {"or", "||"}, "==": {"=="}}[op]
		if len(table) != 9 {
			t.Fatalf("table of %s has %d rows", op, len(table))
		}
		for in, want := range table {
			for _, s := range spellings {
				src := "p " + s + " q"
				t.Run(fmt.Sprintf("%s %s", src, in), func(t *testing.T) {
					w := newWords().truth("p", false).truth("q", false)
					w.values["p"], w.values["q"] = value3(in[0]), value3(in[1])
					if got := letter[show(mustCompile(t, src, w), w.env())]; got != want {
						t.Errorf("got %s, want %s", got, want)
					}
				})
			}
		}
	}
	for in, want := range map[string]string{"t": "f", "f": "t", "u": "u"} {
		for _, src := range []string{"not p", "!p", "p == false", "p != true"} {
			t.Run(src+" "+in, func(t *testing.T) {
				w := newWords().truth("p", false)
				w.values["p"] = value3(in[0])
				if got := letter[show(mustCompile(t, src, w), w.env())]; got != want {
					t.Errorf("got %s, want %s", got, want)
				}
			})
		}
	}
}

// Laws that hold in Kleene's logic, for all 27 assignments. (p or not p is none: it is u where p is.)
func TestLaws(t *testing.T) {
	w := newWords().truth("p", false).truth("q", false).truth("r", false)
	pairs := [][2]string{
		{"not (p and q)", "not p or not q"},
		{"not (p or q)", "not p and not q"},
		{"p and (q or r)", "p and q or p and r"},
		{"p or q and r", "(p or q) and (p or r)"},
		{"p and q", "q and p"},
		{"p or q", "q or p"},
		{"not not p", "p"},
		{"p and (p or q)", "p"},
		{"p != q", "not (p == q)"},
	}
	values := []Value{{Bool: true}, {}, {Null: true}}
	for _, pair := range pairs {
		t.Run(pair[0], func(t *testing.T) {
			a, b := mustCompile(t, pair[0], w), mustCompile(t, pair[1], w)
			for i := range 27 {
				w.values["p"], w.values["q"], w.values["r"] = values[i%3], values[i/3%3], values[i/9]
				if x, y := show(a, w.env()), show(b, w.env()); x != y {
					t.Errorf("p, q, r = %v: %s, but %s", []int{i % 3, i / 3 % 3, i / 9}, x, y)
				}
			}
		})
	}
}

// Random formulas, worked out by the tables alone and by the compiled closures.
func TestRandomLogic(t *testing.T) {
	w := newWords().truth("p", false).truth("q", false).truth("r", false)
	rapid.Check(t, func(rt *rapid.T) {
		assigned := map[string]string{}
		for _, n := range []string{"p", "q", "r"} {
			assigned[n] = rapid.SampledFrom([]string{"t", "f", "u"}).Draw(rt, n)
			w.values[n] = value3(assigned[n][0])
		}
		var grow func(depth int) (src, value string)
		grow = func(depth int) (string, string) {
			if depth == 0 {
				n := rapid.SampledFrom([]string{"p", "q", "r"}).Draw(rt, "leaf")
				return n, assigned[n]
			}
			op := rapid.SampledFrom([]string{"and", "or", "==", "not", "?"}).Draw(rt, "operator")
			a, x := grow(depth - 1)
			if op == "not" {
				return "not (" + a + ")", map[string]string{"t": "f", "f": "t", "u": "u"}[x]
			}
			b, y := grow(depth - 1)
			if op == "?" {
				return fmt.Sprintf("((%s) ? (%s) : false)", a, b), map[string]string{"t": y, "f": "f", "u": "u"}[x]
			}
			return fmt.Sprintf("(%s) %s (%s)", a, op, b), tables[op][x+y]
		}
		src, want := grow(rapid.IntRange(1, 4).Draw(rt, "depth"))
		f, err := CompileCondition(src, w)
		if err != nil {
			rt.Fatalf("%s: %v", src, err)
		}
		if got := letter[show(f, w.env())]; got != want {
			rt.Errorf("%s with %v: got %s, want %s", src, assigned, got, want)
		}
	})
}

func TestNull(t *testing.T) {
	w := laboratory(t).number(t, "x", "nm", 0).textual("s", Text, "").textual("d", Date, "").truth("c", false).number(t, "one", "1", 1).number(t, "zero", "1", 0)
	w.null("x", "s", "d", "c")
	w.entry(t, "stock", "absent", "mmol/L", 0)
	delete(w.member, [2]string{"stock", "absent"})
	for src, want := range map[string]string{
		"x": "null", "s": "null", "d": "null", "c": "null", "-x": "null",
		"x == 1": "null", "x != 1": "null", "x < 1": "null", "x >= x": "null", `x > "1 µm"`: "null", "1 < x": "null", "0 < x < 5": "null",
		`s == "a"`: "null", `s != "a"`: "null", `"a" == s`: "null", "s == s": "null", `s contains "a"`: "null", `s matches "a"`: "null", `s startsWith "a"`: "null",
		`d == "2031-03-04"`: "null", "d < date": "null", "date < d": "null",
		`s in ["a", "b"]`: "null", `s not in ["a", "b"]`: "null", "x in [1, 2]": "null", "x in 1..2": "null",
		// a value at hand that agrees with one entry decides; one that agrees with none does not, if an entry is null
		"ex in [x, 350]": "true", "ex in [x, 351]": "null", "ex in [351, 352]": "false",
		`role in [s, "mixture"]`: "true", `role in [s, "water"]`: "null",
		// the known end of a range may decide
		"ex in 400..x": "false", "ex in 300..x": "null",
		"x + ex": "null", "ex - x": "null", "x * 2": "null", "2 / x": "null", "x ^ 2": "null", "x % x": "null", "abs(x)": "null", "sqrt(x * x)": "null",
		"min(x, ex)": "null", "max(ex, x)": "null", "round(x)": "null", "exp(x / x)": "null",
		`s + "a"`: "null", `"a" + s`: "null", "lower(s)": "null", "trim(s)": "null", "len(s)": "null",
		"c ? 1 : 2": "null", `c ? "a" : "b"`: "null", "c ? true : false": "null", "mixture ? x : ex": "null", "solvent ? x : ex": "350",
		"x ?? ex": "350", `x ?? "2 µm"`: "2000", "ex ?? x": "350", "x ?? x": "null", `s ?? "none"`: "none", `(s ?? "") == ""`: "true", "c ?? false": "false", "mixture ?? c": "true",
		`d ?? "2031-01-01"`:         "2031-01-01",
		"stock.absent":              "null",
		"stock[s]":                  "null",
		"stock[day]":                "null",
		"stock[day] > 5":            "null",
		"one / zero":                "null",
		"zero / zero":               "null",
		"log(zero)":                 "null",
		"log(-one)":                 "null",
		"sqrt(-one)":                "null",
		"exp(one * 1000)":           "null",
		"zero ^ -1":                 "null",
		"(-one) ^ 0.5":              "null",
		"one % zero":                "null",
		"1 / zero > 5":              "null",
		"one / zero > 5 || mixture": "true",
		"x > 5 || mixture":          "true",
		"x > 5 && solvent":          "false",
		"not (x > 5)":               "null",
	} {
		t.Run(src, func(t *testing.T) {
			if got := show(mustCompile(t, src, w), w.env()); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		})
	}
}

// A number that is not finite has no place in a table; should one come all the same, it counts as missing.
func TestNotFinite(t *testing.T) {
	w := newWords().number(t, "x", "nm", 0)
	for _, src := range []string{"x", "x > 1", "x < 1", "x == x"} {
		f := mustCompile(t, src, w)
		for _, x := range []float64{inf(1), inf(-1), inf(1) - inf(1)} {
			w.values["x"] = Value{Number: x}
			if got := show(f, w.env()); got != "null" {
				t.Errorf("%s with %g: %s, want null", src, x, got)
			}
		}
	}
}
