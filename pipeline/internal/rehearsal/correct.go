package rehearsal

import "fascicle/pipeline"

const (
	curve = pipeline.Curve
	vals  = pipeline.Values
	rows  = pipeline.TableForm
	image = pipeline.Image

	match  = pipeline.ByMatch
	same   = pipeline.BySample
	only   = pipeline.ByOnly
	byAll  = pipeline.ByAll
	counts = "1"
)

// corrected is a curve like the leading one; with a unit its value is in that instead.
func corrected(port, valueUnit string) pipeline.Output {
	o := like(port, each("corrected", "the corrected curve", curve))
	if valueUnit != "" {
		o.Columns = []pipeline.Column{num(value, valueUnit, "the corrected value")}
	}
	return o
}

func factorCurve(port string) pipeline.Output {
	return each("factor", "what the curve was multiplied by", curve,
		exact("at", "="+port+".axis", "the axis of the curve"), num("factor", "*", "the factor"))
}

func correctKinds() []*pipeline.Kind {
	anyCurve := lead("curve", "the curves to correct", curve, along("*", "*")...)
	spectrum := lead("curve", "the spectra to correct", curve, along("nm", "*")...)
	absorbance := partner("absorbance", "the sample's absorbance", same, curve, along("nm", "1")...)
	factor := partner("factor", "a calibration factor", match, vals, num("factor", "*", "what values are multiplied by"))
	background := func(name, doc string) pipeline.Port {
		return partner(name, doc, match, curve, along("=curve.axis", "=curve")...)
	}

	return []*pipeline.Kind{
		kind("correct.subtract", "Subtracts a background from a curve.", pipeline.Kind{
			Ports:    []pipeline.Port{anyCurve, background("background", "the curve to subtract"), optional(onlyPort(factor))},
			Outputs:  []pipeline.Output{corrected("curve", "")},
			Settings: settings[subtractSettings](),
		}),
		kind("correct.scale", "Applies a calibration factor, a calibrated axis, or both.", pipeline.Kind{
			Ports: []pipeline.Port{anyCurve, optional(factor),
				optional(partner("axis", "a calibrated axis", match, vals, num("offset", "=curve.axis", "what is added to the axis"),
					num("scale", "1", "what the axis is multiplied by")))},
			Outputs:  []pipeline.Output{shaped(corrected("curve", ""), scaledShape)},
			Settings: settings[scaleSettings](),
		}),
		kind("correct.path", "Divides an absorbance by the length of its cell.", pipeline.Kind{
			Ports:    []pipeline.Port{anyCurve},
			Outputs:  []pipeline.Output{shaped(like("curve", each("per_length", "attenuation for each length", curve)), pathShape)},
			Settings: settings[pathSettings](),
		}),
		kind("correct.repeats", "Averages repeated curves and looks for trends and spikes.", pipeline.Kind{
			By: "sample", Ports: []pipeline.Port{anyCurve},
			Outputs: []pipeline.Output{
				like("curve", group("mean", "the mean curve", curve)),
				group("trend", "whether the repeats drift", vals, num("slope", "1", "relative change from one repeat to the next"),
					exact("p", "1", "probability of such a slope by chance")),
				group("spikes", "single points that were left out", rows, word("item", "repeat"), exact("at", "=curve.axis", "place"),
					exact("height", "=curve", "height above the others")),
			},
			Settings: settings[repeatsSettings](),
		}),
		kind("correct.dark", "Subtracts the dark signal, scaled to the dwell time.", pipeline.Kind{
			Ports: []pipeline.Port{anyCurve, background("dark", "a dark scan")}, Outputs: []pipeline.Output{corrected("curve", "")},
			Settings: settings[darkSettings](),
		}),
		kind("correct.excitation", "Divides an excitation scan by the photon flux.", pipeline.Kind{
			Ports:    []pipeline.Port{spectrum, partner("flux", "the flux of the excitation side", match, curve, along("nm", "*")...)},
			Outputs:  []pipeline.Output{corrected("curve", "*"), factorCurve("curve")},
			Settings: settings[photonSettings](),
		}),
		kind("correct.responsivity", "Divides an emission spectrum by the responsivity of the detection side.", pipeline.Kind{
			Ports: []pipeline.Port{spectrum,
				optional(partner("lamp", "the calibrated lamp as the instrument saw it", match, curve, along("nm", "*")...)),
				optional(partner("certificate", "the lamp's certificate", only, curve, along("nm", "*")...)),
				optional(partner("correction", "a correction curve", only, curve, along("nm", "*")...)),
				optional(many(partner("dyes", "spectra of standard dyes", match, curve, along("nm", "*")...)))},
			Outputs:  []pipeline.Output{corrected("curve", "*"), factorCurve("curve")},
			Settings: settings[responsivitySettings](),
		}),
		kind("correct.inner-filter", "Corrects an emission spectrum for light that the sample itself absorbs.", pipeline.Kind{
			Ports:    []pipeline.Port{lead("emission", "the emission spectra", curve, along("nm", "*")...), absorbance},
			Outputs:  []pipeline.Output{corrected("emission", ""), factorCurve("emission")},
			Settings: settings[innerFilterSettings](),
		}),
		kind("correct.turbid", "Subtracts the scattering background of a turbid sample.", pipeline.Kind{
			Ports: []pipeline.Port{spectrum},
			Outputs: []pipeline.Output{corrected("curve", ""), like("curve", each("background", "the background", curve)),
				each("fit", "the background's parameters", vals, num("n", "1", "exponent"), num("A_500", "=curve", "background at 500 nm"))},
			Settings: settings[turbidSettings](),
		}),
		kind("correct.dilution", "Multiplies a curve by its dilution.", pipeline.Kind{
			Ports: []pipeline.Port{anyCurve}, Outputs: []pipeline.Output{corrected("curve", "")}, Settings: settings[dilutionSettings](),
		}),
		kind("correct.solvent-band", "Subtracts a blank, scaled until its Raman band is the sample's.", pipeline.Kind{
			Ports:    []pipeline.Port{spectrum, background("blank", "the solvent's spectrum")},
			Outputs:  []pipeline.Output{corrected("curve", ""), each("scale", "how the blank was scaled", vals, num("factor", "1", "factor"))},
			Settings: settings[solventBandSettings](),
		}),
		kind("correct.reabsorption", "Corrects an emission spectrum for light absorbed again.", pipeline.Kind{
			Ports: []pipeline.Port{lead("emission", "the emission spectra", curve, along("nm", "*")...), absorbance,
				optional(partner("dilute", "the spectrum of a dilute sample", match, curve, along("nm", "*")...))},
			Outputs: []pipeline.Output{corrected("emission", ""), each("probability", "how much is absorbed again", vals,
				num("a", "1", "probability"))},
			Settings: settings[reabsorptionSettings](),
		}),
		kind("correct.pileup", "Corrects a decay for photons lost behind earlier ones.", pipeline.Kind{
			Ports:    []pipeline.Port{lead("decay", "the decays", curve, along("ns", counts)...)},
			Outputs:  []pipeline.Output{corrected("decay", "")},
			Settings: settings[pileupSettings](),
		}),
		kind("correct.image", "Turns a detector image into a curve along q.", pipeline.Kind{
			Ports: []pipeline.Port{lead("image", "the images", image),
				partner("geometry", "centre, distance and tilt", only, vals, num("centre_x", "1", "pixels"), num("centre_y", "1", "pixels"),
					num("distance", "nm", "of the detector")),
				optional(partner("mask", "pixels to leave out", only, image)), optional(partner("flat", "response of each pixel", only, image)),
				optional(partner("dark", "a dark image", match, image))},
			Outputs: []pipeline.Output{
				each("curve", "the averaged curve", curve, exact("q", "1/nm", "scattering vector"), num("I", "1", "intensity, on a relative scale")),
				each("sectors", "a curve for each sector", curve, exact("q", "1/nm", "scattering vector"), num("I_i", "1", "intensity of a sector")),
				each("anisotropy", "how much sectors differ", vals, num("anisotropy", "1", "anisotropy")),
			},
			Settings: settings[imageSettings](),
		}),
		kind("correct.scattering", "Corrects a scattering curve for transmission, container and solvent, on an absolute scale if one is fed.", pipeline.Kind{
			Ports: []pipeline.Port{lead("curve", "the curves", curve, along("1/nm", "*")...),
				optional(background("empty", "the empty container")), optional(background("solvent", "the solvent in its container")),
				optional(partner("scale", "the absolute scale", match, vals, num("factor", "*", "what intensities are multiplied by")))},
			Outputs: []pipeline.Output{shaped(corrected("curve", ""), absoluteShape),
				each("check", "whether the subtraction is sound", vals, num("solvent_scale", "1", "scale of the solvent at high q"),
					exact("negative", "1", "share of negative points"))},
			Settings: settings[correctScatteringSettings](),
		}),
	}
}

func onlyPort(p pipeline.Port) pipeline.Port { p.Pair = only; return p }

// scaledShape multiplies (or divides) the curve's unit by the factor's.
func scaledShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := arrivingUnit(s, "curve", value)
	if _, fed := s.Ports["factor"]; !fed {
		return nil, nil
	}
	f, knownFactor := arrivingUnit(s, "factor", "factor")
	if !known || !knownFactor {
		return []pipeline.Column{num(value, "*", "the scaled value")}, nil
	}
	u = u.Mul(f)
	if s.Settings.(*scaleSettings).Inverse {
		u = u.Div(f).Div(f)
	}
	return []pipeline.Column{num(value, inside(u, false), "the scaled value")}, nil
}

// pathShape divides the curve's unit by a length.
func pathShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	u, known := arrivingUnit(s, "curve", value)
	return []pipeline.Column{num(value, quotient(u, known, mustUnit("mm"), true), "the value for each length")}, nil
}

// absoluteShape is per length once a scale is fed, and relative before.
func absoluteShape(s pipeline.ShapeCall) ([]pipeline.Column, error) {
	if _, fed := s.Ports["scale"]; !fed {
		return nil, nil
	}
	f, known := arrivingUnit(s, "scale", "factor")
	return []pipeline.Column{num(value, codeOr(f, known), "absolute intensity")}, nil
}
