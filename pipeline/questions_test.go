package pipeline_test

import (
	"strings"
	"testing"

	"fascicle/pipeline"
)

const shownSections = `questions:
  How much is there?: [amount, numbers]
figures:
  amount:
    caption: Sums over the factor.
    width: 85 mm
    across: 2
    panels:
      - {stage: sums, x: factor, y: [total], series: day, scale: log, where: mixture}
      - {stage: samples, x: factor, y: path, each: role}
tables:
  numbers:
    stage: sums
    columns: [sample, day, path, total]
    formats: [csv, tex]
    where: factor < 1.3
style:
  font-size: 7 pt
  colours: {d1: 2b5c8a, d2: abc}
  marks: {mixture: open}
  names: {total: sum of all, path: length of path}
  units: {path: cm}
`

// TestShown holds what the report is asked for against the stages, fields and columns that there are, each fault at its place.
func TestShown(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{name: "as it is"},
		{"question without figure", "[amount,", "[amounts,", `32:24: found unknown figure "amounts" in ` + "`questions`"},
		{"figure that a kind does not declare", "[amount,", "[sums/fit,", `32:24: found unknown figure "fit" of stage sums (t.sum)`},
		{"figure of no stage", "[amount,", "[summs/fit,", `32:24: found unknown stage "summs"; expected a stage of this study; did you mean "sums"?`},
		{"figure of the sheet", "[amount,", "[samples/rows,", `32:24: found a figure of samples, which is the sheet`},
		{"stage", "stage: sums, x", "stage: summs, x", `39:17: found unknown stage "summs"`},
		{"stage without rows", "stage: sums, x: factor, y: [total]", "stage: net, x: factor, y: [total]", `39:17: found stage net, which gives no rows of numbers`},
		{"column", "[total], series", "[totals], series", `39:38: found unknown column "totals" of stage sums; expected a field or a column of its items; did you mean "total"?`},
		{"x", "x: factor, y: [", "x: facto, y: [", `39:26: found unknown column "facto" of stage sums`},
		{"words on an axis", "x: factor, y: [", "x: day, y: [", `39:26: found ` + "`day`" + `, which holds no numbers`},
		{"two dimensions on an axis", "y: [total]", "y: [total, path]", `39:45: found ` + "`path`" + ` in mm, beside ` + "`total`"},
		{"series", "series: day", "series: days", `39:54: found unknown field "days" in ` + "`series`"},
		{"scale", "scale: log", "scale: ln", `39:66: found "ln" for ` + "`scale`" + `; expected linear or log`},
		{"where", "where: mixture}", "where: mixtur}", `39:78: found unknown name "mixtur" in ` + "`where`"},
		{"where is no condition", "where: mixture}", "where: factor}", `39:78: found a condition that comes out as a pure number`},
		{"each", "each: role", "each: roles", `40:52: found unknown field "roles" in ` + "`each`"},
		{"no y", ", y: path, each", ", each", `40:9: found a panel of stage samples without ` + "`y`"},
		{"width", "width: 85 mm", "width: 85", `36:12: found "85"; expected the width of a figure`},
		{"width beyond paper", "width: 85 mm", "width: 85 cm", `36:12: found "85 cm"; expected the width of a figure, such as 85 mm, from 30 to 500 mm`},
		{"across", "across: 2", "across: two", `37:13: found "two" for ` + "`across`"},
		{"table of a stage without rows", "    stage: sums\n    columns: [sample, day, path, total]\n", "    stage: net\n", "43:12: found stage net, which gives no rows of numbers"},
		{"column of a table", "path, total]", "path, totals]", `44:34: found unknown column "totals" of stage sums`},
		{"format", "[csv, tex]", "[csv, docx]", `45:20: found the format "docx"; expected csv, tex or xlsx; no other is written; use csv, which every spreadsheet opens, or tex`},
		{"table called like a stage", "  numbers:", "  sums:", `42:3: found the table "sums", which is called like a stage`},
		{"where of a table", "factor < 1.3", "factor < 1.3 mm", `46:25: found "mm" in ` + "`where`"},
		{"size of letters", "7 pt", "7", `48:14: found "7"; expected the size of the letters in figures`},
		{"colour", "2b5c8a", "blue", `49:17: found "blue" as a colour`},
		{"mark", "open}", "opened}", `50:20: found unknown mark "opened"; expected a mark; did you mean "open"?`},
		{"name of nothing", "{total: sum", "{totl: sum", `51:11: found unknown name "totl" in ` + "`style`" + `; expected a field or a column of this study; did you mean "total"?`},
		{"unit", "path: cm", "path: kg", `52:17: found ` + "`path`" + ` in kg; expected a unit that mm can be converted to`},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := fixture(t, 4)
			sections := shownSections
			if c.old != "" {
				if !strings.Contains(sections, c.old) {
					t.Fatalf("%q is not there to be changed", c.old)
				}
				sections = strings.Replace(sections, c.old, c.new, 1)
			}
			if c.old == "  numbers:" {
				sections = strings.Replace(sections, ", numbers]", ", sums]", 1)
			}
			write(t, dir, "study.yaml", strings.TrimSuffix(fixtureStudy, "\n")+"\n"+sections)
			_, faults := pipeline.Load(dir, fixtureKinds(nil))
			switch {
			case c.want == "" && len(faults) > 0:
				t.Errorf("faults %v; expected none", faults)
			case c.want != "" && (len(faults) != 1 || !strings.Contains(faults[0].Error(), c.want)):
				t.Errorf("faults %v\nexpected one: %s", faults, c.want)
			}
		})
	}
}

// TestShownAfterRun judges conditions and reads fields of the items of a run.
func TestShownAfterRun(t *testing.T) {
	dir := fixture(t, 4) // factors 1, 1.125, 1.25, 1.375
	write(t, dir, "study.yaml", fixtureStudy+shownSections)
	o := run(t, dir, fixtureKinds(nil), pipeline.Options{}).Outcome
	o.Complete()
	table := o.Shown.Tables[0]
	if table.Stage != "sums" || table.Output != "" || o.Shown.Figures[0].Width != 85 || o.Shown.Style.Colours["d2"] != "#aabbcc" {
		t.Errorf("table of %q, output %q; figure %g mm wide; colour %q", table.Stage, table.Output, o.Shown.Figures[0].Width, o.Shown.Style.Colours["d2"])
	}
	var held, of []string
	for _, s := range o.Stages {
		if s.Name != "sums" {
			continue
		}
		for _, it := range s.Items {
			of = append(of, it.Sample+" "+o.Field(it, "factor").Text)
			if holds, known := o.Holds(table.Where, it); holds && known {
				held = append(held, it.Sample)
			}
		}
	}
	if strings.Join(held, " ") != "S1 S2 S3" || strings.Join(of, ", ") != "S1 1, S2 1.125, S3 1.25, S4 1.375" {
		t.Errorf("%q held of %q", held, of)
	}
	if u, ok := o.FieldUnit("path"); !ok || u.Code() != "mm" {
		t.Errorf("path is in %q, %v", u.Code(), ok)
	}
	if _, ok := o.FieldUnit("day"); ok {
		t.Error("day is no number")
	}
}
