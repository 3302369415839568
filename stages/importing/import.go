package importing

import (
	"context"
	"fmt"
	"strconv"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// ImportKind reads instrument files into items with units and fields.
var ImportKind = pipeline.Kind{
	Name:     "import",
	Revision: 2,
	Doc:      "Reads curves, rows or wells of values, and images from instrument files: delimited text in the layouts that exports have, sheets of workbooks, JCAMP-DX, canSAS XML, TIFF, compressed or not; header and footer are found by themselves.",
	Source:   "common practice, no source",
	Methods:  "Raw files were read as their instruments wrote them; units were converted exactly.",
	Reads:    true,
	Parts:    pipeline.Shift,
	Outputs: []pipeline.Output{{
		Name: "items", Doc: "the curves of the files, axis rising, in the units that the program uses inside; values, a row each, with layout lines",
		Per: pipeline.PerAny, Form: pipeline.AnyForm,
		Shape: func(c pipeline.ShapeCall) ([]pipeline.Column, error) { return c.Settings.(*importSettings).shape() },
	}},
	Settings: func() any { return &importSettings{} },
	Run:      runImport,
}

// importSettings says which files to read, and what they leave unsaid.
type importSettings struct {
	Files      string               `set:"files" key:"-" doc:"pattern of the files' names, with captures in angle brackets: raw/<day>/<sample>_<ex [nm]>.txt"`
	Curves     string               `set:"curves" default:"-" doc:"pattern of the name that each curve bears inside its file, written as files is: <sample>; without it the curves of a file are counted"`
	Layout     string               `set:"layout" oneof:"found|single|wide|pairs|rows|long|blocks|lines|plate|image" default:"found" doc:"how curves lie in a file, where it is misfound; lines: a row of values for each item; plate: a well for each item; image: a page of a TIFF file"`
	Columns    pipeline.Map[string] `set:"columns" default:"-" doc:"NAME: head or number of a column of the curve, the axis being 1, with [unit] where the file is silent; axis first; a head such as nm is its own unit; found by their heads when absent"`
	Header     pipeline.Map[string] `set:"header" default:"-" doc:"FIELD: key in the file's header, with [unit] for a number or [date]"`
	Fields     pipeline.Map[string] `set:"fields" key:"-" default:"-" doc:"FIELD: value, the same for all items of the stage"`
	U          pipeline.Map[string] `set:"u" default:"-" doc:"COLUMN: its standard uncertainty: a quantity (a bare number in the column's unit), 'relative 0.5 %', poisson, repeats (curves of one name), or unknown"`
	Sheet      string               `set:"sheet" default:"-" doc:"sheet of a workbook by name or number, perhaps with a range of cells: 'Scans!B3:F400'; the first without"`
	Channel    string               `set:"channel" default:"-" doc:"width of a channel, where the axis counts channels of time: a quantity, 12.2 ps, or found; a field channel of the header must agree"`
	AxisUnit   string               `set:"axis-unit" default:"-" doc:"unit of the axis where file and columns do not say it"`
	Scale      string               `set:"scale" default:"-" doc:"width of a pixel of an image, 0.11 um, where the file does not say it"`
	Wells      pipeline.Map[string] `set:"wells" default:"-" doc:"WELL or WELL-WELL of a plate: name of what it holds, read by curves; a second plate in the file may say so instead"`
	Duplicates string               `set:"duplicates" oneof:"refuse|mean" default:"refuse" doc:"what becomes of rows that have the same place on the axis"`
	Dates      string               `set:"dates" oneof:"refuse|day first|month first" default:"refuse" doc:"order of day and month in the header's dates, where a date may be read either way"`

	pattern *catalog.Pattern // of Curves
	wells   map[string]string
}

var _ pipeline.FileSettings = (*importSettings)(nil)

// runImport reads one file. Whatever is wrong with it is said with its path.
func runImport(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	send := func(fields []pipeline.Captured, t *table.Table, remarks []pipeline.Remark) error {
		return call.StreamRemarked("items", fields, t, remarks...)
	}
	if err := readFile(ctx, call.Settings.(*importSettings), call.File.Data, call.File.Path, send); err != nil {
		return nil, fmt.Errorf("%s: %w", call.File.Path, err)
	}
	return nil, nil
}

// readFile hands on the items of a file in their order. Each waits for the next one, so that what is found out at the end can be said with the last.
func readFile(ctx context.Context, s *importSettings, data []byte, path string, send sender) error {
	out := outbox{send: send}
	var repeats together
	err := s.eachText(data, path, func(x *Text) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		fields, fits, err := s.nameFields(x)
		if err != nil {
			return err
		}
		if !fits {
			out.strange(x)
			return nil
		}
		if s.repeats() && s.pattern != nil {
			return repeats.add(fmt.Sprintf("%q", fields), x)
		}
		return out.item(s, fields, x)
	})
	for _, key := range repeats.order {
		if err != nil {
			break
		}
		var fields []pipeline.Captured
		if fields, _, err = s.nameFields(repeats.texts[key]); err == nil {
			err = out.item(s, fields, repeats.texts[key])
		}
	}
	if err != nil {
		return err
	}
	return out.close(s.Curves)
}

// item makes an item of a curve that was read.
func (o *outbox) item(s *importSettings, fields []pipeline.Captured, x *Text) error {
	more, err := headerFields(s.Header, s.Dates, x)
	if err != nil {
		return err
	}
	fields = append(fields, more...)
	r := &reading{settings: s, text: x}
	if s.Channel != "" {
		if r.channel, err = s.channelWidth(fields); err != nil {
			return err
		}
	}
	t, err := r.table()
	if err != nil {
		return err
	}
	return o.put(fields, t, r.flags)
}

// sender takes an item.
type sender func(fields []pipeline.Captured, t *table.Table, remarks []pipeline.Remark) error

// outbox holds one item back.
type outbox struct {
	send   sender
	fields []pipeline.Captured
	table  *table.Table
	flags  []pipeline.Remark
	left   []string // names of curves that do not fit the pattern
}

func (o *outbox) put(fields []pipeline.Captured, t *table.Table, flags []pipeline.Remark) error {
	if err := o.flush(); err != nil {
		return err
	}
	o.fields, o.table, o.flags = fields, t, flags
	return nil
}

func (o *outbox) flush() error {
	if o.table == nil {
		return nil
	}
	return o.send(o.fields, o.table, o.flags)
}

// strange keeps the name of a curve that is left out.
func (o *outbox) strange(x *Text) {
	name := "the one on line " + itoa(x.FirstLine)
	if len(x.Names) > 0 {
		name = strconv.Quote(x.Names[0].Text)
	}
	o.left = append(o.left, name)
}

func (o *outbox) close(pattern string) error {
	if o.table == nil {
		return fmt.Errorf("no curve bears a name that fits %q; their names are %s; correct `curves`", pattern, shortKeys(o.left))
	}
	if len(o.left) > 0 {
		o.flags = append(o.flags, pipeline.Remark{Level: pipeline.Flagged, Text: fmt.Sprintf("curves of this file whose names do not fit %q are left out: %s", pattern, shortKeys(o.left))})
	}
	return o.flush()
}
