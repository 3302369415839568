// Package rehearsal declares kinds without science: the ports, columns, outputs, settings and grouping of a whole program, and no
// run function. Tests of package pipeline load and check studies against them, so that the graph is tested without any of the
// families that compute. Nothing outside tests imports it.
//
// Names and units are those of the program's own kinds as far as the graph is concerned; formulas and sources are not repeated
// here. A file holds one family; Kinds lists all.
package rehearsal

import (
	"slices"

	"fascicle/pipeline"
)

// Kinds gives all declarations, family by family. The values are new with each call.
func Kinds() []*pipeline.Kind {
	return slices.Concat(importKinds(), correctKinds(), calibrateKinds(), scatteringKinds(), lifetimeKinds(), spectraKinds(),
		efficiencyKinds(), phaseKinds(), relationKinds())
}

const (
	axis  = pipeline.AxisColumn
	value = pipeline.ValueColumn
)

// kind completes a declaration with what every kind has.
func kind(name, doc string, k pipeline.Kind) *pipeline.Kind {
	k.Name, k.Doc, k.Revision = name, doc, 1
	k.Formula = "declared without a formula"
	k.Source = "common practice, no source"
	k.Methods = doc
	return &k
}

// settings makes a Kind.Settings function of a struct type.
func settings[T any]() func() any { return func() any { return new(T) } }

// lead declares a leading port.
func lead(name, doc string, form pipeline.Form, columns ...pipeline.Column) pipeline.Port {
	return pipeline.Port{Name: name, Doc: doc, Lead: true, Forms: []pipeline.Form{form}, Columns: columns}
}

// partner declares a port whose items are found for each lead item.
func partner(name, doc string, pair pipeline.Pairing, form pipeline.Form, columns ...pipeline.Column) pipeline.Port {
	return pipeline.Port{Name: name, Doc: doc, Pair: pair, Forms: []pipeline.Form{form}, Columns: columns}
}

func optional(p pipeline.Port) pipeline.Port { p.Optional = true; return p }
func many(p pipeline.Port) pipeline.Port     { p.Many = true; return p }
func gather(p pipeline.Port) pipeline.Port   { p.Gather = true; return p }

// or adds another form that a port takes.
func or(p pipeline.Port, form pipeline.Form) pipeline.Port {
	p.Forms = append(slices.Clone(p.Forms), form)
	return p
}

// sheetPort declares a leading port that the sheet usually feeds.
func sheetPort() pipeline.Port {
	p := lead("sample", "the samples, one item a row of the sheet", pipeline.Values)
	p.Sheet = true
	return p
}

// along declares what a curve must have: an axis and a value, in units.
func along(axisUnit, valueUnit string) []pipeline.Column {
	return []pipeline.Column{
		{Name: axis, Unit: axisUnit, Doc: "what the curve runs along"},
		{Name: value, Unit: valueUnit, Doc: "what was measured along it"},
	}
}

// num declares a number with an uncertainty of its own, exact one without.
func num(name, unit, doc string) pipeline.Column {
	return pipeline.Column{Name: name, Unit: unit, Doc: doc, U: true}
}

func exact(name, unit, doc string) pipeline.Column {
	return pipeline.Column{Name: name, Unit: unit, Doc: doc}
}

func word(name, doc string) pipeline.Column {
	return pipeline.Column{Name: name, Doc: doc, Text: true}
}

// maybe marks a column that may be missing at a port, or null in an output.
func maybe(c pipeline.Column) pipeline.Column { c.Optional = true; return c }

// each and group declare outputs for each lead item, and for each group.
func each(name, doc string, form pipeline.Form, columns ...pipeline.Column) pipeline.Output {
	return pipeline.Output{Name: name, Doc: doc, Per: pipeline.PerLead, Form: form, Columns: columns}
}

func group(name, doc string, form pipeline.Form, columns ...pipeline.Column) pipeline.Output {
	return pipeline.Output{Name: name, Doc: doc, Per: pipeline.PerGroup, Form: form, Columns: columns}
}

// like gives an output the columns of a port's items.
func like(port string, o pipeline.Output) pipeline.Output { o.Like = port; return o }

// shaped gives an output columns that depend on settings or on what arrives.
func shaped(o pipeline.Output, shape func(pipeline.ShapeCall) ([]pipeline.Column, error)) pipeline.Output {
	o.Shape = shape
	return o
}

// fitted declares the curve that a fit leaves: data, model, weighted residuals and which points were used.
func fitted(port, axisName, valueName string) pipeline.Output {
	return each(fitOutput(port), "data, model and weighted residuals", pipeline.Curve,
		exact(axisName, "="+port+".axis", "the axis of the data"),
		num(valueName, "="+port, "the data"),
		exact("model", "="+port, "the fitted model"),
		exact("residual", "1", "(data − model)/u"),
		exact("used", "1", "1 for points that the fit used, else 0"))
}

// fitOutput names a fit's curve: `curve` beside values that are called `fit`, else `fit`.
func fitOutput(port string) string {
	if port == "decay" {
		return "curve"
	}
	return "fit"
}
