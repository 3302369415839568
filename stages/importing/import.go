package importing

import (
	"context"
	"fmt"

	"fascicle/pipeline"
)

// ImportKind reads instrument files into items with units and fields.
var ImportKind = pipeline.Kind{
	Name:     "import",
	Revision: 1,
	Doc:      "Reads curves from instrument files: delimited text of two to four columns, header and footer found by themselves.",
	Source:   "common practice, no source",
	Methods:  "Raw files were read as their instruments wrote them; units were converted exactly.",
	Reads:    true,
	Parts:    pipeline.Shift,
	Outputs: []pipeline.Output{{
		Name: "items", Doc: "the curves of the files, axis rising, in the units that the program uses inside",
		Per: pipeline.PerAny, Form: pipeline.Curve,
		Shape: func(c pipeline.ShapeCall) ([]pipeline.Column, error) { return c.Settings.(*importSettings).shape() },
	}},
	Settings: func() any { return &importSettings{} },
	Run:      runImport,
}

// importSettings says which files to read, and what they leave unsaid.
type importSettings struct {
	Files   string               `set:"files" key:"-" doc:"pattern of the files' names, with captures in angle brackets: raw/<day>/<sample>_<ex [nm]>.txt"`
	Columns pipeline.Map[string] `set:"columns" default:"-" doc:"NAME: head or number of a column in the file, with [unit] where the file is silent; axis first; found by their heads when absent"`
	Header  pipeline.Map[string] `set:"header" default:"-" doc:"FIELD: key in the file's header, with [unit] for a number or [date]"`
	Fields  pipeline.Map[string] `set:"fields" key:"-" default:"-" doc:"FIELD: value, the same for all items of the stage"`
	U       pipeline.Map[string] `set:"u" default:"-" doc:"COLUMN: its standard uncertainty: a quantity, 'relative 0.5 %', poisson, or unknown"`
}

var _ pipeline.FileSettings = (*importSettings)(nil)

// runImport reads one file. Whatever is wrong with it is said with its path.
func runImport(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	if err := readFile(ctx, call); err != nil {
		return nil, fmt.Errorf("%s: %w", call.File.Path, err)
	}
	return nil, nil
}

func readFile(ctx context.Context, call *pipeline.Call) error {
	s := call.Settings.(*importSettings)
	text, err := ParseText(call.File.Data)
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	r := &reading{settings: s, text: text}
	t, err := r.table()
	if err != nil {
		return err
	}
	fields, err := headerFields(s.Header, text.Pairs)
	if err != nil {
		return err
	}
	return call.Stream("items", fields, t, r.flags...)
}
