package rehearsal

import (
	"fmt"
	"strings"

	"fascicle/pipeline"
	"fascicle/pipeline/formula"
)

func relationKinds() []*pipeline.Kind {
	reads := pipeline.Reads
	row := lead("row", "rows of numbers", vals)
	point := lead("point", "points", vals)

	return []*pipeline.Kind{
		kind("relation.join", "Puts what stages found of a sample into one row.", pipeline.Kind{
			Parts: reads, Ports: []pipeline.Port{sheetPort(), optional(many(gather(partner("values", "what stages found", same, vals))))},
			Outputs: []pipeline.Output{shaped(each("row", "the row", vals), joinShape), group("missing", "what is not there", rows,
				word("sample", "sample"), word("stage", "stage"), word("reason", "why"))},
			Settings: settings[joinSettings](),
		}),
		kind("relation.combine", "Takes independent preparations of one condition together.", pipeline.Kind{
			By: "list", Parts: reads, Ports: []pipeline.Port{row, many(partner("pool", "rows from which the spread of preparations is learnt", byAll, vals))},
			Outputs: []pipeline.Output{like("row", group("condition", "mean of a condition", vals)), like("row",
				group("between", "variance between preparations", vals))},
			Settings: settings[combineSettings](),
		}),
		kind("relation.mean", "Takes the mean of points and tells whether they agree.", pipeline.Kind{
			By: "all", Parts: reads, Ports: []pipeline.Port{point},
			Outputs: []pipeline.Output{shaped(group("mean", "the mean", vals, num("mean", "*", "weighted mean"),
				exact("chi2_p", "1", "probability of such a spread by chance"), exact("birge", "1", "spread over expected spread")), meanShape)},
			Settings: settings[meanSettings](),
		}),
		kind("relation.fit", "Fits a line, a line with a break, or a formula through points.", pipeline.Kind{
			By: "list", Parts: reads, Ports: []pipeline.Port{point},
			Outputs: []pipeline.Output{
				shaped(group("fit", "the parameters", vals, maybe(num("slope", "*", "slope")), maybe(num("intercept", "*", "value at 0")),
					maybe(num("at", "*", "place of the break")), maybe(num("before", "*", "slope before it")), maybe(num("after", "*", "slope behind it")),
					exact("p", "1", "probability by chance")), fitShape("slope", "intercept", "at", "before", "after")),
				shaped(group("band", "the line and its band", curve, exact("x", "*", "x"), num("y", "*", "y"), exact("low", "*", "lower end"),
					exact("high", "*", "upper end")), fitShape("x", "y", "low", "high")),
				shaped(group("residuals", "each point", rows, word("item", "point"), exact("at", "*", "x"),
					exact("residual", "1", "weighted residual")), fitShape("at"))},
			Settings: settings[fitSettings](),
			Figures: []pipeline.Figure{{Name: "fit", Title: "Points and fit", X: pipeline.Axis{Label: "x", Scale: pipeline.Linear},
				Y:      pipeline.Axis{Label: "y", Scale: pipeline.Linear},
				Series: []pipeline.Series{{Output: "band", X: "x", Y: "y", Role: pipeline.Line}}, Residual: &pipeline.Series{Output: "residuals", X: "at", Y: "residual", Role: pipeline.Points}}},
		}),
		kind("relation.correlate", "Ranks which numbers go together.", pipeline.Kind{
			By: "all", Parts: reads, Ports: []pipeline.Port{row},
			Outputs: []pipeline.Output{group("pairs", "each pair", rows, word("first", "column"), word("second", "column"),
				exact("number", "1", "number of rows"), num("raw", "1", "rank correlation"), num("within", "1", "the same within groups"),
				exact("p", "1", "probability by chance"), exact("q", "1", "share of false discoveries"))},
			Settings: settings[correlateSettings](),
			Figures: []pipeline.Figure{{Name: "pairs", Title: "Correlations", X: pipeline.Axis{Label: "first", Scale: pipeline.Linear},
				Y:      pipeline.Axis{Label: "second", Scale: pipeline.Linear},
				Series: []pipeline.Series{{Output: "pairs", X: "first", Y: "second", Role: pipeline.Points}}}},
		}),
		kind("relation.contrast", "Compares pairs of values of a field, all else equal.", pipeline.Kind{
			By: "list", Parts: reads, Ports: []pipeline.Port{row},
			Outputs: []pipeline.Output{group("contrasts", "each difference", rows, word("column", "what is compared"),
				word("pair", "values of the field"), num("difference", "*", "first less second"), exact("low", "*", "lower end"), exact("high", "*", "upper end"),
				exact("p", "1", "probability by chance"))},
			Settings: settings[relationContrastSettings](),
		}),
		kind("relation.order", "Ranks series and says how sure the ranks are.", pipeline.Kind{
			By: "all", Parts: reads, Ports: []pipeline.Port{lead("series", "the series", vals)},
			Outputs: []pipeline.Output{each("ranks", "the rank", vals, exact("rank", "1", "1 is the largest"), exact("low", "1", "lower end"),
				exact("high", "1", "upper end"))},
			Settings: settings[orderSettings](),
			Figures: []pipeline.Figure{{Name: "ranks", Title: "Ranks", X: pipeline.Axis{Label: "rank", Scale: pipeline.Linear},
				Y:      pipeline.Axis{Label: "series", Scale: pipeline.Linear},
				Series: []pipeline.Series{{Output: "ranks", X: "rank", Y: "rank", Role: pipeline.Points}}}},
		}),
		kind("relation.components", "Finds the few directions in which rows differ most.", pipeline.Kind{
			By: "all", Parts: reads, Ports: []pipeline.Port{row},
			Outputs: []pipeline.Output{each("scores", "where a row lies", vals, num("score_i", "1", "along each direction")),
				group("loadings", "what directions are made of", rows, word("column", "column"), num("loading_i", "1", "share in each direction"))},
			Settings: settings[componentsSettings](),
		}),
	}
}

// joinShape calls each number STAGE.NAME; rows that are joined again keep the names that have a stage already.
func joinShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	var out []pipeline.Column
	for _, port := range []string{"sample", "values"} {
		for _, a := range s.Ports[port] {
			if a.Stage == pipeline.SheetStage {
				continue // its columns are fields already
			}
			if a.Unknown {
				return pipeline.UnknownShape()
			}
			for _, c := range a.Columns {
				if strings.HasPrefix(c.Name, "u_") {
					continue
				}
				name := c.Name
				if port == "values" && !strings.Contains(name, ".") {
					name = a.Stage + "." + name
				}
				out = append(out, joined(name, c))
			}
		}
	}
	for _, d := range s.Settings.(*joinSettings).Derive {
		col := num(d.Key, "*", "derived")
		if t, ok := d.Value.Type(); ok {
			col.Unit, col.Text = inside(t.Unit, false), t.Sort != formula.Number
		}
		out = append(out, col)
	}
	return out, nil
}

func joined(name string, c pipeline.ColumnShape) pipeline.Column {
	col := pipeline.Column{Name: name, Doc: "from that stage", Text: c.Text, Optional: true, U: !c.Text}
	switch {
	case c.Text:
	case c.Any:
		col.Unit = "*"
	default:
		col.Unit = c.Unit.Code()
	}
	return col
}

func meanShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := columnUnit(s, "point", s.Settings.(*meanSettings).Column)
	return []pipeline.Column{num("mean", codeOr(u, known), "weighted mean")}, nil
}

// fitShape gives parameters the units that follow from those of x and y.
func fitShape(names ...string) func(pipeline.ShapeCall) ([]pipeline.Column, error) {
	return func(s pipeline.ShapeCall) ([]pipeline.Column, error) {
		set := s.Settings.(*fitSettings)
		x, knownX := columnUnit(s, "point", set.X)
		y, knownY := columnUnit(s, "point", set.Y)
		units := map[string]string{"x": codeOr(x, knownX), "at": codeOr(x, knownX), "y": codeOr(y, knownY), "low": codeOr(y, knownY), "high": codeOr(y, knownY), "intercept": codeOr(y, knownY)}
		slope := quotient(y, knownY, x, knownX)
		var out []pipeline.Column
		for _, n := range names {
			unit, ok := units[n]
			if !ok {
				unit = slope
			}
			out = append(out, num(n, unit, "of the fit"))
		}
		return out, nil
	}
}

type joinSettings struct {
	Derive pipeline.Map[pipeline.Expr] `set:"derive" doc:"name [unit]: expression over the joined columns" port:"values" keyed:"unit" default:"-"`
}

type combineSettings struct {
	Preparation pipeline.Field `set:"preparation" doc:"what tells independent preparations apart" unit:"key" default:"preparation" also:"pool"`
	Spread      string         `set:"spread" doc:"whether preparations differ by a share or by an amount" oneof:"relative|absolute" default:"relative"`
}

type meanSettings struct {
	Column pipeline.ColumnName `set:"column" doc:"the number" unit:"*" port:"point"`
}

type fitSettings struct {
	X       pipeline.ColumnName `set:"x" doc:"what it is plotted against" unit:"*" port:"point"`
	Y       pipeline.ColumnName `set:"y" doc:"the number" unit:"*" port:"point"`
	Model   string              `set:"model" doc:"what is fitted" oneof:"line|breakpoint|formula" default:"line"`
	Formula string              `set:"formula" doc:"y as a formula of x and parameters" default:"none"`
	Control pipeline.ColumnName `set:"control" doc:"a number that y is divided by" unit:"*" port:"point" words:"none" default:"none"`
	Draws   int                 `set:"draws" doc:"number of draws" default:"1000" min:"100" max:"1000000"`
}

// Validate holds model and formula against each other.
func (s *fitSettings) Validate() error {
	if (s.Model == "formula") != (s.Formula != "none") {
		return &pipeline.SettingError{Path: "model", Found: "model " + s.Model + " with formula " + s.Formula, Expected: "a formula with `model: formula`, and only with it",
			Remedy: "leave one of the two out, or set both"}
	}
	return nil
}

type correlateSettings struct {
	Columns        []pipeline.ColumnName `set:"columns" doc:"the numbers" unit:"*" port:"row"`
	Within         []pipeline.Field      `set:"within" doc:"fields whose values form groups" unit:"key" words:"none" default:"none"`
	Without        []pipeline.ColumnName `set:"without" doc:"what is taken out first" unit:"*" port:"row" words:"none" default:"none"`
	FalseDiscovery float64               `set:"false-discovery" doc:"share of false discoveries that is accepted" default:"5 %" above:"0" below:"1"`
	Draws          int                   `set:"draws" doc:"number of permutations" default:"1000000" min:"1000" max:"100000000"`
}

type relationContrastSettings struct {
	Between      pipeline.Field        `set:"between" doc:"field whose values are compared" unit:"key"`
	Pairs        [][]string            `set:"pairs" doc:"pairs of values"`
	Matched      []pipeline.Field      `set:"matched" doc:"fields that must be equal" unit:"key"`
	Columns      []pipeline.ColumnName `set:"columns" doc:"the numbers" unit:"*" port:"row"`
	Multiplicity string                `set:"multiplicity" doc:"how many comparisons are allowed for" oneof:"Holm|none" default:"Holm"`
}

// Validate wants two values in each pair.
func (s *relationContrastSettings) Validate() error {
	for _, p := range s.Pairs {
		if len(p) != 2 {
			return &pipeline.SettingError{Path: "pairs", Found: fmt.Sprintf("a pair of %d", len(p)), Expected: "a list of pairs: [[first, second], …]", Remedy: "name two values in each"}
		}
	}
	return nil
}

type orderSettings struct {
	Column pipeline.ColumnName `set:"column" doc:"the number" unit:"*" port:"series"`
	Draws  int                 `set:"draws" doc:"number of draws" default:"10000" min:"100" max:"1000000"`
}

type componentsSettings struct {
	Columns []pipeline.ColumnName `set:"columns" doc:"the numbers" unit:"*" port:"row"`
	Number  int                   `set:"number" doc:"number of directions" default:"3" min:"1" max:"10"`
}
