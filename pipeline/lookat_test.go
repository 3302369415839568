package pipeline_test

import (
	"context"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// scaledSettings are those of a kind that reads files, with a number worked out from fields.
type scaledSettings struct {
	readSettings
	Files string         `set:"files" key:"-" doc:"pattern of the files"`
	Scale pipeline.Field `set:"scale" unit:"1" default:"1" above:"0" doc:"factor"`
}

func (s *scaledSettings) FilesPattern() string { return s.Files }

func (s *scaledSettings) Brings() ([]pipeline.Brought, error) {
	return (&readSettings{Files: s.Files}).Brings()
}

func scaledKinds() []*pipeline.Kind {
	scaled := &pipeline.Kind{Name: "t.scaled", Revision: 1, Doc: "gives its factor", Source: "common practice, no source", Reads: true,
		Outputs:  []pipeline.Output{{Name: "items", Doc: "values", Per: pipeline.PerAny, Form: pipeline.Values, Columns: []pipeline.Column{{Name: "scale", Unit: "1"}}}},
		Settings: func() any { return &scaledSettings{} },
		Run: func(ctx context.Context, call *pipeline.Call) (pipeline.Choices, error) {
			t := &table.Table{}
			t.AddFloat("scale", "1", []float64{call.Number(call.Settings.(*scaledSettings).Scale, 0).Value})
			return nil, call.Stream("items", nil, t)
		}}
	return append(fixtureKinds(nil), scaled)
}

func TestMessagesPointToTheCell(t *testing.T) {
	const study = "study: cells\nsamples: SHEET\nconstants:\n  k: {a: 1, b: 2}\nderive:\n  twice: 2 * factor\ngraph:\n  items:\n    kind: t.scaled\n    set: {files: FILES, scale: SCALE}\n"
	for _, c := range []struct{ name, files, scale, sheet, want string }{
		{"empty", "raw/<sample>.csv", "factor", "sample,factor,kind\nS1,,a\nS2,3,b\n", "cannot be worked out, because a field is empty: look at column factor at samples.csv:2:4"},
		{"empty, through a derived column", "raw/<sample>.csv", "twice", "sample,kind,factor\nS1,a,\nS2,b,3\n", "because a field is empty: look at column factor at samples.csv:2:6"},
		{"wrong", "raw/<sample>.csv", "factor", "sample,factor,kind\nS2,3,b\nS1,-1,a\n", "setting `scale` comes out as -1, where more than 0 is due: look at column factor at samples.csv:3:4"},
		{"a key that there is not", "raw/<sample>.csv", "k[kind] * factor", "sample,factor,kind\nS1,1,c\nS2,3,b\n", "cannot be worked out from its fields: look at column factor at samples.csv:2:4, column kind at samples.csv:2:6"},
		{"from the name", "raw/<sample>_<factor [1]>.csv", "factor", "sample,kind,factor [1]\nS1,a,\nS2,b,\n", "comes out as -2, where more than 0 is due: look at raw/S1_-2.csv"},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := t.TempDir()
			write(t, dir, "samples.csv", c.sheet)
			file := "raw/S1.csv"
			if strings.Contains(c.files, "factor") {
				file = "raw/S1_-2.csv"
			}
			write(t, dir, file, "")
			write(t, dir, "study.yaml", strings.NewReplacer("SHEET", "samples.csv", "FILES", `"`+c.files+`"`, "SCALE", `"`+c.scale+`"`).Replace(study))
			r := run(t, dir, scaledKinds(), pipeline.Options{})
			if len(r.blocked) != 1 || !strings.Contains(r.messages[r.blocked[0]], c.want) {
				t.Errorf("messages %q, want %q", r.messages, c.want)
			}
		})
	}
	t.Run("of a workbook", func(t *testing.T) {
		dir := t.TempDir()
		workbook(t, dir, "samples.xlsx", map[string][][]any{"Runs": {{"sample", "kind", "factor"}, {"S2", "b", 3}, {"S1", "a"}}})
		write(t, dir, "raw/S1.csv", "")
		write(t, dir, "study.yaml", strings.NewReplacer("SHEET", "samples.xlsx", "FILES", "raw/<sample>.csv", "SCALE", "factor").Replace(study))
		r := run(t, dir, scaledKinds(), pipeline.Options{})
		if m := r.messages["items sample=S1"]; !strings.HasSuffix(m, "look at column factor at samples.xlsx!Runs:C3") {
			t.Errorf("message %q", m)
		}
	})
	t.Run("of a field that groups", func(t *testing.T) {
		dir := fixture(t, 2)
		text, _, _ := strings.Cut(fixtureStudy, "  rows:")
		write(t, dir, "study.yaml", strings.Replace(text, "  counts:\n    kind: t.sum\n", "  counts:\n    kind: t.sum\n    by: [note]\n", 1))
		write(t, dir, "samples.csv", "sample,role,factor,note\nS1,mixture,1,\nS2,mixture,1,n\nB1,solvent,1,\nB2,solvent,1,\n")
		r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
		if m := r.messages["counts day=d1,sample=S1"]; !strings.HasSuffix(m, "look at column note at samples.csv:2:14") {
			t.Errorf("messages %q", r.messages)
		}
	})
}

func TestMembersThatDoNotFitThePort(t *testing.T) {
	dir := fixture(t, 2)
	for _, c := range []struct{ items, want string }{
		{"[curves, samples]", "found stage mixed, whose `items` name stage samples, which gives values: sample; expected a curve for port `curve` of t.sum"},
		{"[curves, inner]", "found stage mixed, whose `items` name stage inner, which gives values: total; expected a curve"},
		{"[curves, signs]", ""},
	} {
		write(t, dir, "study.yaml", fixtureStudy+"  inner:\n    items: [sums]\n  mixed:\n    items: "+c.items+"\n  total:\n    kind: t.sum\n    from: {curve: mixed}\n")
		_, faults := pipeline.Load(dir, fixtureKinds(nil))
		if (len(faults) == 0) != (c.want == "") || len(faults) > 1 || len(faults) == 1 && !strings.Contains(faults[0].Error(), c.want) {
			t.Errorf("%s: faults %v, want %q", c.items, faults, c.want)
		}
	}
}

func TestReferenceThatFindsNobody(t *testing.T) {
	dir := fixture(t, 2)
	const values = "      values: [sums, counts]\n"
	for _, c := range []struct{ name, values, want string }{
		{"somebody", values, ""},
		{"paired by what differs", "      values: [sums, {stage: counts, match: {role: day}}]\n", "stage rows, port values: none of 2 items of stage counts goes with any of its lead items; see how they are paired"},
		{"an empty stage", "      values: [sums, {stage: [none]}]\n", "stage rows, port values: stage none has no items"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(fixtureStudy, values, c.values, 1)
			write(t, dir, "study.yaml", text+"  nofiles:\n    kind: t.read\n    set: {files: other/<sample>.csv}\n  none:\n    kind: t.sum\n    from: {curve: nofiles}\n")
			write(t, dir, "other/README", "")
			r := run(t, dir, fixtureKinds(nil), pipeline.Options{})
			var got []string
			for _, m := range r.Remarks {
				if strings.Contains(m, "port values") {
					got = append(got, m)
				}
			}
			if strings.Join(got, "\n") != c.want {
				t.Errorf("remarks %q, want %q", got, c.want)
			}
		})
	}
}

func TestRunChecksItsLabel(t *testing.T) {
	dir := fixture(t, 1)
	for _, label := range []string{"../out", "last", "7", ".hidden", "a b"} {
		if o, err := pipeline.Run(t.Context(), load(t, dir, fixtureKinds(nil)), pipeline.Options{Label: label}); err == nil || o != nil || !strings.Contains(err.Error(), label) {
			t.Errorf("label %q: %v", label, err)
		}
	}
}
