package rehearsal

import "fascicle/pipeline"

func spectraKinds() []*pipeline.Kind {
	spectrum := lead("curve", "the spectra", curve, along("nm", "*")...)
	component := func(name, doc string) pipeline.Port {
		return optional(partner(name, doc, match, curve, along("nm", "=curve")...))
	}
	components := each("components", "the spectrum and what it is made of", curve, exact("at", "=curve.axis", "the axis of the spectrum"),
		num("value", "=curve", "the spectrum"), exact("model", "=curve", "the sum"), exact("component_i", "=curve", "each component"),
		exact("residual", "1", "(data − model)/u"))

	return []*pipeline.Kind{
		kind("spectra.bands", "Describes a band: maximum, centroid, width, area.", pipeline.Kind{
			Ports: []pipeline.Port{spectrum},
			Outputs: []pipeline.Output{shaped(each("bands", "the band", vals, num("maximum", "=curve.axis", "place of the maximum"),
				num("centroid", "=curve.axis", "centre of gravity"), num("width", "=curve.axis", "full width at half height"),
				num("area", "*", "area"), num("onset", "=curve.axis", "where it begins"),
				maybe(num("height_ratio", "1", "height over that of the second range")), maybe(num("area_ratio", "1", "area over that of the second range"))),
				areaShape("curve", "area"))},
			Settings: settings[bandsSettings](),
		}),
		kind("spectra.vibronic", "Fits a progression of vibronic replicas.", pipeline.Kind{
			Ports: []pipeline.Port{spectrum},
			Outputs: []pipeline.Output{each("fit", "the progression", vals, num("ratio", "1", "first over second height"),
				num("ratio_area", "1", "first over second area"), num("S", "1", "coupling"), num("E00", "eV", "origin"), num("spacing", "eV", "between replicas"),
				num("width", "eV", "of a replica")), components},
			Settings: settings[vibronicSettings](),
		}),
		kind("spectra.unmix", "Tells how much of each component a spectrum holds.", pipeline.Kind{
			Ports: []pipeline.Port{spectrum, component("donor", "the donor alone"), component("acceptor", "the acceptor alone"),
				many(component("others", "further components"))},
			Outputs: []pipeline.Output{shaped(each("amounts", "the amounts", vals, maybe(num("donor", "1", "amount of the donor")),
				maybe(num("acceptor", "1", "amount of the acceptor")), num("scatter", "1", "amount of scattered light"),
				maybe(num("donor_area", "*", "area of the donor's part")), maybe(num("acceptor_area", "*", "area of the acceptor's part")),
				exact("missing_p", "1", "probability of such a remainder by chance")),
				areaShape("curve", "donor_area", "acceptor_area")), components},
			Settings: settings[unmixSettings](),
		}),
		kind("spectra.molar", "Fits a line of attenuation against concentration at each wavelength.", pipeline.Kind{
			By: "list", Ports: []pipeline.Port{lead("curve", "attenuation for each length", curve, along("nm", "1/cm")...)},
			Outputs: []pipeline.Output{
				group("absorptivity", "the molar absorptivity", curve, exact("wavelength", "=curve.axis", "wavelength"),
					num("epsilon", "L/(mol.cm)", "molar absorptivity")),
				group("line", "the line at the maximum", vals, num("epsilon", "L/(mol.cm)", "molar absorptivity"),
					exact("linear_p", "1", "probability of such a curvature by chance")),
				group("points", "each sample at the maximum", rows, word("sample", "sample"), exact("concentration", "mol/L", "concentration"),
					num("level", "=curve", "attenuation"), exact("residual", "1", "weighted residual"))},
			Settings: settings[molarSettings](),
		}),
		kind("spectra.change", "Follows how a series of spectra changes.", pipeline.Kind{
			By: "list", Ports: []pipeline.Port{spectrum},
			Outputs: []pipeline.Output{
				group("number", "number of components and isosbestic point", vals, exact("components", "1", "how many"),
					maybe(num("isosbestic", "=curve.axis", "where all agree"))),
				group("points", "places where spectra agree", rows, exact("at", "=curve.axis", "place"), exact("spread", "1", "relative spread")),
				like("curve", each("differences", "each spectrum less the first", curve))},
			Settings: settings[changeSettings](),
		}),
	}
}

// areaShape gives columns the unit of the curve's value times that of its axis.
func areaShape(port string, names ...string) func(pipeline.ShapeCall) ([]pipeline.Column, error) {
	return func(s pipeline.ShapeCall) ([]pipeline.Column, error) {
		u, known := arrivingUnit(s, port, value)
		unit := "*"
		if known {
			unit = inside(u.Mul(mustUnit("nm")), false)
		}
		var out []pipeline.Column
		for _, n := range names {
			out = append(out, num(n, unit, "area"))
		}
		return out, nil
	}
}

type bandsSettings struct {
	Range       pipeline.Range `set:"range" doc:"the band" unit:"nm" above:"0"`
	SecondRange pipeline.Range `set:"second-range" doc:"a second band to compare with" unit:"nm" words:"none" default:"none" above:"0"`
	Baseline    string         `set:"baseline" doc:"what is subtracted under the band" oneof:"none|constant|linear" default:"none"`
	Degree      int            `set:"degree" doc:"degree of the smoothing polynomial" default:"3" min:"2" max:"6"`
}

type vibronicSettings struct {
	Range      pipeline.Range `set:"range" doc:"the progression" unit:"nm" above:"0"`
	Replicas   int            `set:"replicas" doc:"number of replicas" default:"4" min:"2" max:"8"`
	FreeOrigin bool           `set:"free-origin" doc:"let the first replica have a height of its own" default:"false"`
}

type unmixSettings struct {
	Range      pipeline.Range    `set:"range" doc:"part of the spectrum that is fitted" unit:"nm" above:"0"`
	Scatter    bool              `set:"scatter" doc:"allow for scattered light" default:"true"`
	Shift      pipeline.Quantity `set:"shift" doc:"how far components may shift" unit:"nm" default:"0 nm" min:"0"`
	Broadening pipeline.Quantity `set:"broadening" doc:"how far components may broaden" unit:"1" default:"0 %" min:"0" max:"1"`
}

type molarSettings struct {
	Concentration pipeline.Field `set:"concentration" doc:"amount concentration" unit:"mol/L" above:"0"`
	Limit         float64        `set:"limit" doc:"absorbance above which a point is left out" default:"3.0" above:"0"`
}

type changeSettings struct {
	Axis    pipeline.Field `set:"axis" doc:"what the series runs along" unit:"*"`
	Against string         `set:"against" doc:"which spectrum the others are compared with" oneof:"first|mean|last" default:"first"`
}
