// Package relation holds the kinds that bring numbers of several stages together.
package relation

import (
	"context"
	"fmt"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// JoinKind puts the numbers of several stages into one row for each sample.
var JoinKind = pipeline.Kind{
	Name:     "relation.join",
	Revision: 3,
	Doc:      "Joins the numbers of several stages into one row for each sample; a column is called STAGE.NAME.",
	Formula:  "row = { STAGE.NAME for each number of each stage }",
	Source:   "common practice, no source",
	Methods:  "The numbers of each sample were joined into one row.",
	Names:    true,
	Parts:    pipeline.Shift,
	Ports: []pipeline.Port{
		{Name: "sample", Lead: true, Sheet: true, Forms: []pipeline.Form{pipeline.Values}, Doc: "rows of the sheet (`samples`), or rows of another join"},
		{Name: "values", Optional: true, Gather: true, Many: true, Pair: pipeline.BySample, Forms: []pipeline.Form{pipeline.Values}, Doc: "numbers to join, of the same sample; what failed or is blocked is listed"},
	},
	Outputs: []pipeline.Output{
		{Name: "row", Doc: "the joined row", Form: pipeline.Values, Shape: joinShape},
		{Name: "missing", Doc: "what a row lacks, and why", Per: pipeline.PerGroup, Form: pipeline.TableForm, Columns: []pipeline.Column{
			{Name: "stage", Text: true, Doc: "stage that should have given numbers"},
			{Name: "item", Text: true, Doc: "its item"},
			{Name: "state", Text: true, Doc: "failed or blocked"},
			{Name: "reason", Text: true, Doc: "why"},
		}},
	},
	Settings: func() any { return &joinSettings{} },
	Run:      runJoin,
}

type joinSettings struct {
	Derive pipeline.Map[pipeline.Expr] `set:"derive" default:"-" keyed:"unit" port:"values" doc:"NAME [unit]: expression over STAGE.NAME and fields; a further column of the row; none where it reads a number that is only a limit"`
}

// joinShape names the columns that are known to arrive. A stage that gives a numbered family (Rg_i) leaves the width open.
func joinShape(c pipeline.ShapeCall) ([]pipeline.Column, error) {
	out := []pipeline.Column{{Name: "sample", Text: true, Doc: "name of the sample"}}
	seen := map[string]bool{}
	for _, port := range []string{"sample", "values"} {
		for _, a := range c.Ports[port] {
			for _, col := range a.Columns {
				name := col.Name
				if !strings.Contains(name, ".") {
					if port == "sample" {
						continue // the sheet's own columns are fields
					}
					name = a.Stage + "." + name
				}
				if seen[name] {
					return nil, fmt.Errorf("two stages give the column %s", name)
				}
				seen[name] = true
				d := pipeline.Column{Name: name, Text: col.Text, Unit: col.Unit.Code(), Optional: true, U: col.U}
				if col.Any {
					d.Unit = "*"
				}
				out = append(out, d)
			}
		}
	}
	if s, ok := c.Settings.(*joinSettings); ok {
		for _, d := range s.Derive {
			col := pipeline.Column{Name: d.Key, Unit: d.Value.Unit, Optional: true, U: true}
			if col.Unit == "" {
				col.Unit = "*"
			}
			out = append(out, col)
		}
	}
	return out, nil
}

func runJoin(_ context.Context, call *pipeline.Call) (pipeline.Choices, error) {
	s := call.Settings.(*joinSettings)
	for i, lead := range call.Leads {
		row := &table.Table{}
		if c := lead.Table.Col("sample"); c != nil {
			row.Columns = append(row.Columns, *c)
		} else {
			row.AddText("sample", []string{lead.Name()})
		}
		for j := range lead.Table.Columns {
			if c := lead.Table.Columns[j]; strings.Contains(c.Name, ".") {
				row.Columns = append(row.Columns, c)
			}
		}
		from := map[string]string{}
		for _, in := range call.Partners("values", i) {
			if other, twice := from[in.Stage]; twice {
				return nil, fmt.Errorf("stage %s has two items for this row, %s and %s; take them together first, or narrow the reference with `where`", in.Stage, other, in.Name())
			}
			from[in.Stage] = in.Name()
			for _, c := range in.Table.Columns {
				if !strings.Contains(c.Name, ".") {
					c.Name = joinedName(in, c.Name)
				}
				if row.Col(c.Name) != nil {
					return nil, fmt.Errorf("two stages give the column %s", c.Name)
				}
				row.Columns = append(row.Columns, c)
			}
		}
		for _, d := range s.Derive {
			if column, bound := boundIn(row, d.Value.Text); bound != "" {
				// the expression may fall where the column rises, or turn: which side of the result is open cannot be told
				cell, err := call.Eval(d.Value, "values", i)
				if err != nil {
					return nil, err
				}
				row.AddFloatValid(d.Key, cell.Unit, []float64{0}, []bool{false})
				call.Flag(pipeline.Flagged, "row", i, "%s has no value, because %s is only a limit (%s)", d.Key, column, bound)
				continue
			}
			if err := call.Derive(row, d.Key, d.Value, "values", i); err != nil {
				return nil, err
			}
		}
		call.Give("row", i, row)
	}
	n := len(call.Missing)
	stage, item, state, reason := make([]string, n), make([]string, n), make([]string, n), make([]string, n)
	for k, m := range call.Missing {
		stage[k], item[k], state[k], reason[k] = m.Stage, m.Item, string(m.State), m.Reason
	}
	missing := &table.Table{}
	missing.AddText("stage", stage)
	missing.AddText("item", item)
	missing.AddText("state", state)
	missing.AddText("reason", reason)
	call.Give("missing", -1, missing)
	return nil, nil
}

// joinedName puts the stage before a column's own name, so that u_Rg of guinier becomes u_guinier.Rg: it still accompanies guinier.Rg.
func joinedName(in *pipeline.Input, name string) string {
	for _, p := range [...]string{"u_", "nu_"} {
		if rest, ok := strings.CutPrefix(name, p); ok {
			return p + in.Stage + "." + rest
		}
	}
	if x, y, ok := pipeline.SplitCovariance(in.Table, name); ok {
		return "cov_" + in.Stage + "." + x + "_" + in.Stage + "." + y
	}
	return in.Stage + "." + name
}
