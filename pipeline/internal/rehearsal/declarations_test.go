package rehearsal

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"

	"github.com/google/go-cmp/cmp"
)

func TestDeclarationsAreWhole(t *testing.T) {
	if err := pipeline.CheckKinds(Kinds()); err != nil {
		t.Fatal(err)
	}
}

// Every kind of the program, so that none is forgotten here when one is added there.
func TestAllKindsAreDeclared(t *testing.T) {
	want := strings.Fields(`import
correct.subtract correct.scale correct.path correct.repeats correct.dark correct.excitation correct.responsivity correct.inner-filter
correct.turbid correct.dilution correct.solvent-band correct.reabsorption correct.pileup correct.image correct.scattering
calibrate.scale calibrate.wavelength calibrate.absorbance calibrate.emission calibrate.geometry calibrate.absolute
scattering.frames scattering.guinier scattering.porod scattering.invariant scattering.kratky scattering.levels scattering.form
scattering.correlation scattering.pair-distance scattering.concentration scattering.contrast scattering.mass scattering.compare
lifetime.fit lifetime.global lifetime.stretched lifetime.distribution lifetime.tail lifetime.phasor lifetime.anisotropy
lifetime.response lifetime.standard lifetime.choose
spectra.bands spectra.vibronic spectra.unmix spectra.molar spectra.change
efficiency.quenching efficiency.lifetime efficiency.sensitized efficiency.quantum-yield efficiency.overlap efficiency.rate
efficiency.stern-volmer efficiency.agree
phase.transition phase.solution phase.compositions phase.binodal phase.micrograph phase.state
relation.join relation.combine relation.mean relation.fit relation.correlate relation.contrast relation.order relation.components`)
	var got []string
	for _, k := range Kinds() {
		got = append(got, k.Name)
	}
	slices.Sort(want)
	slices.Sort(got)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("kinds (-want +got):\n%s", diff)
	}
}

// What the rules say of a kind beyond what CheckKinds asks.
func TestDeclarationsAgreeWithThemselves(t *testing.T) {
	for _, k := range Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			docs := pipeline.SettingDocs(k)
			tolerance := slices.ContainsFunc(docs, func(d pipeline.SettingDoc) bool { return d.Path == "tolerance" })
			if tolerance != k.Checks {
				t.Errorf("Checks is %v, a setting `tolerance` is declared: %v", k.Checks, tolerance)
			}
			for _, p := range k.Ports {
				if p.Lead && p.Pair != pipeline.ByMatch {
					t.Errorf("port %s leads and has a pairing", p.Name)
				}
				if len(p.Forms) == 0 {
					t.Errorf("port %s takes no form", p.Name)
				}
				if p.Pair == pipeline.ByAll && !p.Many {
					t.Errorf("port %s takes all that passes, but one alone", p.Name)
				}
			}
			for _, o := range k.Outputs {
				if (o.Per == pipeline.PerAny) != k.Reads {
					t.Errorf("output %s: any number of items, which only an import gives", o.Name)
				}
				if o.Form == pipeline.TableForm || o.Form == pipeline.Image || o.Form == pipeline.AnyForm {
					continue
				}
				if len(o.Columns) == 0 && o.Like == "" && o.Shape == nil {
					t.Errorf("output %s has no columns", o.Name)
				}
			}
			for _, f := range k.Figures {
				for _, s := range append(slices.Clone(f.Series), residual(f)...) {
					for _, name := range []string{s.X, s.Y, s.Used} {
						if name != "" && !hasColumn(k, s.Output, name) {
							t.Errorf("figure %s: output %s has no column %s", f.Name, s.Output, name)
						}
					}
				}
				for _, m := range f.Marks {
					for _, name := range []string{m.At, m.To} {
						if name != "" && !hasColumn(k, m.Output, name) {
							t.Errorf("figure %s: output %s has no column %s", f.Name, m.Output, name)
						}
					}
				}
			}
		})
	}
}

func residual(f pipeline.Figure) []pipeline.Series {
	if f.Residual == nil {
		return nil
	}
	return []pipeline.Series{*f.Residual}
}

func hasColumn(k *pipeline.Kind, output, column string) bool {
	for _, o := range k.Outputs {
		if o.Name == output {
			return slices.ContainsFunc(o.Columns, func(c pipeline.Column) bool { return c.Name == column })
		}
	}
	return false
}

// The figures that studies ask for by name.
func TestFiguresThatStudiesName(t *testing.T) {
	want := map[string]string{"lifetime.fit": "fit", "phase.state": "map", "phase.transition": "edges", "relation.correlate": "pairs", "relation.fit": "fit", "relation.order": "ranks"}
	for _, k := range Kinds() {
		if name, ok := want[k.Name]; ok {
			if !slices.ContainsFunc(k.Figures, func(f pipeline.Figure) bool { return f.Name == name }) {
				t.Errorf("%s has no figure %s", k.Name, name)
			}
			delete(want, k.Name)
		}
	}
	if len(want) > 0 {
		t.Errorf("no such kinds: %v", want)
	}
}

func TestImportBrings(t *testing.T) {
	unit := func(s string) catalog.Unit { return mustUnit(s) }
	tests := []struct {
		name string
		set  importSettings
		want []pipeline.Brought
	}{
		{"captures", importSettings{Files: "raw/<day>/<sample>_<ex [nm]>_<n [1]>.txt"}, []pipeline.Brought{
			{Name: "day", Sort: formula.Text, Where: "files"},
			{Name: "sample", Sort: formula.Text, Where: "files"},
			{Name: "ex", Sort: formula.Number, Unit: unit("nm"), HasUnit: true, Where: "files"},
			{Name: "n", Sort: formula.Number, Unit: unit("1"), HasUnit: true, Where: "files"}}},
		{"curves", importSettings{Files: "raw/*.gz", Curves: "# <sample>, taken <taken [date]>"}, []pipeline.Brought{
			{Name: "sample", Sort: formula.Text, Where: "curves"},
			{Name: "taken", Sort: formula.Date, Where: "curves"}}},
		{"header", importSettings{Files: "a.csv", Header: pipeline.Map[string]{{Key: "slit", Value: "Band pass [nm]"}, {Key: "taken", Value: "date [date]"}, {Key: "who", Value: "operator"}}}, []pipeline.Brought{
			{Name: "slit", Sort: formula.Number, Unit: unit("nm"), HasUnit: true, Where: "header"},
			{Name: "taken", Sort: formula.Date, Where: "header"},
			{Name: "who", Sort: formula.Text, Where: "header"}}},
		{"constants", importSettings{Files: "a.csv", Fields: pipeline.Map[string]{{Key: "band", Value: "acceptor"}, {Key: "ex", Value: "350 nm"}}}, []pipeline.Brought{
			{Name: "band", Sort: formula.Text, Where: "fields", Value: "acceptor"},
			{Name: "ex", Sort: formula.Number, Unit: unit("nm"), HasUnit: true, Where: "fields", Value: "350 nm"}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tt.set.Brings()
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(describe(tt.want), describe(got)); diff != "" {
				t.Errorf("fields (-want +got):\n%s", diff)
			}
		})
	}
}

func describe(bs []pipeline.Brought) []string {
	var out []string
	for _, b := range bs {
		out = append(out, fmt.Sprintf("%s: %v in %q (%v) from %s %q", b.Name, b.Sort, b.Unit.Code(), b.HasUnit, b.Where, b.Value))
	}
	return out
}

func TestImportBringsRefuses(t *testing.T) {
	tests := []struct {
		name, want string
		set        importSettings
	}{
		{"a capture that does not end", "", importSettings{Files: "raw/<sample.csv"}},
		{"a unit that is none", "unknown unit \"nmm\"", importSettings{Files: "a.csv", Header: pipeline.Map[string]{{Key: "slit", Value: "Band pass [nmm]"}}}},
		{"a field twice", "comes from `files` and from `header`", importSettings{Files: "<day>.csv", Header: pipeline.Map[string]{{Key: "day", Value: "Day"}}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := tt.set.Brings()
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v; want one that contains %q", err, tt.want)
			}
		})
	}
}

func TestImportShape(t *testing.T) {
	columns := func(kv ...string) (m pipeline.Map[string]) {
		for i := 0; i < len(kv); i += 2 {
			m = append(m, pipeline.Named[string]{Key: kv[i], Value: kv[i+1]})
		}
		return m
	}
	tests := []struct {
		name string
		set  importSettings
		form pipeline.Form
		want string // name unit, …
	}{
		{"a curve with units", importSettings{Files: "a.csv", Columns: columns("time", "1 [ps]", "signal", "2 [kcps]")}, pipeline.Curve, "time ns, signal 1/s"},
		{"an axis along 1/Å", importSettings{Files: "a.dat", Columns: columns("q", "q [1/Å]", "I", "I [1/m]")}, pipeline.Curve, "q 1/nm, I 1/cm"},
		{"units left to the file", importSettings{Files: "a.csv", Columns: columns("wavelength", "nm", "absorbance", "2")}, pipeline.Curve, "wavelength *, absorbance *"},
		{"counts", importSettings{Files: "a.csv", Columns: columns("time", "time [ns]", "counts", "counts")}, pipeline.Curve, "time ns, counts 1"},
		{"a line of a table", importSettings{Files: "a.xlsx", Layout: "lines", Columns: columns("v", "lower [µL]")}, pipeline.Values, "v mL"},
		{"wells", importSettings{Files: "<plate>.csv", Wells: "w/<plate>.csv", Columns: columns("T", "1 [%]")}, pipeline.Values, "T 1"},
		{"an image", importSettings{Files: "raw/<sample>.tif"}, pipeline.Image, "unknown"},
		{"a file that says all", importSettings{Files: "raw/<sample>.dx"}, pipeline.Curve, "unknown"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := tt.set.OutputForm(); got != tt.form {
				t.Errorf("form %v, want %v", got, tt.form)
			}
			cols, err := tt.set.shape()
			var got []string
			for _, c := range cols {
				got = append(got, c.Name+" "+c.Unit)
			}
			if _, unknown := pipeline.UnknownShape(); err == unknown {
				got = []string{"unknown"}
			} else if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, strings.Join(got, ", ")); diff != "" {
				t.Errorf("columns (-want +got):\n%s", diff)
			}
		})
	}
}
