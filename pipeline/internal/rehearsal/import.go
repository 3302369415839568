package rehearsal

import (
	"errors"
	"fmt"
	"path"
	"strings"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
)

func importKinds() []*pipeline.Kind {
	items := pipeline.Output{Name: "items", Doc: "what the files hold", Per: pipeline.PerAny, Form: pipeline.AnyForm,
		Shape: func(s pipeline.ShapeCall) ([]pipeline.Column, error) { return s.Settings.(*importSettings).shape() }}
	return []*pipeline.Kind{
		kind("import", "Reads instrument files into items with units and fields.", pipeline.Kind{
			Reads: true, Settings: settings[importSettings](), Outputs: []pipeline.Output{items},
		}),
	}
}

// importSettings says which files to read, and what they leave unsaid.
type importSettings struct {
	Files      string               `set:"files" doc:"pattern of the files, with captures in angle brackets" key:"-"`
	Curves     string               `set:"curves" doc:"pattern of the name that each curve bears inside its file" default:"-"`
	Layout     string               `set:"layout" doc:"how the file is laid out, if it is misfound" oneof:"found|wide|pairs|rows|long|blocks|plate|lines" default:"found"`
	Columns    pipeline.Map[string] `set:"columns" doc:"name: head or number in the file, with [unit] where the file is silent" default:"-"`
	Header     pipeline.Map[string] `set:"header" doc:"field: key in the file's header, with [unit] or [date]" default:"-"`
	Fields     pipeline.Map[string] `set:"fields" doc:"fields that are the same for all items" default:"-"`
	U          pipeline.Map[string] `set:"u" doc:"column: uncertainty in its unit, relative 0.5 %, poisson, repeats or unknown" default:"-"`
	Wells      string               `set:"wells" doc:"pattern of the tables that say what each well of a plate holds" default:"-"`
	Sheet      string               `set:"sheet" doc:"sheet of a workbook" default:"first"`
	Channel    pipeline.Field       `set:"channel" doc:"width of a time channel" unit:"ns" words:"found" default:"found"`
	AxisUnit   string               `set:"axis-unit" doc:"unit of the axis where the file is silent" default:"found"`
	Duplicates string               `set:"duplicates" doc:"what to do with an axis value that comes twice" oneof:"refuse|first|last|mean" default:"refuse"`
	Dates      string               `set:"dates" doc:"how dates are written" oneof:"refuse if ambiguous|day first|month first" default:"refuse if ambiguous"`
}

var _ pipeline.FileSettings = (*importSettings)(nil)

// FilesPattern is the pattern of the files.
func (s *importSettings) FilesPattern() string { return s.Files }

// Brings lists the fields that captures, header entries and constants of the stage give its items.
func (s *importSettings) Brings() ([]pipeline.Brought, error) {
	var out []pipeline.Brought
	files, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	out = appendCaptures(out, files, "files")
	if s.Curves != "" {
		curves, err := catalog.ParseNamePattern(s.Curves)
		if err != nil {
			return nil, err
		}
		out = appendCaptures(out, curves, "curves")
	}
	for _, h := range s.Header {
		b := pipeline.Brought{Name: h.Key, Sort: formula.Text, Where: "header"}
		switch _, unit, has := splitUnit(h.Value); {
		case has && unit == "date":
			b.Sort = formula.Date
		case has:
			u, err := catalog.ParseUnit(unit)
			if err != nil {
				return nil, unitError("header."+h.Key, err)
			}
			b.Sort, b.Unit, b.HasUnit = formula.Number, u, true
		}
		out = append(out, b)
	}
	for _, f := range s.Fields {
		b := pipeline.Brought{Name: f.Key, Sort: formula.Text, Where: "fields", Value: f.Value}
		if n, err := catalog.ParseNumber(f.Value); err == nil {
			b.Sort, b.Unit, b.HasUnit = formula.Number, n.Unit, n.HasUnit
		}
		out = append(out, b)
	}
	for i, b := range out {
		for _, earlier := range out[:i] {
			if earlier.Name == b.Name {
				return nil, fmt.Errorf("the field %s comes from `%s` and from `%s`", b.Name, earlier.Where, b.Where)
			}
		}
	}
	return out, nil
}

// unitError says which setting holds a unit that cannot be read.
func unitError(path string, err error) error {
	e := &pipeline.SettingError{Path: path, Found: err.Error(), Expected: "a unit in square brackets"}
	if f := (*fault.Fault)(nil); errors.As(err, &f) {
		e.Found, e.Remedy = f.Found, f.Remedy
	}
	return e
}

func appendCaptures(out []pipeline.Brought, p *catalog.Pattern, where string) []pipeline.Brought {
	for _, c := range p.Captures() {
		b := pipeline.Brought{Name: c.Name, Sort: formula.Text, Unit: c.Unit, HasUnit: c.HasUnit, Where: where}
		switch c.Type {
		case catalog.Numeric:
			b.Sort = formula.Number
		case catalog.Date:
			b.Sort = formula.Date
		}
		out = append(out, b)
	}
	return out
}

// splitUnit takes a trailing [unit] off a text.
func splitUnit(s string) (head, unit string, has bool) {
	s = strings.TrimSpace(s)
	open := strings.LastIndexByte(s, '[')
	if open < 0 || !strings.HasSuffix(s, "]") {
		return s, "", false
	}
	return strings.TrimSpace(s[:open]), strings.TrimSpace(s[open+1 : len(s)-1]), true
}

// OutputForm is the form of the items: an image by the ending of the files' names, values by layout, else curves.
func (s *importSettings) OutputForm() pipeline.Form {
	switch strings.ToLower(path.Ext(s.Files)) {
	case ".tif", ".tiff":
		return pipeline.Image
	}
	if s.Layout == "lines" || s.Layout == "plate" || s.Wells != "" {
		return pipeline.Values
	}
	return pipeline.Curve
}

// shape gives the columns that the study names. Without any, the files decide.
func (s *importSettings) shape() ([]pipeline.Column, error) {
	if len(s.Columns) == 0 {
		return pipeline.UnknownShape()
	}
	var out []pipeline.Column
	if s.Channel.Set && !s.Channel.Is("found") {
		out = append(out, exact("time", "ns", "time of a channel"))
	}
	curve := s.OutputForm() == pipeline.Curve
	for _, c := range s.Columns {
		col := exact(c.Key, "*", "as in the file")
		head, text, has := splitUnit(c.Value)
		switch {
		case has:
			u, err := catalog.ParseUnit(text)
			if err != nil {
				return nil, unitError("columns."+c.Key, err)
			}
			col.Unit = inside(u, curve && len(out) == 0)
		case c.Key == "counts" || strings.EqualFold(head, "counts"):
			col.Unit = "1"
		}
		out = append(out, col)
	}
	return out, nil
}
