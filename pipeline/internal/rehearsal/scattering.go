package rehearsal

import (
	"fmt"

	"fascicle/pipeline"
)

func scatteringKinds() []*pipeline.Kind {
	curves := lead("curve", "the scattering curves", curve, along("1/nm", "*")...)
	choice := optional(partner("choice", "a number found by evidence; it takes the place of the setting", same, vals,
		exact("number", "1", "how many")))
	guinier := optional(partner("guinier", "radius and forward intensity", same, vals, num("Rg_1", "nm", "radius of gyration"),
		num("I0_1", "=curve", "forward intensity")))
	fit := fitted("curve", "q", "I")

	return []*pipeline.Kind{
		kind("scattering.frames", "Averages the frames of a sample that agree, and lists those that do not.", pipeline.Kind{
			By: "sample", Ports: []pipeline.Port{lead("frame", "curves of single frames", curve, along("1/nm", "*")...)},
			Outputs: []pipeline.Output{like("frame", group("mean", "the mean curve", curve)),
				group("kept", "each frame", rows, word("item", "frame"), exact("kept", "1", "1 for kept, 0 for left out"),
					word("reason", "why it was left out"), exact("p", "1", "probability of such a difference by chance"))},
			Settings: settings[framesSettings](),
		}),
		kind("scattering.guinier", "Finds radius of gyration and forward intensity of one or more plateaus.", pipeline.Kind{
			Ports: []pipeline.Port{curves, choice},
			Outputs: []pipeline.Output{
				each("plateaus", "radius and forward intensity of each plateau, the smallest first", vals, num("Rg_i", "nm", "radius of gyration"),
					num("I0_i", "=curve", "forward intensity")), fit},
			Settings: settings[guinierSettings](),
		}),
		kind("scattering.porod", "Fits a power law and a constant at high q.", pipeline.Kind{
			Ports: []pipeline.Port{curves},
			// The constant stands for the power law at q = 1/nm: with a free exponent its unit would not be a product of whole powers.
			Outputs: []pipeline.Output{
				each("surface", "the power law", vals, num("exponent", "1", "exponent"), num("constant", "=curve", "power law at q = 1/nm"),
					num("background", "=curve", "constant background"), maybe(num("surface", "1/cm", "surface for each volume"))), fit},
			Settings: settings[porodSettings](),
		}),
		kind("scattering.invariant", "Integrates the scattering, with what lies beyond both ends of the data.", pipeline.Kind{
			Ports: []pipeline.Port{curves,
				optional(partner("porod", "the power law at high q", same, vals, num("exponent", "1", "exponent"),
					num("constant", "=curve", "power law at q = 1/nm"))),
				optional(partner("contrast", "the scattering contrast", same, vals, num("difference", "1/cm2", "contrast")))},
			Outputs: []pipeline.Output{shaped(each("invariant", "the invariant and its shares", vals,
				exact("share_low", "1", "share from below the data"), exact("share_high", "1", "share from above the data"),
				maybe(num("fraction", "1", "volume fraction"))), invariantShape)},
			Settings: settings[invariantSettings](),
		}),
		kind("scattering.kratky", "Draws q²I, normalised by radius and forward intensity.", pipeline.Kind{
			Ports: []pipeline.Port{curves, guinier},
			Outputs: []pipeline.Output{each("kratky", "the curve", curve, exact("x", "1", "q·Rg"), num("y", "1", "(q·Rg)²·I/I0")),
				each("peak", "its peak and plateau", vals, num("x", "1", "place"), num("y", "1", "height"), num("plateau", "1", "value at high q"))},
			Settings: settings[kratkySettings](),
		}),
		kind("scattering.levels", "Fits one or more levels, each a plateau and a power law.", pipeline.Kind{
			Ports: []pipeline.Port{curves, choice},
			Outputs: []pipeline.Output{
				each("levels", "the levels, 1 the smallest", vals, exact("number", "1", "how many"),
					num("background", "=curve", "constant background"),
					num("G_i", "=curve", "forward intensity"), num("Rg_i", "nm", "radius of gyration"),
					num("B_i", "=curve", "power law at q = 1/nm"), num("P_i", "1", "exponent")), fit},
			Settings: settings[levelsSettings](),
		}),
		kind("scattering.form", "Fits a form factor, or two summed, to a curve.", pipeline.Kind{
			Ports:    []pipeline.Port{curves},
			Outputs:  []pipeline.Output{shaped(each("parameters", "the parameters of the form", vals), formShape), fit},
			Settings: settings[formSettings](),
		}),
		kind("scattering.correlation", "Fits a correlation length or a correlation peak.", pipeline.Kind{
			Ports: []pipeline.Port{curves},
			Outputs: []pipeline.Output{each("parameters", "the parameters of the model", vals, num("I0", "=curve", "forward intensity"),
				maybe(num("xi", "nm", "correlation length")),
				maybe(num("d", "nm", "distance")), maybe(num("q_max", "1/nm", "place of the peak")),
				maybe(num("width", "1/nm", "width of the peak"))), fit},
			Settings: settings[correlationSettings](),
		}),
		kind("scattering.pair-distance", "Finds the distribution of distances behind a curve.", pipeline.Kind{
			Ports: []pipeline.Port{curves, guinier},
			Outputs: []pipeline.Output{
				each("distances", "the distribution", curve, exact("r", "nm", "distance"), num("p", "*", "distribution of distances")),
				each("numbers", "what follows from it", vals, num("Rg", "nm", "radius of gyration"), num("I0", "=curve", "forward intensity"),
					num("D_max", "nm", "largest distance"), exact("strength", "1", "how much smoothness counts")), fit},
			Settings: settings[pairDistanceSettings](),
		}),
		kind("scattering.concentration", "Extrapolates curves to no concentration.", pipeline.Kind{
			By: "list", Ports: []pipeline.Port{curves},
			Outputs: []pipeline.Output{like("curve", group("zero", "the curve at no concentration", curve)),
				group("zimm", "forward intensity, radius and second virial coefficient", vals, num("I0", "=curve", "forward intensity"),
					num("Rg", "nm", "radius of gyration"), num("A2", "mol.mL/g2", "second virial coefficient"))},
			Settings: settings[concentrationSettings](),
		}),
		kind("scattering.contrast", "Works out scattering length densities from formula and volume.", pipeline.Kind{
			Ports: []pipeline.Port{sheetPort()},
			Outputs: []pipeline.Output{each("contrast", "the scattering length densities", vals, num("sld", "1/cm2", "of the sample"),
				num("sld_solvent", "1/cm2", "of the solvent"), num("difference", "1/cm2", "one less the other"))},
			Settings: settings[contrastSettings](),
		}),
		kind("scattering.mass", "Turns a forward intensity into a molar mass.", pipeline.Kind{
			Ports: []pipeline.Port{lead("intensity", "forward intensities on an absolute scale", vals),
				partner("contrast", "the scattering contrast", same, vals, num("difference", "1/cm2", "contrast"))},
			Outputs: []pipeline.Output{each("mass", "the mass", vals, num("M", "g/mol", "molar mass"),
				maybe(num("aggregation", "1", "M over the known mass")), maybe(num("ratio", "1", "M over the known mass")))},
			Settings: settings[massSettings](),
		}),
		kind("scattering.compare", "Tells which of several descriptions a curve supports.", pipeline.Kind{
			By: "sample", Parts: pipeline.NoParts,
			Ports: []pipeline.Port{gather(lead("fits", "fits of one curve", curve, along("1/nm", "*")...))},
			Outputs: []pipeline.Output{
				group("choice", "the best description", vals, word("best", "its stage"), exact("number", "1", "number of its levels"),
					exact("margin", "1", "lead over the next"), exact("runs_p", "1", "probability of its residuals' runs by chance")),
				group("ranking", "all descriptions, the best first", rows, word("description", "stage"),
					exact("parameters", "1", "number of parameters"), exact("criterion", "1", "criterion"),
					exact("runs_p", "1", "probability of its residuals' runs by chance"))},
			Settings: settings[compareSettings](),
		}),
	}
}

// invariantShape: the invariant is an intensity times a cubed q.
func invariantShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := arrivingUnit(s, "curve", value)
	unit := "*"
	if known {
		unit = inside(u.Mul(mustUnit("1/nm").Pow(3)), false)
	}
	return []pipeline.Column{num("Q", unit, "the invariant")}, nil
}

// parameter is a form's parameter beyond its intensity.
type parameter struct{ name, unit, doc string }

func formParameters(form string) []parameter {
	switch form {
	case "sphere":
		return []parameter{{"radius", "nm", "radius"}}
	case "core-shell sphere":
		return []parameter{{"radius", "nm", "radius of the core"}, {"shell", "nm", "thickness of the shell"}, {"contrast", "1", "shell over core"}}
	case "cylinder":
		return []parameter{{"radius", "nm", "radius"}, {"length", "nm", "length"}}
	case "ellipsoid":
		return []parameter{{"radius", "nm", "radius"}, {"axial_ratio", "1", "polar over equatorial axis"}}
	case "Debye chain":
		return []parameter{{"Rg", "nm", "radius of gyration"}}
	case "chain with excluded volume":
		return []parameter{{"Rg", "nm", "radius of gyration"}, {"exponent", "1", "exponent of excluded volume"}}
	}
	return nil
}

// formShape lists the parameters of the form; of two forms with a number behind each name.
func formShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	return s.Settings.(*formSettings).columns(), nil
}

func (set *formSettings) columns() []pipeline.Column {
	columns := []pipeline.Column{num("background", "=curve", "constant background")}
	for i, f := range set.Form {
		suffix := ""
		if len(set.Form) > 1 {
			suffix = fmt.Sprintf("_%d", i+1)
		}
		columns = append(columns, num("I0"+suffix, "=curve", "forward intensity"))
		for _, p := range formParameters(f) {
			columns = append(columns, num(p.name+suffix, p.unit, p.doc))
		}
	}
	if set.Polydispersity != "none" {
		columns = append(columns, num("spread", "1", "relative width of the distribution of sizes"))
	}
	return columns
}
