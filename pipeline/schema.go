package pipeline

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Schema gives a JSON Schema (draft 2020-12) of the study file, derived from the kinds' declarations: their ports, settings, words and
// bounds. An editor that reads it completes keys and words, shows what they mean, and marks what is misspelt. The same kinds in the same
// order give the same bytes.
//
// It never refuses a study that Load takes, numbers in quotation marks aside. It cannot know what only the study tells (stages, fields,
// columns, constants), nor units: `check` does.
func Schema(kinds []*Kind) []byte {
	var names, stages []any
	defs := sharedSchemas()
	for _, k := range kinds {
		names = append(names, object{{"const", k.Name}, {"description", k.Doc}})
		stages = append(stages, object{
			{"if", object{{"properties", object{{"kind", object{{"const", k.Name}}}}}, {"required", []string{"kind"}}}},
			{"then", refer(k.Name)},
		})
		defs = append(defs, member{k.Name, kindSchema(k)})
	}
	stages = append(stages, object{
		{"if", object{{"required", []string{"items"}}}},
		{"then", object{{"properties", object{{"kind", false}, {"from", false}, {"by", false}, {"set", false}}}}},
		{"else", object{{"required", []string{"kind"}}}},
	})
	defs = append(defs, member{"stage", object{
		{"description", "a stage: of a kind, fed through ports and with settings; or several stages taken together (items)"},
		{"type", "object"},
		{"properties", object{
			{"kind", object{{"description", "what the stage does"}, {"oneOf", names}}},
			{"items", listOf("stages taken together under this name, instead of a kind", refer("name"))},
			{"from", object{{"description", "what feeds the kind's ports"}, {"type", "object"}}},
			{"by", object{{"description", "which lead items are taken together: item, sample, all, a field, or a list of fields"},
				{"anyOf", []any{object{{"enum", []string{"item", "sample", "all"}}}, refer("name"), listOf("", refer("name"))}}}},
			{"serves", listOf("fields that say for which lead items this stage's items are, wherever they are somebody's partner", refer("name"))},
			{"trusts", listOf("checks whose failing, for an item's own partner there, stops the item", refer("name"))},
			{"set", object{{"description", "the kind's settings"}, {"type", "object"}}},
		}},
		{"additionalProperties", false},
		{"allOf", stages},
	}})
	s := append(object{
		{"$schema", "https://json-schema.org/draft/2020-12/schema"},
		{"title", "Study file of fascicle"},
		{"description", "Made from the kinds of " + Program + "; `fascicle schema` prints it anew."},
		{"type", "object"},
	}, studySchema()...)
	return indent(append(s, member{"$defs", defs}))
}

// object is a JSON object whose members keep their order.
type object []member

type member struct {
	key   string
	value any
}

// MarshalJSON writes the members in their order.
func (o object) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, m := range o {
		if i > 0 {
			b.WriteByte(',')
		}
		b.Write(compact(m.key))
		b.WriteByte(':')
		b.Write(compact(m.value))
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}

// compact writes a value of this file without escaping what only HTML needs escaped.
func compact(v any) []byte {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		panic("pipeline: schema: " + err.Error()) // strings, numbers and lists of such
	}
	return bytes.TrimRight(b.Bytes(), "\n")
}

func indent(o object) []byte {
	var b bytes.Buffer
	if err := json.Indent(&b, compact(o), "", "  "); err != nil {
		panic("pipeline: schema: " + err.Error())
	}
	b.WriteByte('\n')
	return b.Bytes()
}

func refer(def string) object { return object{{"$ref", "#/$defs/" + def}} }

// described puts a description before a schema.
func described(doc string, s object) object {
	if doc == "" {
		return s
	}
	return append(object{{"description", doc}}, s...)
}

// listOf is a list of one or more, none twice.
func listOf(doc string, of object) object {
	return described(doc, object{{"type", "array"}, {"items", of}, {"minItems", 1}, {"uniqueItems", true}})
}

// mapping is a map with keys of the user's choice.
func mapping(doc string, of object) object {
	return described(doc, object{{"type", "object"}, {"additionalProperties", of}})
}

// orEmpty lets a part of the study be left empty, as when all of its entries are commented out.
func orEmpty(s object) object {
	for i, m := range s {
		if m.key == "type" {
			s[i].value = []any{m.value, "null"}
		}
	}
	return s
}

// identifiers is what the names of constants, columns, conditions and stages look like; derived columns may bear a unit.
const (
	identifierPattern = "^[A-Za-z_][A-Za-z0-9_]*$"
	derivedPattern    = `^[A-Za-z_][A-Za-z0-9_]* *(\[[^\[\]]+\])?$`
)

// sharedSchemas are the parts that stand in several places.
func sharedSchemas() object {
	scalar := []string{"string", "number", "boolean"} // as YAML reads a text that looks like a number or a yes
	some := object{
		{"description", "items of a stage, of which some may be chosen, and how each lead item finds its own"},
		{"type", "object"},
		{"properties", object{
			{"stage", object{{"description", "a stage, or a list of stages"}, {"anyOf", []any{refer("name"), listOf("", refer("name"))}}}},
			{"output", described("one of the stage's outputs; without it the first that fits the port", refer("name"))},
			{"where", described("a condition on the items' fields", refer("expression"))},
			{"match", object{
				{"description", "fields that partner and lead item must have in common: a list, or a map {partner's field: lead item's field}"},
				{"anyOf", []any{listOf("", refer("name")), object{{"type", "object"}, {"additionalProperties", refer("name")}, {"minProperties", 1}}}},
			}},
			{"nearest", object{
				{"description", "the partner whose field lies nearest, such as {taken: before}"}, {"type", "object"},
				{"additionalProperties", object{{"enum", []string{"before", "after", "either"}}}}, {"minProperties", 1},
			}},
			{"only", object{{"description", "true: the one item there is"}, {"type", "boolean"}}},
			{"all", object{{"description", "true: every item, at a port that takes many"}, {"type", "boolean"}}},
		}},
		{"required", []string{"stage"}},
		{"additionalProperties", false},
	}
	one := []any{refer("name"), refer("selection")}
	return object{
		{"text", object{{"type", scalar}}},
		{"name", object{{"type", []string{"string", "number"}}}},
		{"expression", object{{"type", scalar}}},
		{"quantity", object{{"type", []string{"string", "number"}}, {"examples", []string{"10.00(2) mm", "1.5"}}}},
		{"selection", some},
		{"reference", object{
			{"description", "a stage's name, {stage: …, where: …}, or a list of such"},
			{"anyOf", append(slices.Clone(one), object{{"type", "array"}, {"items", object{{"anyOf", one}}}, {"minItems", 1}})},
		}},
	}
}

// studySchema is the top of the study file.
func studySchema() object {
	text, name, expression, quantity := refer("text"), refer("name"), refer("expression"), refer("quantity")
	closed := func(doc string, properties object, required ...string) object {
		s := object{{"type", "object"}, {"properties", properties}, {"additionalProperties", false}}
		if len(required) > 0 {
			s = append(s, member{"required", required})
		}
		return described(doc, s)
	}
	named := func(pattern string, s object) object {
		return append(s, member{"propertyNames", object{{"pattern", pattern}}})
	}
	nameOrNames := object{{"anyOf", []any{name, listOf("", name)}}}
	panel := closed("a figure of a stage (STAGE/FIGURE), or columns of a stage's items", object{
		{"figure", name}, {"stage", name}, {"where", expression}, {"each", nameOrNames}, {"x", expression}, {"y", nameOrNames},
		{"series", nameOrNames}, {"scale", name},
	})
	panel = append(panel, member{"oneOf", []any{object{{"required", []string{"figure"}}}, object{{"required", []string{"stage"}}}}})
	return object{
		{"properties", object{
			{"study", described("title of the study", text)},
			{"samples", described("file of the sheet, beside the study file", text)},
			{"against", described("label of a run to compare with", text)},
			{"about", orEmpty(closed("who, under which licence, paid by whom, when; for the report alone", object{
				{"authors", object{{"type", "array"}, {"items", closed("", object{{"name", text}, {"orcid", text}})}}},
				{"licence", text}, {"funding", text}, {"dates", object{}},
			}))},
			{"constants", orEmpty(named(identifierPattern, mapping("named values with unit and standard uncertainty, 10.00(2) mm, or a map of such by the values of a field",
				object{{"anyOf", []any{quantity, object{{"type", "object"}, {"additionalProperties", quantity}, {"minProperties", 1}}}}})))},
			{"derive", orEmpty(named(derivedPattern, mapping("further columns of the sheet, `name [unit]: expression`", expression)))},
			{"conditions", orEmpty(named(identifierPattern, mapping("named conditions on fields", expression)))},
			{"graph", append(named(identifierPattern, mapping("the stages", refer("stage"))), member{"minProperties", 1})},
			{"questions", orEmpty(mapping("what the report answers first, and the figures that answer it", listOf("", name)))},
			{"figures", orEmpty(mapping("figures that leave with the report", closed("", object{
				{"caption", text}, {"width", text}, {"across", text},
				{"panels", object{{"type", "array"}, {"items", panel}, {"minItems", 1}}},
			}, "panels")))},
			{"tables", orEmpty(mapping("tables that leave with the report", closed("", object{
				{"caption", text}, {"stage", name}, {"where", expression}, {"columns", listOf("", name)}, {"formats", listOf("such as csv, tex", name)},
			}, "stage")))},
			{"style", orEmpty(closed("how figures look", object{
				{"font-size", text}, {"colours", orEmpty(mapping("", text))}, {"marks", orEmpty(mapping("", text))},
				{"names", orEmpty(mapping("", text))}, {"units", orEmpty(mapping("", text))},
			}))},
		}},
		{"required", []string{"study", "samples", "graph"}},
		{"additionalProperties", false},
	}
}

// kindSchema is what a stage of one kind adds to the schema of stages: its ports, its settings, and what must be there.
func kindSchema(k *Kind) object {
	doc := k.Doc
	if k.Formula != "" {
		doc += "\nFormula: " + k.Formula
	}
	s := object{{"description", doc + "\nSource: " + k.Source}}
	var properties object
	var required []string
	if from, must := portsSchema(k); from == nil {
		properties = append(properties, member{"from", false})
	} else {
		properties = append(properties, member{"from", from})
		if must {
			required = append(required, "from")
		}
	}
	if !k.Reads {
		usual := k.By
		switch usual {
		case "":
			usual = "item"
		case "list":
			usual = "none: the study must name fields"
			required = append(required, "by")
		}
		properties = append(properties, member{"by", object{{"description", "which lead items are taken together; usually: " + usual}}})
	}
	if k.Settings == nil {
		properties = append(properties, member{"set", object{{"type", "object"}, {"additionalProperties", false}}})
	} else {
		set, must := settingsSchema(reflect.TypeOf(k.Settings()).Elem())
		properties = append(properties, member{"set", set})
		if must {
			required = append(required, "set")
		}
	}
	s = append(s, member{"properties", properties})
	if len(required) > 0 {
		s = append(s, member{"required", required})
	}
	return s
}

// portsSchema is nil for a kind without ports. must says that something has to be fed.
func portsSchema(k *Kind) (s object, must bool) {
	var properties object
	var required, leads []string
	for i := range k.Ports {
		p := &k.Ports[i]
		how := "leads"
		if !p.Lead {
			how = "partner: " + pairingWords[p.Pair]
		}
		if p.Many {
			how += "; may be many"
		}
		if p.Gather {
			how += "; gathers what succeeded"
		}
		if p.Optional {
			how += "; may stay unfed"
		}
		properties = append(properties, member{p.Name, described(p.Doc+" ("+portWord(p)+"; "+how+")", refer("reference"))})
		switch {
		case p.Lead:
			leads = append(leads, p.Name)
		case !p.Optional:
			required = append(required, p.Name)
		}
	}
	if properties == nil {
		return nil, false
	}
	s = object{{"type", "object"}, {"properties", properties}, {"additionalProperties", false}}
	switch {
	case len(leads) == 1:
		required = append(leads, required...)
	case len(leads) > 1: // the first one fed leads
		var choice []any
		for _, name := range leads {
			choice = append(choice, object{{"required", []string{name}}})
		}
		s = append(s, member{"anyOf", choice})
	}
	if len(required) > 0 {
		s = append(s, member{"required", required})
	}
	return s, len(leads)+len(required) > 0
}

// settingsSchema is the schema of a settings struct. must says that some setting has no default.
func settingsSchema(t reflect.Type) (s object, must bool) {
	properties, required := settingMembers(t)
	s = object{{"type", "object"}, {"properties", properties}, {"additionalProperties", false}}
	if len(required) > 0 {
		s = append(s, member{"required", required})
	}
	return s, len(required) > 0
}

func settingMembers(t reflect.Type) (properties object, required []string) {
	for i := range t.NumField() {
		f := t.Field(i)
		if embedded(f) {
			p, r := settingMembers(f.Type)
			properties, required = append(properties, p...), append(required, r...)
			continue
		}
		name := settingName(f)
		if name == "" {
			continue
		}
		def, has := f.Tag.Lookup("default")
		if !has {
			required = append(required, name)
		}
		s := described(settingText(f), settingSchema(f.Type, f.Tag))
		if has && def != "-" {
			s = append(s, member{"default", defaultValue(def, f.Type)})
		}
		properties = append(properties, member{name, s})
	}
	if properties == nil {
		properties = object{}
	}
	return properties, required
}

// settingText says what a setting means, in which unit, and within which bounds.
func settingText(f reflect.StructField) string {
	text := f.Tag.Get("doc") + " (" + shapeWord(f.Type)
	switch u := f.Tag.Get("unit"); u {
	case "text", "key":
		text = f.Tag.Get("doc") + " (a text, a field or an expression for each item"
	case "*":
		text += " in any unit"
	case "", "1":
	default:
		text += " in " + mustUnit(u).Symbol() + " or a unit like it"
	}
	if w := words(f.Tag, "words"); len(w) > 0 {
		text += ", or " + strings.Join(w, ", ")
	}
	if b := boundsWord(f.Tag); b != "" {
		text += "; " + b
		switch u := f.Tag.Get("unit"); u {
		case "", "1", "*", "text", "key":
		default:
			text += " " + mustUnit(u).Symbol()
		}
	}
	return text + ")"
}

// settingSchema is the schema of one setting by its Go type, as decode reads it.
func settingSchema(t reflect.Type, tag reflect.StructTag) object {
	switch t {
	case reflect.TypeFor[Quantity](), reflect.TypeFor[Field]():
		return orWords(numberSchema(tag), tag)
	case reflect.TypeFor[Range]():
		return orWords(object{{"type", "array"}, {"items", orWords(numberSchema(tag), `words:"-"`)}, {"minItems", 2}, {"maxItems", 2}}, tag)
	case reflect.TypeFor[ColumnName](), reflect.TypeFor[Expr]():
		return orWords(refer("expression"), tag)
	}
	switch {
	case t.Kind() == reflect.Slice && isNamed(t.Elem()):
		s := object{{"type", "object"}, {"additionalProperties", settingSchema(t.Elem().Field(1).Type, tag)}}
		if tag.Get("keyed") == "unit" {
			s = append(s, member{"propertyNames", object{{"pattern", derivedPattern}}})
		}
		return s
	case t.Kind() == reflect.Slice:
		of := settingSchema(t.Elem(), tag)
		many := object{{"type", "array"}, {"items", of}}
		if t.Elem().Kind() == reflect.Slice && !isNamed(t.Elem().Elem()) {
			return many // a list of lists
		}
		return object{{"anyOf", []any{of, many}}}
	case t.Kind() == reflect.Struct:
		s, _ := settingsSchema(t)
		return s
	}
	switch t.Kind() {
	case reflect.Bool:
		return object{{"type", "boolean"}}
	case reflect.Int:
		return append(object{{"type", "integer"}}, boundsSchema(tag)...)
	case reflect.Float64: // always a pure number
		return append(object{{"type", []string{"string", "number"}}}, boundsSchema(tag)...)
	}
	if allowed := words(tag, "oneof"); allowed != nil {
		return object{{"enum", allowed}}
	}
	return refer("text")
}

// numberSchema is a quantity, a constant's name or an expression. A bare number needs a place without unit; bounds hold it there.
func numberSchema(tag reflect.StructTag) object {
	switch tag.Get("unit") {
	case "", "1":
		return append(object{{"type", []string{"string", "number"}}}, boundsSchema(tag)...)
	case "*", "text", "key":
		return object{{"type", []string{"string", "number", "boolean"}}}
	}
	return object{{"type", "string"}}
}

// boundsSchema are the bounds of bare numbers.
func boundsSchema(tag reflect.StructTag) object {
	var s object
	for _, b := range [...][2]string{{"min", "minimum"}, {"above", "exclusiveMinimum"}, {"max", "maximum"}, {"below", "exclusiveMaximum"}} {
		if v := tag.Get(b[0]); v != "" {
			s = append(s, member{b[1], json.Number(v)})
		}
	}
	return s
}

// orWords adds the words that may stand in the place of a number, so that an editor offers them.
func orWords(s object, tag reflect.StructTag) object {
	w := words(tag, "words")
	if len(w) == 0 {
		return s
	}
	return object{{"anyOf", []any{object{{"enum", w}}, s}}}
}

// defaultValue gives a default as YAML would read it where a study writes it.
func defaultValue(def string, t reflect.Type) any {
	if t == reflect.TypeFor[Range]() && strings.Contains(def, ",") || t.Kind() == reflect.Slice && strings.Contains(def, ",") {
		var out []any
		for _, p := range strings.Split(def, ",") {
			out = append(out, plainValue(strings.TrimSpace(p), t))
		}
		return out
	}
	return plainValue(def, t)
}

func plainValue(s string, t reflect.Type) any {
	switch t.Kind() {
	case reflect.String:
		return s
	case reflect.Bool:
		return s == "true"
	}
	if _, err := strconv.ParseFloat(s, 64); err == nil && json.Valid([]byte(s)) {
		return json.Number(s)
	}
	return s
}
