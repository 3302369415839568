package store

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestLine(t *testing.T) {
	e := &Entry{
		Key:  key(0),
		Kind: "import",
		Objects: []Object{{
			Output: "items", N: 2, Lead: -1, Hash: ContentHash(key(64)), Size: 1234,
			Fields: []Field{{"rep", "text", `a "b" \c`, ""}, {"ex", "number", "405", "nm"}},
			Flags:  []Flag{{"note", "two\nlines, 25 °C"}},
		}},
		Flags: []Flag{{"flag", "x"}},
	}
	// The sum is CRC-64 with the ECMA-182 polynomial, reflected, inverted before and
	// after (CRC-64/XZ), worked out independently of hash/crc64.
	const want = `{"key":"000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f","kind":"import",` +
		`"objects":[{"output":"items","n":2,"lead":-1,"fields":[{"name":"rep","type":"text","value":"a \"b\" \\c"},` +
		`{"name":"ex","type":"number","value":"405","unit":"nm"}],` +
		`"hash":"404142434445464748494a4b4c4d4e4f505152535455565758595a5b5c5d5e5f","size":1234,` +
		`"flags":[{"level":"note","text":"two\u000alines, 25 °C"}]}],"flags":[{"level":"flag","text":"x"}],"sum":"311d97e37d5de486"}`
	line := string(appendLine(nil, e))
	if diff := cmp.Diff(want, line); diff != "" {
		t.Errorf("line (-want +got):\n%s", diff)
	}
	got, err := parseLine(line)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(e, got); diff != "" {
		t.Errorf("parsed (-want +got):\n%s", diff)
	}
}

func drawFlags(t *rapid.T, label string) (flags []Flag) {
	for range rapid.IntRange(0, 2).Draw(t, label) {
		flags = append(flags, Flag{rapid.String().Draw(t, "level"), rapid.String().Draw(t, "text")})
	}
	return flags
}

func drawEntry(t *rapid.T) *Entry {
	hash := rapid.Custom(func(t *rapid.T) [32]byte {
		return [32]byte(rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "hash"))
	})
	e := &Entry{Key: hash.Draw(t, "key"), Kind: rapid.String().Draw(t, "kind"), Flags: drawFlags(t, "flags")}
	for range rapid.IntRange(0, 3).Draw(t, "objects") {
		o := Object{
			Output: rapid.String().Draw(t, "output"),
			N:      rapid.IntRange(0, 1<<31-1).Draw(t, "n"),
			Lead:   rapid.IntRange(-1, 1<<31-1).Draw(t, "lead"),
			Hash:   hash.Draw(t, "object"),
			Size:   rapid.Int64Min(0).Draw(t, "size"),
			Flags:  drawFlags(t, "object's flags"),
		}
		for range rapid.IntRange(0, 3).Draw(t, "fields") {
			o.Fields = append(o.Fields, Field{
				rapid.String().Draw(t, "name"), rapid.String().Draw(t, "type"),
				rapid.String().Draw(t, "value"), rapid.String().Draw(t, "unit"),
			})
		}
		e.Objects = append(e.Objects, o)
	}
	return e
}

// TestLineProperty: what is written is read back, is one line, and is what
// encoding/json makes of it.
func TestLineProperty(t *testing.T) {
	type object struct {
		Output  string
		N, Lead int
		Fields  []Field
		Hash    ContentHash
		Size    int64
		Flags   []Flag
	}
	rapid.Check(t, func(t *rapid.T) {
		e := drawEntry(t)
		if err := e.check(); err != nil {
			t.Fatal(err)
		}
		line := string(appendLine(nil, e))
		if strings.Contains(line, "\n") {
			t.Fatalf("more than one line: %q", line)
		}
		got, err := parseLine(line)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(e, got); diff != "" {
			t.Fatalf("parsed (-want +got):\n%s", diff)
		}
		if k, ok := lineKey(line); !ok || k != e.Key {
			t.Fatal("the key is not at its place")
		}
		var plain struct {
			Key     RecipeKey
			Kind    string
			Objects []object
			Flags   []Flag
			Sum     string
		}
		if err := json.Unmarshal([]byte(line), &plain); err != nil {
			t.Fatal(err)
		}
		same := &Entry{Key: plain.Key, Kind: plain.Kind, Flags: plain.Flags}
		for _, o := range plain.Objects {
			same.Objects = append(same.Objects, Object(o))
		}
		if diff := cmp.Diff(e, same); diff != "" {
			t.Fatalf("encoding/json reads something else (-want +got):\n%s", diff)
		}
	})
}

// resum gives a line that was changed by hand the checksum that it then has.
func resum(body string) string {
	return string(append(appendSum([]byte(body+sumStart), crcOf(body)), `"}`...))
}

// TestLineSpelling: lines of another spelling are refused even where their
// checksum is right, so that each entry has one line only.
func TestLineSpelling(t *testing.T) {
	good := string(appendLine(nil, entry(1, "note")))
	body := good[:len(good)-sumLength]
	if _, err := parseLine(resum(body)); err != nil {
		t.Fatalf("unchanged: %v", err)
	}
	tests := []struct{ name, old, new string }{
		{"space", `"kind":`, `"kind": `},
		{"capital digit", `{"key":"01020304050607080`, `{"key":"0102030405060708C`},
		{"short key", `{"key":"01`, `{"key":"1`},
		{"leading zero", `"n":3`, `"n":03`},
		{"plus", `"n":3`, `"n":+3`},
		{"negative", `"n":3`, `"n":-3`},
		{"minus two", `"lead":-1`, `"lead":-2`},
		{"minus one where none may be", `"size":1`, `"size":-1`},
		{"no number", `"n":3`, `"n":`},
		{"fraction", `"size":1`, `"size":1.0`},
		{"number too large", `"n":3`, `"n":2147483648`},
		{"size too large", `"size":1`, `"size":9223372036854775808`},
		{"escape of a letter", `"kind":"l`, `"kind":"\u006c`},
		{"escape of a slash", `"kind":"l`, `"kind":"\/l`},
		{"short escape", `"kind":"l`, `"kind":"\nl`},
		{"half an escape", `"kind":"lifetime.fit"`, `"kind":"\u00`},
		{"capital escape", `"kind":"l`, `"kind":"\u001Fl`},
		{"raw control", `"kind":"l`, "\"kind\":\"\tl"},
		{"raw control after an escape", `"kind":"l`, "\"kind\":\"\\\\\tl"},
		{"not UTF-8", `"kind":"l`, "\"kind\":\"\xffl"},
		{"not UTF-8 after an escape", `"kind":"l`, "\"kind\":\"\\\\\xffl"},
		{"string without end", `"text":"note"}]`, `"text":"note`},
		{"escaped string without end", `"text":"note"}]`, `"text":"no\\te`},
		{"empty unit", `"value":"a"`, `"value":"a","unit":""`},
		{"empty fields", `,"hash"`, `,"fields":[],"hash"`},
		{"empty flags", `,"flags":[{"level":"note","text":"note"}]`, `,"flags":[]`},
		{"comma before the end", `}],"flags":[{"level":"note"`, `},],"flags":[{"level":"note"`},
		{"more after the end", `"text":"note"}]`, `"text":"note"}],"more":1`},
		{"another order", `"n":3,"lead":-1`, `"lead":-1,"n":3`},
		{"no objects", `"objects":`, `"Objects":`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			changed := strings.Replace(body, test.old, test.new, 1)
			if changed == body {
				t.Fatalf("nothing was changed in %s", body)
			}
			if e, err := parseLine(resum(changed)); err == nil {
				t.Errorf("taken as %+v", e)
			}
		})
	}
	t.Run("short", func(t *testing.T) {
		for n := range len(good) {
			if _, err := parseLine(good[:n]); err == nil {
				t.Errorf("the first %d bytes are taken", n)
			}
		}
	})
}

func TestAppendRefuses(t *testing.T) {
	tests := map[string]func(*Entry){
		"kind":         func(e *Entry) { e.Kind = "\xff" },
		"output":       func(e *Entry) { e.Objects[0].Output = "\xff" },
		"field":        func(e *Entry) { e.Objects[1].Fields[0].Value = "\xff" },
		"message":      func(e *Entry) { e.Flags[0].Text = "\xff" },
		"item message": func(e *Entry) { e.Objects[0].Flags[0].Level = "\xff" },
		"number":       func(e *Entry) { e.Objects[0].N = -1 },
		"lead":         func(e *Entry) { e.Objects[0].Lead = -2 },
		"size":         func(e *Entry) { e.Objects[0].Size = -1 },
	}
	s := mustOpen(t, t.TempDir(), OS{})
	for name, spoil := range tests {
		t.Run(name, func(t *testing.T) {
			e := entry(1, "note")
			spoil(e)
			if err := s.Append(e); err == nil {
				t.Error("no error")
			}
			if _, ok := s.Lookup(e.Key); ok {
				t.Error("it was appended all the same")
			}
		})
	}
}

func FuzzParseLine(f *testing.F) {
	for _, e := range []*Entry{entry(1, "note"), {}, {Objects: []Object{{}}}} {
		line := string(appendLine(nil, e))
		f.Add(line[:len(line)-sumLength])
	}
	f.Fuzz(func(t *testing.T, body string) {
		parseLine(body)
		// With the right checksum the parser itself is reached.
		line := resum(body)
		e, err := parseLine(line)
		if err != nil {
			return
		}
		if err := e.check(); err != nil {
			t.Fatalf("parsed an entry that cannot be written: %v", err)
		}
		if again := string(appendLine(nil, e)); again != line {
			t.Fatalf("two spellings of one entry:\n%s\n%s", line, again)
		}
	})
}

func TestKeys(t *testing.T) {
	k := key(0xf0)
	const text = "f0f1f2f3f4f5f6f7f8f9fafbfcfdfeff000102030405060708090a0b0c0d0e0f"
	if k.String() != text || ContentHash(k).String() != text {
		t.Errorf("String: got %s", k)
	}
	if got, err := ParseRecipeKey(text); err != nil || got != k {
		t.Errorf("ParseRecipeKey: got %s and %v", got, err)
	}
	if got, err := ParseContentHash(text); err != nil || got != ContentHash(k) {
		t.Errorf("ParseContentHash: got %s and %v", got, err)
	}
	b, err := json.Marshal(map[string]any{"k": k, "h": ContentHash(k)})
	if want := `{"h":"` + text + `","k":"` + text + `"}`; err != nil || string(b) != want {
		t.Errorf("JSON: got %s and %v", b, err)
	}
	for _, bad := range []string{"", text[1:], text + "0", strings.ToUpper(text), "g" + text[1:], text[:63] + "\n"} {
		if _, err := ParseRecipeKey(bad); err == nil {
			t.Errorf("ParseRecipeKey takes %q", bad)
		}
		if _, err := ParseContentHash(bad); err == nil {
			t.Errorf("ParseContentHash takes %q", bad)
		}
	}
}
