package formula

import (
	"strings"
	"testing"
	"unicode/utf8"
)

// Every fault names its place (characters before it), what stands there, and the nearest name or another way out.
func TestErrors(t *testing.T) {
	w := laboratory(t).truth("größer", true).number(t, "share", "%", 40)
	for _, c := range []struct {
		src    string
		offset int
		found  string // part of Found
		remedy string // part of Remedy
	}{
		// names
		{`rol == "mixture"`, 0, `unknown name "rol"`, `"role"`},
		{`mixture && chian == "long"`, 11, `unknown name "chian"`, `"chain"`},
		{`größer && chian == "long"`, 10, `"chian"`, `"chain"`},
		{`mixture &&` + "\n" + `chian == "long"`, 11, `"chian"`, `"chain"`},
		{`role == mixtur`, 8, `"mixtur"`, `quotes`},
		{`role == mixture`, 8, "mixture, a condition beside role, a text", `"mixture" in quotes`},
		{`role in ["water", wter]`, 18, `"wter"`, "quotes"},
		{`tau_amplitude > 2`, 0, `"tau_amplitude"`, `"acceptor_alone_lifetimes.tau_amplitude"`},
		{`stock.violan * 2`, 6, `"violan"`, `"violane"`},
		{`stock["violan"] * 2`, 6, `"violan"`, `"violane"`},
		{`stok.violane * 2`, 0, `"stok"`, `"stock"`},
		{`level.Rg_2 > 1`, 0, `"level"`, `"levels"`},
		{`levels.Rg_3 > 1`, 7, `"Rg_3"`, `"Rg_1"`},
		{`carbn[day]`, 0, `"carbn"`, `"carbon"`},
		{`carbon[dya]`, 7, `"dya"`, `"day"`},
		{`ex.long`, 3, "ex.long, but ex is a number", "remove .long"},
		{`sqr(ex * ex)`, 0, `unknown function "sqr"`, `"sqrt"`},
		{`ex + frobnicate(1)`, 5, `"frobnicate"`, "derive"},
		// sorts
		{`ex + role`, 5, "role, a text beside +", "only numbers"},
		{`ex + "5 nm"`, 5, `"5 nm"`, "name a constant"},
		{`ex && mixture`, 0, "ex, a number in nm, in front of &&", "compare"},
		{`mixture or role`, 11, "role, a text, behind or", "compare"},
		{`not role == "water"`, 4, "role, a text, behind not", "not (role == \"water\")"},
		{`role ? 1 : 2`, 0, "role, a text, in front of ?", "compare"},
		{`mixture ? 1 : "a"`, 14, `the text "a"`, "one sort"},
		{`mixture ? ex : ionic`, 15, "ionic, a number in mol/L beside ex, a number in nm", "correct"},
		{`mixture ? ex : 5`, 15, "the bare number 5 beside ex, a number in nm", "name a constant"},
		{`role == 2`, 8, "the bare number 2 beside role, a text", `write "2" in quotes, or make role a number`},
		{`2 == role`, 0, "role, a text beside the bare number 2", `write "2"`},
		{`role < "n"`, 0, "role, a text, compared by <", "no order"},
		{`mixture > long`, 0, "compared by >", "no order"},
		{`mixture == 1`, 11, "the bare number 1 beside mixture, a condition", "like with like"},
		{`-role`, 1, "role, a text", "sign"},
		{`role contains 5`, 14, "the bare number 5", "compare"},
		{`ex startsWith "3"`, 0, "ex, a number", "compare"},
		{`lower(ex)`, 6, "ex, a number in nm in lower", "a text"},
		{`abs(role)`, 4, "role, a text in abs", "a number"},
		{`carbon`, 0, "carbon, a constant with several values", "carbon[FIELD]"},
		{`ex * carbon`, 5, "carbon, a constant with several values", "carbon.KEY"},
		{`carbon[mixture]`, 7, "mixture, a condition", "carbon[FIELD]"},
		{`carbon[ex * 2]`, 7, "a number in nm", "carbon[FIELD]"},
		{`role[day]`, 0, "role, a text", "square brackets"},
		{`levels.Rg_2.x`, 0, "member of something", "one level"},
		// units
		{`ex + ionic`, 5, "ionic, a number in mol/L beside ex, a number in nm", "correct"},
		{`ex + 5`, 5, "the bare number 5 beside ex, a number in nm", "name a constant"},
		{`5 - ex`, 0, "ex, a number in nm beside the bare number 5", "name a constant"},
		{`ex > ionic`, 5, "ionic, a number in mol/L beside ex", "correct"},
		{`abs(ex) > 5`, 10, "the bare number 5, compared with an expression in nm", `"5 nm"`},
		{`5 < ex * 2`, 0, "the bare number 5, compared with an expression in nm", `"5 nm"`},
		{`ex - ex in [0]`, 12, "the bare number 0", `"0 nm"`},
		{`share + share > 5`, 16, "the bare number 5, compared with an expression in %", `"5 %"`},
		{`ex > "5 mM"`, 5, `the text "5 mM" beside ex, a number in nm`, `"5 nm"`},
		{`ex > "350"`, 5, `the text "350"`, `"350 nm"`},
		{`ex > "long"`, 5, `the text "long"`, `"5 nm"`},
		{`"long" > ex`, 0, `the text "long"`, `"5 nm"`},
		{`fraction > "a"`, 11, `the text "a"`, `"0.5"`},
		{`ex > "350(2) nm"`, 5, `"350(2) nm"`, "uncertainty"},
		{`ex ?? "5 mM"`, 6, `"5 mM"`, `"5 nm"`},
		{`ex ?? 5`, 6, "the bare number 5 beside ex", "name a constant"},
		{`sqrt(ex)`, 5, "the root of ex, a number in nm", "no unit"},
		{`exp(ex)`, 4, "ex, a number in nm as the argument of exp", "divide"},
		{`log(ionic)`, 4, "ionic, a number in mol/L", "divide"},
		{`ex ^ 0.5`, 5, "the bare number 0.5 as the power", "sqrt"},
		{`ex ^ fraction`, 5, "fraction, a number as the power", "divide"},
		{`2 ^ ex`, 4, "ex, a number in nm as a power", "divide"},
		{`ex ^ 17`, 5, "as the power", "divide"},
		{`ex ^ 9 * ex ^ 9`, 7, "exponent 18", "check"},
		{`max(ex, ionic)`, 8, "ionic, a number in mol/L", "correct"},
		{`min(0, ex)`, 4, "ex, a number in nm beside the bare number 0", "name a constant"},
		{`ex % 10`, 5, "the bare number 10", "name a constant"},
		// dates
		{`date > "4.3.2031"`, 7, `the text "4.3.2031" beside date, a date`, "this form"},
		{`date == day`, 8, "day, a text beside date, a date", "like with like"},
		// lists and ranges
		{`role in []`, 8, "an empty list", "list them"},
		{`role in day`, 8, "a single value behind in", "contains"},
		{`role in "mixture"`, 8, "a single value behind in", "=="},
		{`ex in 400..300`, 6, "end lies below", "exchange"},
		{`role in ["a", 2]`, 14, "the bare number 2", `"2"`},
		{`role in "a".."b"`, 8, "compared by <=", "no order"},
		{`role == ["a"]`, 8, "a list", "behind in"},
		{`ex == 1..2`, 6, "a range", "behind in"},
		// regular expressions
		{`role matches "("`, 13, "the regular expression (", "missing closing"},
		{`role matches day`, 13, "worked out", "quotes"},
		// numbers
		{`ex == 0350`, 6, "the number 0350", "write 350"},
		{`ex == 1_000`, 6, "the number 1_000", "write 1000"},
		{`ex == 0x1F`, 6, "the number 0x1F", "decimal"},
		{`ex == 0b11`, 6, "the number 0b11", "decimal"},
		{`ex == 0o17`, 6, "the number 0o17", "decimal"},
		{`ex == 5.`, 6, "the number 5.", "write 5"},
		{`ex == 1e999`, 6, "1e999", "exponent"},
		{`ex == 99999999999999999999`, 6, "99999999999999999999", "1e20"},
		{`ex == 350nm`, 6, `"350nm"`, `"5 nm"`},
		{`ex == 012nm`, 6, `"012nm"`, `"5 nm"`},
		{`levels.Rg_2 > 1e`, 14, "the number 1e", "decimal"},
		// syntax
		{``, 0, "nothing", "write one"},
		{`   `, 0, "nothing", "write one"},
		{`role ==`, 7, "the end of the expression", "complete"},
		{`== "a"`, 0, `"=="`, "complete"},
		{`role "a"`, 5, `"\"a\""`, "operator"},
		{`role == "a" "b"`, 12, `"\"b\""`, "operator"},
		{`(mixture && long`, 0, `"(" that is never closed`, "close"},
		{`mixture) && long`, 7, `")" without its opening`, "remove"},
		{`role in ["a", "b")`, 17, `")"`, "order"},
		{`role == "a`, 8, "without its closing quote", "close"},
		{`role == 'a"`, 8, "without its closing quote", "close"},
		{`role == "\q"`, 8, "escape", `\\`},
		{`ex == 350 § 2`, 10, `"§"`, "remove"},
		{`ex == @`, 6, `"@"`, "remove"},
		{`mixture && && long`, 11, `"&&"`, `"&&"`},
		{`ex ?? ionic + 1`, 12, `"+" beside ??`, "(a ?? b)"},
		{`abs(ex, ex)`, 0, "abs with 2 arguments", "abs(x)"},
		{`abs()`, 0, "abs with 0 arguments", "abs(x)"},
		{`max()`, 0, "max with 0 arguments", "max(x)"},
		{"ex > \xff", 5, "not UTF-8", "UTF-8"},
	} {
		t.Run(c.src, func(t *testing.T) {
			e := mustFail(t, c.src, w)
			if e.Offset != c.offset {
				t.Errorf("offset %d, want %d: %v", e.Offset, c.offset, e)
			}
			if !strings.Contains(e.Found, c.found) {
				t.Errorf("found %s, want %s", e.Found, c.found)
			}
			if !strings.Contains(e.Remedy, c.remedy) {
				t.Errorf("remedy %s, want %s", e.Remedy, c.remedy)
			}
			if e.Found == "" || e.Expected == "" || e.Remedy == "" {
				t.Errorf("a part of the message is missing: %+v", e)
			}
		})
	}
}

// What the parser knows and an expression of a study must not contain.
func TestRefused(t *testing.T) {
	w := laboratory(t)
	for _, c := range []struct {
		src    string
		offset int
	}{
		{`role = "a"`, 5}, {`mixture & long`, 8}, {`mixture | long`, 8}, {`role | lower()`, 5}, {`let x = 5; x > 3`, 0}, {`mixture; long`, 7},
		{`if mixture { 1 } else { 2 }`, 11}, {`mixture if long`, 8}, {`stock?.violane`, 5}, {`::lower(role)`, 0}, {`#`, 0}, {`mixture # comment`, 8},
		{`filter([1, 2], # > 1)`, 0}, {`all(role, true)`, 0}, {`map([1], {# * 2})`, 9}, {`{"a": 1}`, 0}, {`role in {"a": 1}`, 8}, {`now() > date`, 0},
		{`date("2031-03-04") > date`, 0}, {`duration("1h")`, 0}, {`fromJSON(role)`, 0}, {`toBase64(role)`, 0}, {`type(ex)`, 0}, {`int(ex)`, 0}, {`float(role)`, 0},
		{`string(ex)`, 0}, {`sum([1, 2])`, 0}, {`mean(1, 2)`, 0}, {`first([1])`, 0}, {`get(stock, "violane")`, 0}, {`keys(stock)`, 0}, {`repeat("a", 5)`, 0},
		{`split(role, "x")`, 0}, {`env("HOME")`, 0}, {`$env.role == "a"`, 0}, {`$env["role"]`, 0}, {`role.upper()`, 5}, {`lower(role).x`, 0}, {`role[1:2]`, 0},
		{`[1, 2][0]`, 0}, {`[1, 2]`, 0}, {`nil`, 0}, {`role == nil`, 8}, {`role == null`, 8}, {`nil ?? 1`, 0}, {`ex // 2`, 3}, {`ex /* nm */ > 2`, 3}, {`ex > 2 // comment`, 7},
		{`/* unclosed`, 0}, {`stock.violane()`, 6}, {`"a"[0]`, 0}, {`mixture <* long`, 8}, {`mixture ?.5 : 1`, 8}, {`(mixture)(long)`, 9}, {`role == "a" ? 1`, 15},
	} {
		t.Run(c.src, func(t *testing.T) {
			e := mustFail(t, c.src, w)
			if e.Offset != c.offset {
				t.Errorf("offset %d, want %d: %v", e.Offset, c.offset, e)
			}
			if e.Found == "" || e.Expected == "" || e.Remedy == "" {
				t.Errorf("a part of the message is missing: %+v", e)
			}
		})
	}
}

// Sizes that would exhaust the stack or the time of a hostile study's reader.
func TestLimits(t *testing.T) {
	w := laboratory(t)
	chain := "ex"
	for range 40 {
		chain = `(ex < ` + chain + ` < ex ? ex : ex)`
	}
	for name, src := range map[string]string{
		"long":     strings.Repeat("mixture && ", 2000) + "mixture",
		"brackets": strings.Repeat("(", 200) + "mixture" + strings.Repeat(")", 200),
		"chains":   chain,
		"powers":   strings.Repeat("ex * ", 100) + "ex",
		"scale":    strings.Repeat("ionic ^ 5 / v_donor ^ 5 * ", 20) + "ex",
	} {
		t.Run(name, func(t *testing.T) {
			if e := mustFail(t, src, w); e.Remedy == "" {
				t.Errorf("no remedy: %v", e)
			}
		})
	}
	t.Run("within", func(t *testing.T) {
		mustCompile(t, strings.Repeat("-", 2000)+"ex", w)
		mustCompile(t, strings.Repeat("(", 100)+"mixture"+strings.Repeat(")", 100), w)
		mustCompile(t, strings.Repeat("ex / ex * ", 500)+"ex", w)
	})
}

func TestConditionWanted(t *testing.T) {
	w := laboratory(t)
	for src, offset := range map[string]int{"ex": 0, "  role": 2, "ex * 2": 0, `mixture ? "a" : "b"`: 0} {
		_, err := CompileCondition(src, w)
		e, ok := err.(*Error)
		if !ok || e.Offset != offset || e.Remedy == "" {
			t.Errorf("%s: %v", src, err)
		}
	}
	if _, err := CompileCondition("rol", w); err == nil {
		t.Error("an unknown name was taken for a condition")
	}
}

func TestErrorText(t *testing.T) {
	e := mustFail(t, `mixture && rol == "water"`, laboratory(t))
	want := `character 12: found unknown name "rol"; expected a field, column, constant or condition that is known here; did you mean "role"?`
	if e.Error() != want {
		t.Errorf("got  %s\nwant %s", e, want)
	}
	f := e.At("study.yaml", 44, 12)
	if got := f.Error(); !strings.HasPrefix(got, `study.yaml:44:23: found unknown name "rol"; expected a field`) || strings.Count(got, "rol\"") != 1 {
		t.Errorf("fault: %s", got)
	}
	if f := e.At("study.yaml", 44, 0); f.Col != 0 {
		t.Errorf("a place without column got column %d", f.Col)
	}
}

// What can be chosen from is listed while it is short.
func TestChoices(t *testing.T) {
	w := newWords().textual("role", Text, "a").byField(t, "few", "1").entry(t, "few", "a", "1", 1).entry(t, "few", "b", "1", 1)
	for i := range 20 {
		w.entry(t, "many", string(rune('a'+i)), "1", 1)
	}
	w.byField(t, "none", "1").textual("plain", Text, "a")
	for src, want := range map[string]string{
		"few.zzzz":          "use one of a, b",
		"many.zzzz":         "it has a, b, c, d, e, f and 14 more",
		"none.a":            "add the key a to the constant none",
		"nobody.a":          "use one of few, many",
		"role == something": `put it in quotes, "something", if a text is meant`,
		"role == rolle":     `did you mean "role"? or put it in quotes if a text is meant`,
	} {
		if got := mustFail(t, src, w).Remedy; got != want {
			t.Errorf("%s: %s, want %s", src, got, want)
		}
	}
}

// The same names in any order give the same message.
func TestDeterministicErrors(t *testing.T) {
	w := laboratory(t)
	for _, src := range []string{"tau_amplitude > 2", "stock.x", "rg", "chian", "levels.Rg_9"} {
		first := mustFail(t, src, w).Error()
		for range 50 {
			if got := mustFail(t, src, w).Error(); got != first {
				t.Fatalf("%s: %s, but before %s", src, got, first)
			}
		}
	}
}

func FuzzCompile(f *testing.F) {
	for _, s := range []string{`role == "mixture" && ex == 350`, `(acceptor_only ? 30 : long ? 60 : 12) * unit_mass[substance]`, `ex in [1, 2, 340..350] || not (ionic > "500 mmol/L")`,
		`sqrt(ex ^ 2 + ex ** 2) / max(ex, capillary) ?? fraction`, `0.2 < fraction <= 0.5`, `date in "2031-03-01".."2031-03-04"`, `role matches "^m" and len(trim(role)) % 2 == 1`,
		"temperature - temperature > \"5 K\"", "let a = 1; a", "`a``b` == role", "stock.violane[", "ex ?: 5", "a.b.c", "::f()", "\"\\u{1F600}\" in [role]", "1..2..3", "not in", "ex not in 1..2"} {
		f.Add(s)
	}
	w := laboratory(f)
	empty := values{}
	f.Fuzz(func(t *testing.T, src string) {
		formula, err := Compile(src, w)
		if err != nil {
			e, ok := err.(*Error)
			if !ok {
				t.Fatalf("%T", err)
			}
			if e.Offset < 0 || e.Offset > utf8.RuneCountInString(src) {
				t.Fatalf("offset %d of %d characters: %v", e.Offset, utf8.RuneCountInString(src), e)
			}
			if e.Found == "" || e.Expected == "" || e.Remedy == "" {
				t.Fatalf("a part of the message is missing: %+v", e)
			}
			return
		}
		for _, env := range []Env{w.env(), empty} {
			v := formula.Eval(env)
			if !finite(v.Number) {
				t.Fatalf("%s gave %v", src, v)
			}
			if v != formula.Eval(env) {
				t.Fatalf("%s gave two values", src)
			}
		}
		if formula.Type().Sort == NumberMap {
			t.Fatalf("%s is a NumberMap", src)
		}
	})
}
