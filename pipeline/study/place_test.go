package study

import (
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// checkPlaces checks of every text in a study that it stands where its place says.
func checkPlaces(t testing.TB, st *Study) {
	t.Helper()
	count := 0
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Pointer:
			if !v.IsNil() && v.Type() != reflect.TypeFor[*source]() {
				walk(v.Elem())
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.Struct:
			if text, ok := v.Interface().(Text); ok {
				if !text.IsNull() {
					count++
					checkPlace(t, st, text)
				}
				return
			}
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(v.Field(i))
				}
			}
		}
	}
	walk(reflect.ValueOf(st))
	if count < 50 {
		t.Errorf("only %d texts were looked at", count)
	}
}

func checkPlace(t testing.TB, st *Study, text Text) {
	t.Helper()
	rest := st.src.from(text.Pos)
	if text.Quoted {
		if rest == "" || !strings.ContainsRune(`"'|>`, rune(rest[0])) {
			t.Errorf("%q should be quoted at %v, where %q stands", text.Value, text.Pos, rest)
		}
		return
	}
	word := text.Value
	if i := strings.IndexByte(word, ' '); i >= 0 {
		word = word[:i] // the text may go on in the next line
	}
	if !strings.HasPrefix(rest, word) {
		t.Errorf("%q should stand at %v, where %q stands", text.Value, text.Pos, rest)
	}
}

func TestPlaces(t *testing.T) {
	st, _ := readSmall(t)
	checkPlaces(t, st)
	if p := st.Derive[0].Unit.Pos; st.src.from(p) != "mmol/L]: cell * 2   # a comment" {
		t.Errorf("the unit is at %v", p)
	}
}

// TestLocate writes an expression in the ways that YAML has, and looks up each of its characters.
func TestLocate(t *testing.T) {
	const head = "study: x\nsamples: y\ngraph: {a: {kind: k}}\nconditions:\n  c: "
	words := rapid.SampledFrom([]string{"role", "==", `"µ"`, "&&", "not", "x", "'a b'", "1.5", "Å_", "||", `\`, "it's"})
	rapid.Check(t, func(t *rapid.T) {
		list := rapid.SliceOfN(words, 1, 8).Draw(t, "words")
		style := rapid.SampledFrom([]string{"single", "double", "plain"}).Draw(t, "style")
		var b strings.Builder
		for i, w := range list {
			if i > 0 {
				b.WriteString(rapid.SampledFrom([]string{" ", " ", "\n    "}).Draw(t, "gap"))
			} else if style == "plain" {
				b.WriteString("z ") // a plain text must not begin with a quote
			}
			b.WriteString(w)
		}
		s := b.String()
		switch style {
		case "single":
			s = "'" + strings.ReplaceAll(s, "'", "''") + "'"
		case "double":
			s = `"` + strings.ReplaceAll(strings.ReplaceAll(s, `\`, `\\`), `"`, `\"`) + `"`
		}
		st, faults := Read("study.yaml", []byte(head+s+"\n"))
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		expr := st.Conditions[0].Expr
		for i, c := range expr.Value {
			if c == ' ' {
				continue
			}
			rest := st.src.from(st.Locate(expr, i))
			if style == "double" {
				rest = strings.TrimPrefix(rest, `\`)
			}
			if have, _ := utf8.DecodeRuneInString(rest); have != c {
				t.Fatalf("character %d of %q is %q, but %v has %q", i, expr.Value, c, st.Locate(expr, i), rest)
			}
		}
		if end := st.Locate(expr, len(expr.Value)); end.Line < expr.Pos.Line || end == expr.Pos {
			t.Fatalf("the end of %q is at %v", expr.Value, end)
		}
		if st.Locate(expr, len(expr.Value)+1) != expr.Pos || st.Locate(expr, -1) != expr.Pos {
			t.Fatal("an offset outside the text has a place")
		}
	})
}

func TestSource(t *testing.T) {
	src := newSource([]byte("aµ\r\n\rb\n"))
	for _, tt := range []struct {
		offset int
		want   Pos
	}{{0, Pos{1, 1}}, {1, Pos{1, 2}}, {3, Pos{1, 3}}, {5, Pos{2, 1}}, {6, Pos{3, 1}}, {8, Pos{4, 1}}, {99, Pos{4, 1}}} {
		if got := src.at(tt.offset); got != tt.want {
			t.Errorf("byte %d is at %v, want %v", tt.offset, got, tt.want)
		}
		if back := src.offset(tt.want); back != min(tt.offset, 8) {
			t.Errorf("%v is byte %d, want %d", tt.want, back, tt.offset)
		}
	}
	if got := src.line(1); got != "aµ" {
		t.Errorf("line 1 is %q", got)
	}
	if src.line(0) != "" || src.line(9) != "" {
		t.Error("a line outside the file has text")
	}
}
