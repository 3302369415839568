package rehearsal

import "fascicle/pipeline"

func efficiencyKinds() []*pipeline.Kind {
	efficiency := num("E", "1", "efficiency of the transfer")
	limit := maybe(num("E_limit", "1", "limit of the efficiency"))
	tau := num("tau_amplitude", "ns", "mean lifetime weighted by amplitude")
	spectrum := along("nm", "*")

	return []*pipeline.Kind{
		kind("efficiency.quenching", "Finds the efficiency from the donor's light that is left.", pipeline.Kind{
			Ports: []pipeline.Port{lead("donor", "the donor's signal in the mixture", vals),
				partner("control", "the donor's signal alone", match, vals), optional(many(partner("blanks", "signals without donor", match, vals)))},
			Outputs: []pipeline.Output{each("efficiency", "the efficiency", vals, efficiency,
				num("residual", "1", "share of light that is left"), limit, maybe(exact("detection", "1", "detection limit of the share")))},
			Settings: settings[quenchingSettings](),
		}),
		kind("efficiency.lifetime", "Finds the efficiency from the donor's shorter lifetime.", pipeline.Kind{
			Ports: []pipeline.Port{lead("donor", "lifetimes in the mixture", vals, tau),
				partner("control", "lifetimes of the donor alone", match, vals, tau)},
			Outputs:  []pipeline.Output{each("efficiency", "the efficiency", vals, efficiency, limit)},
			Settings: settings[confidenceSettings](),
		}),
		kind("efficiency.sensitized", "Finds the efficiency from acceptor light that donor absorption brings.", pipeline.Kind{
			Ports: []pipeline.Port{lead("excitation", "excitation spectra", curve, spectrum...),
				partner("absorbance", "the sample's absorbance", same, curve, along("nm", "1")...),
				optional(partner("acceptor", "the acceptor alone", match, curve, spectrum...))},
			Outputs: []pipeline.Output{each("efficiency", "the efficiency", vals, efficiency), each("spectra", "both spectra, scaled", curve,
				exact("wavelength", "nm", "wavelength"), num("excitation", "1", "excitation"), num("absorptance", "1", "absorptance"))},
			Settings: settings[sensitizedSettings](),
		}),
		kind("efficiency.quantum-yield", "Finds quantum yields against standards.", pipeline.Kind{
			By: "list",
			Ports: []pipeline.Port{lead("emission", "emission of a dilution series", curve, spectrum...),
				many(partner("absorbance", "the samples' absorbance", same, curve, along("nm", "1")...)),
				many(partner("standard", "emission of the standards", byAll, curve, along("nm", "=emission")...)),
				many(partner("standard-absorbance", "absorbance of the standards", byAll, curve, along("nm", "1")...))},
			Outputs: []pipeline.Output{
				group("yield", "the quantum yield", vals, num("phi", "1", "quantum yield"),
					exact("standards_p", "1", "probability of such a difference of standards by chance")),
				shaped(group("points", "each sample", rows, word("sample", "sample"), exact("absorptance", "1", "absorptance"),
					num("area", "*", "area of the emission"), exact("residual", "1", "weighted residual")), areaShape("emission", "area"))},
			Settings: settings[quantumYieldSettings](),
		}),
		kind("efficiency.overlap", "Integrates the overlap of donor emission and acceptor absorption.", pipeline.Kind{
			Ports: []pipeline.Port{lead("donor", "the donor's emission", curve, spectrum...),
				partner("acceptor", "the acceptor's molar absorptivity", only, curve, along("nm", "L/(mol.cm)")...),
				partner("yield", "the donor's quantum yield", only, vals, num("phi", "1", "quantum yield"))},
			Outputs: []pipeline.Output{each("overlap", "overlap integral and distance", vals, num("J", "L.nm4/(mol.cm)", "overlap integral"),
				num("R0", "nm", "distance of half transfer")),
				each("integrand", "what was integrated", curve, exact("wavelength", "nm", "wavelength"),
					num("integrand", "L.nm3/(mol.cm)", "integrand"))},
			Settings: settings[overlapSettings](),
		}),
		kind("efficiency.rate", "Turns efficiency and lifetime into a rate.", pipeline.Kind{
			Ports: []pipeline.Port{lead("efficiency", "efficiencies", vals, efficiency),
				partner("lifetime", "lifetimes of the donor alone", match, vals, tau)},
			Outputs: []pipeline.Output{each("rate", "the rate", vals, num("rate", "1/s", "rate of the transfer"), num("time", "ns", "its inverse"),
				maybe(num("free_fraction", "1", "share of donors without an acceptor")))},
			Settings: settings[confidenceSettings](),
		}),
		kind("efficiency.stern-volmer", "Fits quenching against the concentration of the quencher.", pipeline.Kind{
			By: "list",
			Ports: []pipeline.Port{lead("intensity", "shares of light that is left", vals, num("residual", "1", "share of light that is left")),
				optional(many(partner("lifetime", "efficiencies from lifetimes", same, vals, efficiency)))},
			Outputs: []pipeline.Output{group("constants", "the constants", vals, num("K_D", "L/mol", "dynamic"), num("K_S", "L/mol", "static"),
				maybe(num("k_q", "L/(mol.s)", "rate constant"))),
				group("lines", "the lines", curve, exact("quencher", "mol/L", "concentration"), num("intensity", "1", "F0/F"),
					maybe(num("lifetime", "1", "tau0/tau")), exact("model", "1", "the fit"))},
			Settings: settings[sternVolmerSettings](),
		}),
		kind("efficiency.agree", "Tells whether several ways to one efficiency agree.", pipeline.Kind{
			By: "sample", Parts: pipeline.Reads, Ports: []pipeline.Port{gather(lead("methods", "efficiencies by several ways", vals))},
			Outputs: []pipeline.Output{group("agreement", "what they agree on", vals, efficiency,
				exact("birge", "1", "spread over expected spread"), exact("chi2_p", "1", "probability of such a spread by chance"),
				maybe(word("apart", "the stage that differs most")))},
			Settings: settings[agreeSettings](),
		}),
	}
}

type quenchingSettings struct {
	Signal        pipeline.ColumnName `set:"signal" doc:"column of the signal" unit:"*" port:"donor"`
	ControlSignal pipeline.ColumnName `set:"control-signal" doc:"column of the control's signal" unit:"*" port:"control" words:"as signal" default:"as signal"`
	Concentration pipeline.Field      `set:"concentration" doc:"concentration of the donor, if it differs" unit:"mol/L" words:"none" default:"none" above:"0" also:"control"`
	Confidence    float64             `set:"confidence" doc:"confidence of limits" default:"95 %" above:"0" below:"1"`
}

type confidenceSettings struct {
	Confidence float64 `set:"confidence" doc:"confidence of limits" default:"95 %" above:"0" below:"1"`
}

type sensitizedSettings struct {
	AcceptorRange pipeline.Range `set:"acceptor-range" doc:"where the acceptor alone absorbs" unit:"nm" above:"0"`
	DonorRange    pipeline.Range `set:"donor-range" doc:"where the donor absorbs" unit:"nm" above:"0"`
}

type quantumYieldSettings struct {
	Standards  pipeline.Map[pipeline.Quantity] `set:"standards" doc:"the standards' quantum yields by name" unit:"1" above:"0" max:"1"`
	Named      pipeline.Field                  `set:"named" doc:"what the standards are called, for each item" unit:"text" default:"substance" also:"standard"`
	Excitation pipeline.Field                  `set:"excitation" doc:"excitation wavelength" unit:"nm" above:"0" also:"standard"`
	Index      pipeline.Field                  `set:"index" doc:"refractive index" unit:"1" min:"1" also:"standard"`
	Form       string                          `set:"form" doc:"slope of a line, or each point alone" oneof:"slope|points" default:"slope"`
}

type overlapSettings struct {
	Orientation pipeline.Field `set:"orientation" doc:"orientation factor" unit:"1" default:"2/3" above:"0" max:"4"`
	Index       pipeline.Field `set:"index" doc:"refractive index" unit:"1" min:"1"`
}

type sternVolmerSettings struct {
	Quencher pipeline.Field `set:"quencher" doc:"concentration of the quencher" unit:"mol/L" min:"0"`
	Model    string         `set:"model" doc:"which quenching is fitted" oneof:"both|dynamic|static" default:"both"`
}

type agreeSettings struct {
	Column pipeline.ColumnName `set:"column" doc:"the number that should agree" unit:"*" port:"methods" default:"E"`
}
