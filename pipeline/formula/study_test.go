package formula

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The derived columns of the example study, for its sample LN35 (100.0 µL of violane stock of 10.03 mmol/L and 54.1 µL of
// ambrelle stock of 9.98 mmol/L in 2000 µL). The numbers are worked out by hand.
func TestDerived(t *testing.T) {
	w := laboratory(t)
	for _, c := range []struct {
		src, unit string
		want      float64
	}{
		{"stock.violane * v_donor / v_total", "mmol/L", 0.5015},       // 10.03·100/2000
		{"stock.ambrelle * v_acceptor / v_total", "mmol/L", 0.269959}, // 9.98·54.1/2000
		{"donor + acceptor", "mmol/L", 0.771459},                      // sum of the two
		{"donor * unit_mass.violane", "mg/mL", 0.1566686},             // 0.5015 mmol/L · 312.4 g/mol = 156.6686 mg/L
		{"acceptor * unit_mass.ambrelle", "mg/mL", 0.0724299997},      // 0.269959 · 268.3 mg/L
		{"donor_mass + acceptor_mass", "mg/mL", 0.2290985997},         //
		{"donor_mass * specific_volume.violane + acceptor_mass * specific_volume.ambrelle", "1", // (0.1566686·0.71 + 0.0724299997·0.83)/1000
			1.71351605751e-4},
		{"(acceptor_only ? 30 : long ? 60 : 12) * unit_mass[substance]", "g/mol", 18744},   // 60·312.4
		{"(acceptor_only ? 30 : long ? 60 : 12) * unit_mass[substance]", "kg/mol", 18.744}, //
		{"acceptor_lifetimes.tau_amplitude - acceptor_alone_lifetimes.tau_amplitude", "ns", 0.5},
		{"carbon[day]", "cm", 0.1},
		{"carbon.d2", "mm", 1.005},
		{"specific_volume[substance]", "mL/g", 0.71},
	} {
		t.Run(c.src+" in "+c.unit, func(t *testing.T) {
			f, err := mustCompile(t, c.src, w).In(unit(t, c.unit))
			if err != nil {
				t.Fatal(err)
			}
			v := f.Eval(w.env())
			if v.Null || math.Abs(v.Number-c.want) > 2e-15*math.Abs(c.want) {
				t.Errorf("got %v, want %v", v, c.want)
			}
			if !f.Type().Unit.Equal(unit(t, c.unit)) {
				t.Errorf("unit %s, want %s", f.Type().Unit.Code(), c.unit)
			}
		})
	}
}

// Every condition, filter and rule of the example study, for the same sample.
func TestConditions(t *testing.T) {
	w := laboratory(t)
	for src, want := range map[string]string{
		`role == "mixture"`:           "true",
		`role == "donor"`:             "false",
		`donor_only || acceptor_only`: "false",
		`mixture || alone || role in ["dilution", "standard"]`: "true",
		`mixture && plan == "ratio"`:                           "true",
		`mixture && plan == "ladder"`:                          "false",
		`chain == "long"`:                                      "true",
		`role == "water" && ex == 350`:                         "false",
		`mixture && ex == 520`:                                 "false",
		`mixture && ex == 350`:                                 "true",
		`donor_only && ex == 350`:                              "false",
		`(mixture || acceptor_only) && ex == 520`:              "false",
		`role == "dilution"`:                                   "false",
		`role == "dilution" && ex == 350`:                      "false",
		`mixture && band == "donor"`:                           "true",
		`mixing && long && band == "donor"`:                    "true",
		`substance == "ambrelle"`:                              "false",
		`not ladder`:                                           "true",
		`solute`:                                               "true",
		`phase == "upper"`:                                     "true",
		`sample == "LN55"`:                                     "false",
		`wells.transmittance > "95 %"`:                         "false",
		`wells.transmittance < "90 %"`:                         "false",
		`levels.number == 1`:                                   "true",
		`droplets.area_fraction > 0.01`:                        "true",
		`compositions.dense_fraction > 0`:                      "true",
		`droplets.circularity > 0.85`:                          "true",
		`droplets.percolating > 0.5`:                           "false",
		`ionic > 0.05 && chain == "long"`:                      "true",
		`ionic > "500 mmol/L"`:                                 "false",
	} {
		t.Run(src, func(t *testing.T) {
			f, err := CompileCondition(src, w)
			if err != nil {
				t.Fatal(err)
			}
			if got := show(f, w.env()); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
		})
	}
	t.Run("text", func(t *testing.T) {
		f := mustCompile(t, `donor_only ? "C17H14NO3S" : "C17H18NO2"`, w)
		if f.Type().Sort != Text || show(f, w.env()) != "C17H18NO2" {
			t.Errorf("got %v %s", f.Type(), show(f, w.env()))
		}
	})
}

func TestReads(t *testing.T) {
	w := laboratory(t)
	src := `role == "x" && carbon[day] < carbon.d2 && stock["violane"] > stock.ambrelle && (role == "y" || ex in 1..2)`
	f := mustCompile(t, src, w)
	if d := cmp.Diff([]string{"day", "ex", "role"}, f.Names()); d != "" {
		t.Errorf("Names (-want +got):\n%s", d)
	}
	if d := cmp.Diff([][2]string{{"carbon", "d2"}, {"stock", "ambrelle"}, {"stock", "violane"}}, f.Members()); d != "" {
		t.Errorf("Members (-want +got):\n%s", d)
	}
	if d := cmp.Diff([]string{"carbon"}, f.Maps()); d != "" {
		t.Errorf("Maps (-want +got):\n%s", d)
	}
	if f.Source() != src {
		t.Errorf("Source %q", f.Source())
	}
	f.Names()[0] = "changed"
	if f.Names()[0] != "day" {
		t.Error("a caller could change the names of a formula")
	}
}
