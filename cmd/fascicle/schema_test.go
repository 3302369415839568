package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/stages"

	"gopkg.in/yaml.v3"
)

// schemaOf gives what `fascicle schema` prints, decoded.
func schemaOf(t *testing.T) map[string]any {
	t.Helper()
	c := fascicle(t, "schema")
	c.want(t, 0, nil, nil)
	var s map[string]any
	if err := json.Unmarshal([]byte(c.out), &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// Every kind, port and setting stands in the schema with what it means, in its unit, with its words and whether it must be there.
func TestSchemaKnowsEveryKind(t *testing.T) {
	schema := schemaOf(t)
	if schema["$schema"] != "https://json-schema.org/draft/2020-12/schema" {
		t.Errorf("$schema is %v", schema["$schema"])
	}
	if again := fascicle(t, "schema", "--json").out; again != fascicle(t, "schema").out {
		t.Error("two calls print different schemas")
	}
	defs := schema["$defs"].(map[string]any)
	var named []string
	for _, c := range at(t, defs, "stage", "properties", "kind", "oneOf").([]any) {
		named = append(named, at(t, c, "const").(string))
	}
	if !slices.Equal(named, kindNames(stages.Kinds())) {
		t.Errorf("stages may be of %v", named)
	}
	for _, k := range stages.Kinds() {
		def, ok := defs[k.Name].(map[string]any)
		if !ok {
			t.Errorf("no schema of %s", k.Name)
			continue
		}
		if d := at(t, def, "description").(string); !strings.Contains(d, k.Doc) || !strings.Contains(d, k.Source) {
			t.Errorf("%s is described as %q", k.Name, d)
		}
		for _, p := range k.Ports {
			if d, _ := at(t, def, "properties", "from", "properties", p.Name, "description").(string); !strings.Contains(d, p.Doc) {
				t.Errorf("%s: port %s is described as %q", k.Name, p.Name, d)
			}
		}
		for _, s := range pipeline.SettingDocs(k) {
			checkSettingSchema(t, k.Name, at(t, def, "properties", "set"), s)
		}
	}
}

// at walks down a decoded schema.
func at(t *testing.T, v any, path ...string) any {
	t.Helper()
	for i, key := range path {
		m, ok := v.(map[string]any)
		if !ok || m[key] == nil {
			t.Fatalf("the schema has no %s", strings.Join(path[:i+1], "/"))
		}
		v = m[key]
	}
	return v
}

func checkSettingSchema(t *testing.T, kind string, set any, s pipeline.SettingDoc) {
	t.Helper()
	path := strings.Split(s.Path, ".")
	for _, outer := range path[:len(path)-1] {
		set = at(t, set, "properties", outer)
	}
	name := path[len(path)-1]
	got := at(t, set, "properties", name).(map[string]any)
	text := got["description"].(string)
	for _, want := range []string{s.Doc, s.Unit, s.Bounds} {
		if !strings.Contains(text, want) {
			t.Errorf("%s: %s is described as %q, without %q", kind, s.Path, text, want)
		}
	}
	required := []any{}
	if r, ok := set.(map[string]any)["required"].([]any); ok {
		required = r
	}
	if slices.Contains(required, any(name)) != s.Required {
		t.Errorf("%s: %s must be there: expected %v", kind, s.Path, s.Required)
	}
	if d, has := got["default"]; !s.Required && s.Default != "none" && (!has || fmt.Sprint(d) != s.Default && !strings.Contains(s.Default, ",")) {
		if x, ok := d.(float64); !ok || fmt.Sprintf("%.1f", x) != s.Default {
			t.Errorf("%s: the default of %s is %v, expected %s", kind, s.Path, d, s.Default)
		}
	}
	whole, _ := json.Marshal(got)
	for _, w := range s.Words {
		if quoted, _ := json.Marshal(w); !strings.Contains(string(whole), string(quoted)) {
			t.Errorf("%s: %s lacks the word %q", kind, s.Path, w)
		}
	}
}

// Every study that comes with the program is one by the schema.
func TestSchemaTakesStudies(t *testing.T) {
	v := validator{schemaOf(t)}
	var files []string
	for _, pattern := range []string{"pipelines/*/study.yaml", "testdata/*/study.yaml", "stages/testdata/*/study.yaml"} {
		found, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(pattern)))
		if err != nil || len(found) == 0 {
			t.Fatal(pattern, err)
		}
		files = append(files, found...)
	}
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if faults := v.check(v.root, readYAML(t, string(data)), "study"); len(faults) > 0 {
			t.Errorf("%s: %s", f, strings.Join(faults, "\n  "))
		}
	}
}

const schemaStudy = `study: One of each
samples: samples.csv
constants: {cell: 10.00(2) mm, plates: {d1: 1 mm, d2: 2 mm}}
derive: {"polymer [mmol/L]": donor + acceptor}
conditions: {mixture: role == "mixture"}
graph:
  scans:
    kind: import
    set: {files: raw/<sample>.csv, columns: {wavelength: "1 [nm]", absorbance: 2}}
  net:
    kind: correct.subtract
    from:
      curve: {stage: scans, where: mixture}
      background: {stage: scans, match: [day], nearest: {taken: before}}
    set: {scale: 1.02, range: [400 nm, "-"]}
  both: {items: [scans, net], serves: [day]}
  fits:
    kind: lifetime.fit
    from: {decay: [both, {stage: [scans, net], only: true}]}
    by: [sample, day]
    set: {exponentials: 2}
`

// What the schema must mark: each line of the study above, misspelt.
func TestSchemaRefuses(t *testing.T) {
	v := validator{schemaOf(t)}
	if faults := v.check(v.root, readYAML(t, schemaStudy), "study"); len(faults) > 0 {
		t.Fatalf("the study without faults: %s", strings.Join(faults, "\n  "))
	}
	for _, c := range [][3]string{
		{"an unknown key at the top", "conditions:", "condition:"},
		{"no title", "study: One of each\n", ""},
		{"an unknown kind", "kind: correct.subtract", "kind: correct.substract"},
		{"no kind", "    kind: lifetime.fit\n", ""},
		{"an unknown key of a stage", "by: [sample, day]", "group: [sample, day]"},
		{"an unknown port", "background:", "solvent:"},
		{"a required port unfed", "      background: {stage: scans, match: [day], nearest: {taken: before}}\n", ""},
		{"a lead unfed", "from: {decay: [both, {stage: [scans, net], only: true}]}", "from: {response: both}"},
		{"nothing fed", "    from: {decay: [both, {stage: [scans, net], only: true}]}\n", ""},
		{"a port at a kind that reads files", "    kind: import\n", "    kind: import\n    from: {curve: net}\n"},
		{"a reference without a stage", "{stage: scans, where: mixture}", "{where: mixture}"},
		{"an unknown key of a reference", "where: mixture", "when: mixture"},
		{"an unknown direction", "taken: before", "taken: earlier"},
		{"a word for true", "only: true", "only: yes please"},
		{"an unknown setting", "exponentials: 2", "exponential: 2"},
		{"a number beyond its bound", "exponentials: 2", "exponentials: 7"},
		{"no whole number", "exponentials: 2", "exponentials: 2.5"},
		{"a word that is none", "exponentials: 2", "exponentials: 2, estimator: likelihood"},
		{"a bare number where a unit is due", "exponentials: 2", "exponentials: 2, period: 50"},
		{"a range of one", `[400 nm, "-"]`, "[400 nm]"},
		{"a scale of zero", "scale: 1.02", "scale: 0"},
		{"a setting that must be there", "files: raw/<sample>.csv, ", ""},
		{"items beside a kind", "items: [scans, net]", "items: [scans, net], kind: import, set: {files: a}"},
		{"a name that is none", "  net:\n", "  the net:\n"},
		{"a constant that is a list", "cell: 10.00(2) mm", "cell: [10, mm]"},
		{"a derived column with half a bracket", `"polymer [mmol/L]"`, `"polymer [mmol/L"`},
		{"no stage at all", schemaStudy[strings.Index(schemaStudy, "graph:"):], "graph: {}\n"},
	} {
		t.Run(c[0], func(t *testing.T) {
			changed := strings.Replace(schemaStudy, c[1], c[2], 1)
			if changed == schemaStudy {
				t.Fatalf("the study has no %q", c[1])
			}
			if len(v.check(v.root, readYAML(t, changed), "study")) == 0 {
				t.Errorf("taken:\n%s", changed)
			}
		})
	}
}

// readYAML reads YAML as an editor does, into what JSON has.
func readYAML(t *testing.T, text string) any {
	t.Helper()
	var v any
	if err := yaml.Unmarshal([]byte(text), &v); err != nil {
		t.Fatal(err)
	}
	return asJSON(v)
}

func asJSON(v any) any {
	switch x := v.(type) {
	case map[string]any:
		for k := range x {
			x[k] = asJSON(x[k])
		}
	case map[any]any:
		out := map[string]any{}
		for k, e := range x {
			out[fmt.Sprint(k)] = asJSON(e)
		}
		return out
	case []any:
		for i := range x {
			x[i] = asJSON(x[i])
		}
	case int:
		return float64(x)
	case string, bool, float64, nil:
	default:
		return fmt.Sprint(x) // a date
	}
	return v
}

// validator holds values against a schema, as far as the schema of this program goes: it panics at a word that it does not know.
type validator struct{ root map[string]any }

func (v validator) check(schema, value any, place string) (faults []string) {
	fail := func(format string, args ...any) { faults = append(faults, place+": "+fmt.Sprintf(format, args...)) }
	switch s := schema.(type) {
	case bool:
		if !s {
			fail("not allowed here")
		}
		return faults
	case map[string]any:
		number, isNumber := value.(float64)
		values, isMap := value.(map[string]any)
		items, isList := value.([]any)
		_, conditional := s["if"]
		for _, word := range slices.Sorted(keys(s)) {
			arg := s[word]
			switch word {
			case "$schema", "$defs", "title", "description", "default", "examples":
			case "$ref":
				def := v.root["$defs"].(map[string]any)[strings.TrimPrefix(arg.(string), "#/$defs/")]
				if def == nil {
					panic("no definition of " + arg.(string))
				}
				faults = append(faults, v.check(def, value, place)...)
			case "type":
				types, several := arg.([]any)
				if !several {
					types = []any{arg}
				}
				if !slices.ContainsFunc(types, func(name any) bool { return isOf(value, name) }) {
					fail("%v, expected %v", value, arg)
				}
			case "enum":
				if !slices.ContainsFunc(arg.([]any), func(e any) bool { return reflect.DeepEqual(e, value) }) {
					fail("%v, expected one of %v", value, arg)
				}
			case "const":
				if !reflect.DeepEqual(arg, value) {
					fail("%v, expected %v", value, arg)
				}
			case "allOf", "anyOf", "oneOf":
				met := 0
				var first []string
				for _, e := range arg.([]any) {
					if f := v.check(e, value, place); len(f) == 0 {
						met++
					} else {
						first = append(first, f...)
					}
				}
				switch {
				case word == "allOf" && met < len(arg.([]any)), word == "anyOf" && met == 0, word == "oneOf" && met == 0:
					faults = append(faults, first...)
				case word == "oneOf" && met > 1:
					fail("%d of %s are met", met, word)
				}
			case "if":
				branch := "else"
				if len(v.check(arg, value, place)) == 0 {
					branch = "then"
				}
				if b, ok := s[branch]; ok {
					faults = append(faults, v.check(b, value, place)...)
				}
			case "then", "else":
				if !conditional {
					panic(word + " without if")
				}
			case "required":
				for _, key := range arg.([]any) {
					if _, ok := values[key.(string)]; isMap && !ok {
						fail("no %s", key)
					}
				}
			case "properties":
				for key, of := range arg.(map[string]any) {
					if e, ok := values[key]; ok {
						faults = append(faults, v.check(of, e, place+"."+key)...)
					}
				}
			case "additionalProperties":
				known, _ := s["properties"].(map[string]any)
				for key, e := range values {
					if _, ok := known[key]; !ok {
						faults = append(faults, v.check(arg, e, place+"."+key)...)
					}
				}
			case "propertyNames":
				for key := range values {
					faults = append(faults, v.check(arg, key, place+" key "+key)...)
				}
			case "minProperties":
				if isMap && float64(len(values)) < arg.(float64) {
					fail("%d entries", len(values))
				}
			case "items":
				for i, e := range items {
					faults = append(faults, v.check(arg, e, fmt.Sprintf("%s[%d]", place, i))...)
				}
			case "minItems", "maxItems":
				if n := float64(len(items)); isList && (word == "minItems" && n < arg.(float64) || word == "maxItems" && n > arg.(float64)) {
					fail("%v items", n)
				}
			case "uniqueItems":
				for i := range items {
					if slices.ContainsFunc(items[:i], func(e any) bool { return reflect.DeepEqual(e, items[i]) }) {
						fail("%v twice", items[i])
					}
				}
			case "pattern":
				if text, ok := value.(string); ok && !regexp.MustCompile(arg.(string)).MatchString(text) {
					fail("%q does not match %s", text, arg)
				}
			case "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum":
				b := arg.(float64)
				if isNumber && (word == "minimum" && number < b || word == "maximum" && number > b || word == "exclusiveMinimum" && number <= b || word == "exclusiveMaximum" && number >= b) {
					fail("%v, expected %s %v", number, word, b)
				}
			default:
				panic("the schema uses " + word)
			}
		}
		return faults
	}
	panic(fmt.Sprintf("a schema that is %T", schema))
}

func isOf(value, name any) bool {
	switch x := value.(type) {
	case nil:
		return name == "null"
	case string:
		return name == "string"
	case bool:
		return name == "boolean"
	case float64:
		return name == "number" || name == "integer" && x == math.Trunc(x)
	case []any:
		return name == "array"
	}
	return name == "object"
}
