package rehearsal

import (
	"fascicle/catalog"
	"fascicle/pipeline"
)

func phaseKinds() []*pipeline.Kind {
	along1 := along("nm", "1")
	evidence := many(gather(partner("evidence", "what was seen of the sample", same, vals)))

	return []*pipeline.Kind{
		kind("phase.transition", "Finds where a series turns turbid, and where it clears.", pipeline.Kind{
			By: "list",
			Ports: []pipeline.Port{or(lead("transmittance", "transmittances", vals), curve),
				optional(many(partner("control", "absorbances of the components alone", match, curve, along1...)))},
			Outputs: []pipeline.Output{
				shaped(group("edges", "where the window opens and closes", vals, exact("number", "1", "number of edges"),
					maybe(num("opens", "*", "first edge")), maybe(num("closes", "*", "second edge")), maybe(num("middle", "*", "between both")),
					maybe(num("width", "*", "second less first"))), transitionShape("opens", "closes", "middle", "width")),
				shaped(group("fit", "the series and its fit", curve, exact("x", "*", "place in the series"), num("transmittance", "1", "transmittance"),
					exact("model", "1", "the fit")), transitionShape("x"))},
			Settings: settings[transitionSettings](),
			Figures: []pipeline.Figure{{Name: "edges", Title: "Edges of the window", X: pipeline.Axis{Label: "place in the series", Scale: pipeline.Linear}, Y: pipeline.Axis{Label: "transmittance", Scale: pipeline.Linear},
				Series: []pipeline.Series{{Output: "fit", X: "x", Y: "transmittance", Role: pipeline.Points, Label: "measured"}, {Output: "fit", X: "x", Y: "model", Role: pipeline.Line, Label: "fit"}},
				Marks:  []pipeline.Mark{{Output: "edges", At: "opens", To: "closes", Label: "window"}}}},
		}),
		kind("phase.solution", "Describes the salt solution: ionic strength, screening, charge ratio.", pipeline.Kind{
			Ports: []pipeline.Port{sheetPort()},
			Outputs: []pipeline.Output{each("solution", "the solution", vals, num("ionic_strength", "mol/L", "ionic strength"),
				num("debye", "nm", "screening length"), num("bjerrum", "nm", "length of equal energies"),
				maybe(num("charge_ratio", "1", "negative over positive charges")), maybe(num("manning", "1", "charge density parameter")))},
			Settings: settings[solutionSettings](),
		}),
		kind("phase.compositions", "Works out what both phases hold.", pipeline.Kind{
			Ports: []pipeline.Port{
				lead("volumes", "volumes and dilutions of both phases", vals, num("v_dilute", "mL", "volume of the dilute phase"),
					num("v_dense", "mL", "volume of the dense phase"), num("times_dilute", "1", "dilution of the dilute phase"),
					num("times_dense", "1", "dilution of the dense phase")),
				partner("dilute", "absorbance of the dilute phase", same, curve, along1...),
				partner("dense", "absorbance of the dense phase", same, curve, along1...),
				many(partner("molar", "molar absorptivities", byAll, curve, along("nm", "L/(mol.cm)")...))},
			Outputs: []pipeline.Output{shaped(each("phases", "the compositions", vals,
				num("dense_fraction", "1", "volume fraction of the dense phase")), compositionsShape)},
			Settings: settings[compositionsSettings](),
		}),
		kind("phase.binodal", "Draws the binodal through tie lines, and fits a theory.", pipeline.Kind{
			By: "list", Parts: pipeline.Reads,
			Ports: []pipeline.Port{lead("tie-line", "compositions of both phases", vals, num("donor_dense", "mol/L", "donor in the dense phase"),
				num("donor_dilute", "mol/L", "donor in the dilute phase"), num("acceptor_dense", "mol/L", "acceptor in the dense phase"),
				num("acceptor_dilute", "mol/L", "acceptor in the dilute phase"))},
			Outputs: []pipeline.Output{
				group("binodal", "the curve", curve, exact("polymer", "mol/L", "repeat units"), num("salt", "mol/L", "salt")),
				group("critical", "the critical point", vals, maybe(num("alpha", "1", "interaction")),
					maybe(num("polymer", "mol/L", "repeat units")), maybe(num("salt", "mol/L", "salt"))),
				group("ties", "the tie lines", rows, word("sample", "sample"), num("dilute", "mol/L", "repeat units in the dilute phase"),
					num("dense", "mol/L", "repeat units in the dense phase"))},
			Settings: settings[binodalSettings](),
		}),
		kind("phase.micrograph", "Finds and measures droplets in images.", pipeline.Kind{
			By: "sample", Parts: pipeline.NoParts, Ports: []pipeline.Port{lead("image", "the images", image)},
			Outputs: []pipeline.Output{
				group("sizes", "droplets of a sample", vals, num("count", "1", "how many"), maybe(num("radius", "nm", "mean radius")),
					maybe(num("circularity", "1", "mean circularity")), num("area_fraction", "1", "share of the area"),
					maybe(num("correlation_length", "nm", "correlation length")), num("percolating", "1", "share of images that are spanned"),
					maybe(num("lacunarity", "1", "lacunarity"))),
				group("objects", "each droplet", rows, word("item", "image"), exact("x", "nm", "place"), exact("y", "nm", "place"),
					exact("radius", "nm", "radius"), exact("circularity", "1", "circularity")),
				each("outlines", "the image with what was found", image, exact("found", "1", "number of the droplet, 0 for none"))},
			Settings: settings[micrographSettings](),
		}),
		kind("phase.state", "Decides by rules which state a sample is in.", pipeline.Kind{
			Parts: pipeline.Reads, Ports: []pipeline.Port{sheetPort(), evidence},
			Outputs: []pipeline.Output{each("state", "the state", vals, word("state", "its name, or undecided"), exact("for", "1", "rules for it"),
				exact("against", "1", "rules against it")),
				each("verdicts", "each rule", rows, word("state", "state"), word("rule", "rule"), word("side", "for or against"),
					word("holds", "yes, no or unknown"))},
			Settings: settings[stateSettings](),
			Figures: []pipeline.Figure{{Name: "map", Title: "States", X: pipeline.Axis{Label: "rules for it", Scale: pipeline.Linear},
				Y:      pipeline.Axis{Label: "rules against it", Scale: pipeline.Linear},
				Series: []pipeline.Series{{Output: "state", X: "for", Y: "against", Role: pipeline.Points}}}},
		}),
	}
}

// transitionShape gives columns the unit of what the series runs along.
func transitionShape(names ...string) func(pipeline.ShapeCall) ([]pipeline.Column, error) {
	return func(s pipeline.ShapeCall) ([]pipeline.Column, error) {
		u, known := fieldUnit(s.Settings.(*transitionSettings).Axis)
		var out []pipeline.Column
		for _, n := range names {
			out = append(out, maybe(num(n, codeOr(u, known), "along the series")))
		}
		return out, nil
	}
}

// compositionsShape names the outputs by the components of `total`.
func compositionsShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	var out []pipeline.Column
	for _, t := range s.Settings.(*compositionsSettings).Total {
		if !catalog.IsIdentifier(t.Key) {
			continue // Validate says so
		}
		out = append(out, num(t.Key+"_dense", "mol/L", t.Key+" in the dense phase"), num(t.Key+"_dilute", "mol/L", t.Key+" in the dilute phase"))
	}
	return append(out, num("partition", "1", "dense over dilute"), num("balance", "1", "found over put in")), nil
}

type transitionSettings struct {
	Axis       pipeline.Field    `set:"axis" doc:"what the series runs along" unit:"*"`
	Scale      string            `set:"scale" doc:"how the axis runs" oneof:"linear|log" default:"linear"`
	Wavelength pipeline.Quantity `set:"wavelength" doc:"wavelength of the transmittance" unit:"nm" above:"0"`
	Direction  pipeline.Field    `set:"direction" doc:"heating or cooling" unit:"text" words:"none" default:"none"`
	Model      string            `set:"model" doc:"number of edges" oneof:"evidence|one edge|window" default:"evidence"`
	Path       pipeline.Field    `set:"path" doc:"length of the cell" unit:"mm" words:"none" default:"none" above:"0"`
}

type solutionSettings struct {
	Salt         pipeline.Field               `set:"salt" doc:"the salt's formula" unit:"text"`
	Ionic        pipeline.Field               `set:"ionic" doc:"ionic strength of the added salt" unit:"mol/L" min:"0"`
	Temperature  pipeline.Field               `set:"temperature" doc:"temperature" unit:"K" above:"0"`
	Permittivity pipeline.Field               `set:"permittivity" doc:"relative permittivity" unit:"1" words:"water" default:"water" min:"1"`
	Charges      ionPair                      `set:"charges" doc:"amount concentrations of charges"`
	Spacing      pipeline.Map[pipeline.Field] `set:"spacing" doc:"contour length for each charge, of anion and cation" unit:"nm" default:"-" above:"0" null:"ok"`
}

type ionPair struct {
	Anion  pipeline.Field `set:"anion" doc:"of the polyanion" unit:"mol/L" min:"0"`
	Cation pipeline.Field `set:"cation" doc:"of the polycation" unit:"mol/L" min:"0"`
}

type compositionsSettings struct {
	Total pipeline.Map[pipeline.Field] `set:"total" doc:"concentration of each component in the whole sample" unit:"mol/L" min:"0"`
	Named pipeline.Field               `set:"named" doc:"which substance a molar absorptivity is of" unit:"text" default:"substance" also:"molar"`
	Path  pipeline.Field               `set:"path" doc:"length of the cell" unit:"mm" above:"0"`
	Range pipeline.Range               `set:"range" doc:"wavelengths that are fitted" unit:"nm" words:"all" default:"all" above:"0"`
}

type binodalSettings struct {
	Theory  string                          `set:"theory" doc:"theory that is fitted" oneof:"none|Voorn-Overbeek" default:"none"`
	Alpha   pipeline.Quantity               `set:"alpha" doc:"interaction parameter" unit:"1" words:"none|free" default:"none" above:"0"`
	Lengths pipeline.Map[pipeline.Quantity] `set:"lengths" doc:"chain lengths, in repeat units" unit:"1" default:"-" above:"0"`
}

type micrographSettings struct {
	Scale     pipeline.Field    `set:"scale" doc:"edge of a pixel" unit:"µm" words:"from file" default:"from file" above:"0"`
	Threshold pipeline.Quantity `set:"threshold" doc:"brightness that parts droplets from the rest" unit:"1" words:"Otsu" default:"Otsu" min:"0" max:"1"`
	Smallest  pipeline.Quantity `set:"smallest" doc:"radius below which nothing counts" unit:"µm" words:"4 pixels" default:"4 pixels" above:"0"`
	Flatten   bool              `set:"flatten" doc:"take out uneven light" default:"true"`
}

type stateSettings struct {
	Rules pipeline.Map[stateRule] `set:"rules" doc:"what speaks for and against each state; without any, those of the program" default:"-"`
}

type stateRule struct {
	For     []pipeline.Expr `set:"for" doc:"what speaks for the state" port:"evidence" default:"-"`
	Against []pipeline.Expr `set:"against" doc:"what speaks against it" port:"evidence" default:"-"`
}
