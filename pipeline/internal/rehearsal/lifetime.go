package rehearsal

import "fascicle/pipeline"

// fitCurve names the series of the figure that decay fits share.
func decayFigure() pipeline.Figure {
	return pipeline.Figure{
		Name: "fit", Title: "Decay and fit",
		X: pipeline.Axis{Label: "time", Scale: pipeline.Linear}, Y: pipeline.Axis{Label: "counts", Scale: pipeline.Log},
		Series: []pipeline.Series{
			{Output: "curve", X: "time", Y: "counts", Role: pipeline.Points, Label: "decay", Used: "used"},
			{Output: "curve", X: "time", Y: "model", Role: pipeline.Line, Label: "fit"},
		},
		Residual: &pipeline.Series{Output: "curve", X: "time", Y: "residual", Role: pipeline.Line, Label: "weighted residuals"},
	}
}

func lifetimeKinds() []*pipeline.Kind {
	countsCurve := along("ns", counts)
	decay := lead("decay", "the decays", curve, countsCurve...)
	response := partner("response", "the instrument's response", match, curve, countsCurve...)
	choice := func(pair pipeline.Pairing) pipeline.Port {
		return optional(partner("choice", "a number of exponentials found by evidence; it takes the place of the setting", pair, vals,
			exact("number", "1", "how many")))
	}
	fitted := fitted("decay", "time", "counts")

	taus := []pipeline.Column{num("tau_i", "ns", "lifetimes, the shortest first"), num("a_i", "1", "amplitudes"),
		num("tau_amplitude", "ns", "mean weighted by amplitude"), num("tau_intensity", "ns", "mean weighted by intensity")}
	instrument := []pipeline.Column{num("shift", "ns", "shift of the response"), num("background", counts, "constant background"),
		maybe(num("scatter", "1", "share of scattered light")), exact("deviance", "1", "deviance for each degree of freedom")}

	return []*pipeline.Kind{
		kind("lifetime.fit", "Fits exponentials, convolved with the response, to a decay.", pipeline.Kind{
			Ports: []pipeline.Port{decay, optional(response),
				optional(partner("background", "a background decay", match, curve, countsCurve...)),
				optional(partner("uniform", "a decay of constant light", match, curve, countsCurve...)), choice(same)},
			Outputs:  []pipeline.Output{each("fit", "lifetimes and amplitudes", vals, append(append([]pipeline.Column{}, taus...), instrument...)...), fitted},
			Settings: settings[lifetimeFitSettings](), Figures: []pipeline.Figure{decayFigure()},
		}),
		kind("lifetime.global", "Fits lifetimes common to a series of decays.", pipeline.Kind{
			By: "list", Ports: []pipeline.Port{decay, optional(many(response)), choice(match)},
			Outputs: []pipeline.Output{
				each("fit", "amplitudes of each decay", vals, num("a_i", "1", "amplitudes"), taus[2], taus[3], instrument[0], instrument[1], instrument[3]),
				group("common", "the lifetimes in common", vals, taus[0], instrument[3]), fitted,
				group("spectra", "amplitudes along the series", curve, exact("at", "*", "place in the series"), num("a_i", "1", "amplitudes"))},
			Settings: settings[lifetimeGlobalSettings](), Figures: []pipeline.Figure{decayFigure()},
		}),
		kind("lifetime.stretched", "Fits a stretched exponential, convolved with the response.", pipeline.Kind{
			Ports: []pipeline.Port{decay, optional(response)},
			Outputs: []pipeline.Output{each("fit", "the stretched exponential", vals, num("tau", "ns", "lifetime"), num("beta", "1", "stretching"),
				num("mean", "ns", "mean lifetime"), instrument[3]), fitted},
			Settings: settings[lifetimeStretchedSettings](), Figures: []pipeline.Figure{decayFigure()},
		}),
		kind("lifetime.distribution", "Finds the distribution of lifetimes behind a decay.", pipeline.Kind{
			Ports: []pipeline.Port{decay, response},
			Outputs: []pipeline.Output{each("distribution", "the distribution", curve, exact("tau", "ns", "lifetime"),
				num("amplitude", "1", "amplitude")),
				each("moments", "mean, width and number of peaks", vals, num("mean", "ns", "mean"), num("width", "ns", "width"),
					exact("peaks", "1", "how many"))},
			Settings: settings[lifetimeDistributionSettings](),
		}),
		kind("lifetime.tail", "Fits exponentials to the tail of a decay, without a response.", pipeline.Kind{
			Ports: []pipeline.Port{decay, choice(same)}, Outputs: []pipeline.Output{each("fit", "lifetimes and amplitudes", vals, taus...), fitted},
			Settings: settings[lifetimeTailSettings](), Figures: []pipeline.Figure{decayFigure()},
		}),
		kind("lifetime.phasor", "Turns a decay into a point of the phasor plane.", pipeline.Kind{
			Ports: []pipeline.Port{decay, response},
			Outputs: []pipeline.Output{each("phasor", "the point", vals, num("g", "1", "real part"), num("s", "1", "imaginary part"),
				num("tau_phase", "ns", "lifetime from the phase"), num("tau_modulation", "ns", "lifetime from the modulation"))},
			Settings: settings[lifetimePhasorSettings](),
		}),
		kind("lifetime.anisotropy", "Fits the decay of the anisotropy.", pipeline.Kind{
			Ports: []pipeline.Port{lead("parallel", "decays with parallel polarisers", curve, countsCurve...),
				partner("perpendicular", "the same with crossed ones", same, curve, countsCurve...),
				optional(response), optional(partner("g", "the instrument's factor", only, vals, num("factor", "1", "G"))), choice(same)},
			Outputs: []pipeline.Output{each("r", "the anisotropy", curve, exact("time", "ns", "time"), num("r", "1", "anisotropy"),
				exact("model", "1", "fit")),
				each("fit", "correlation times", vals, num("r0", "1", "anisotropy at once"), num("theta_i", "ns", "correlation times"))},
			Settings: settings[lifetimeAnisotropySettings](),
		}),
		kind("lifetime.response", "Holds responses of several days against each other.", pipeline.Kind{
			By: "list", Parts: pipeline.NoParts, Checks: true, Ports: []pipeline.Port{lead("response", "the responses", curve, countsCurve...)},
			Outputs: []pipeline.Output{each("quality", "width, tail, background and drift", vals, num("width", "ns", "full width at half height"),
				num("tail", "1", "share behind the peak"), num("background", counts, "constant background"), maybe(num("drift", "ns", "shift against the others")))},
			Settings: settings[lifetimeResponseSettings](),
		}),
		kind("lifetime.standard", "Holds the lifetime of a standard against its published value.", pipeline.Kind{
			Checks: true, Ports: []pipeline.Port{decay, response},
			Outputs: []pipeline.Output{each("check", "the lifetime", vals, num("tau", "ns", "lifetime"),
				num("deviation", "1", "relative deviation"), num("scale", "1", "published over measured"))},
			Settings: settings[lifetimeStandardSettings](),
		}),
		kind("lifetime.choose", "Tells how many exponentials a decay supports.", pipeline.Kind{
			Parts: pipeline.NoParts, Ports: []pipeline.Port{decay, optional(response)},
			Outputs: []pipeline.Output{each("choice", "the number", vals, exact("number", "1", "how many"),
				exact("p", "1", "probability of one more by chance"), exact("closest", "1", "criterion of the next best")),
				each("steps", "each number that was tried", rows, exact("number", "1", "how many"), exact("deviance", "1", "deviance"),
					exact("criterion", "1", "criterion"), exact("p", "1", "probability by chance"))},
			Settings: settings[lifetimeChooseSettings](),
		}),
	}
}
