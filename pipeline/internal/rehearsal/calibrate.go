package rehearsal

import "fascicle/pipeline"

func calibrateKinds() []*pipeline.Kind {
	emission := func(name, doc string) pipeline.Port { return optional(lead(name, doc, curve, along("nm", "*")...)) }
	scattering := func(name, doc string) pipeline.Port {
		return optional(lead(name, doc, curve, along("1/nm", "*")...))
	}
	return []*pipeline.Kind{
		kind("calibrate.scale", "Makes a factor from the reading of a standard.", pipeline.Kind{
			By: "all", Ports: []pipeline.Port{lead("standard", "readings of the standard", curve, along("*", "*")...)},
			Outputs: []pipeline.Output{shaped(group("factor", "the factor", vals, num("factor", "*", "known over measured")), func(s pipeline.ShapeCall) ([]pipeline.Column, error) {
				known, ok := fieldUnit(s.Settings.(*calibrateScaleSettings).Known)
				measured, okMeasured := arrivingUnit(s, "standard", value)
				return []pipeline.Column{num("factor", quotient(known, ok, measured, okMeasured), "known over measured")}, nil
			})},
			Settings: settings[calibrateScaleSettings](),
		}),
		kind("calibrate.wavelength", "Holds the bands of a standard against their certified wavelengths.", pipeline.Kind{
			Checks: true, Ports: []pipeline.Port{lead("scan", "a scan of the standard", curve, along("nm", "*")...)},
			Outputs: []pipeline.Output{
				group("axis", "the calibrated axis", vals, num("offset", "nm", "what is added"), num("scale", "1", "what the axis is multiplied by")),
				group("bands", "each band", rows, num("found", "nm", "where it lies"), num("certified", "nm", "where it should lie"),
					num("difference", "nm", "found less certified")),
			},
			Settings: settings[calibrateWavelengthSettings](),
		}),
		kind("calibrate.absorbance", "Holds the absorbance of a standard against its certified values.", pipeline.Kind{
			By: "day", Checks: true, Ports: []pipeline.Port{lead("scan", "scans of the standard", curve, along("nm", "1")...)},
			Outputs: []pipeline.Output{
				group("factor", "slope and offset of the photometric scale", vals, num("factor", "1", "certified over measured"),
					num("offset", "1", "what is added")),
				group("lines", "each reading", rows, exact("wavelength", "nm", "where"), num("concentration", "mg/mL", "of the standard"),
					num("measured", "1", "reading"), num("certified", "1", "certified reading")),
			},
			Settings: settings[calibrateAbsorbanceSettings](),
		}),
		kind("calibrate.emission", "Makes a factor for each day from a Raman band or a standard.", pipeline.Kind{
			By: "day", Checks: true, Ports: []pipeline.Port{emission("raman", "water's spectrum"), emission("standard", "a standard's spectrum")},
			Outputs:  []pipeline.Output{group("factor", "the day's factor", vals, num("factor", "1", "what emission is multiplied by"))},
			Settings: settings[calibrateEmissionSettings](),
		}),
		kind("calibrate.geometry", "Finds centre, distance and tilt of a detector from the rings of a standard.", pipeline.Kind{
			By: "all", Ports: []pipeline.Port{or(lead("image", "images or curves of the standard", image), curve)},
			Outputs: []pipeline.Output{
				group("geometry", "where the detector stands", vals, num("centre_x", "1", "pixels"), num("centre_y", "1", "pixels"),
					num("distance", "nm", "from the sample"), num("tilt", "rad", "out of the plane"), num("turn", "rad", "direction of the tilt")),
				group("axis", "the calibrated axis of a curve", vals, num("offset", "1/nm", "what is added"),
					num("scale", "1", "what the axis is multiplied by")),
				group("rings", "each ring", rows, exact("order", "1", "order"), num("radius", "1", "pixels"), exact("residual", "1", "pixels")),
			},
			Settings: settings[calibrateGeometrySettings](),
		}),
		kind("calibrate.absolute", "Finds the absolute scale from glassy carbon or water.", pipeline.Kind{
			Ports: []pipeline.Port{scattering("carbon", "glassy carbon"), scattering("water", "water")},
			Outputs: []pipeline.Output{
				shaped(group("factor", "the absolute scale", vals, num("factor", "*", "known over measured")), func(s pipeline.ShapeCall) ([]pipeline.Column, error) {
					u, known := arrivingUnit(s, "carbon", value)
					if len(s.Ports["carbon"]) == 0 {
						u, known = arrivingUnit(s, "water", value)
					}
					return []pipeline.Column{num("factor", quotient(mustUnit("1/cm"), true, u, known), "known over measured")}, nil
				}),
				group("check", "water held against carbon", vals, num("ratio", "1", "measured over expected")),
			},
			Settings: settings[calibrateAbsoluteSettings](),
		}),
	}
}

type calibrateScaleSettings struct {
	Known pipeline.Field `set:"known" doc:"the standard's value" unit:"*"`
	Range pipeline.Range `set:"range" doc:"part of the axis that counts" unit:"*" words:"all" default:"all"`
}

type calibrateWavelengthSettings struct {
	Standard  string            `set:"standard" doc:"the standard" oneof:"holmium|didymium|mercury lamp"`
	BandPass  pipeline.Quantity `set:"band-pass" doc:"band pass of the instrument" unit:"nm" default:"1 nm" above:"0"`
	Notice    pipeline.Quantity `set:"notice" doc:"difference that is worth a remark" unit:"nm" words:"none" default:"none" above:"0"`
	Tolerance pipeline.Quantity `set:"tolerance" doc:"difference that stops what trusts the check" unit:"nm" words:"none" default:"1 nm" above:"0"`
}

type calibrateAbsorbanceSettings struct {
	Standard      string            `set:"standard" doc:"the standard" oneof:"dichromate|neutral glass" default:"dichromate"`
	Concentration pipeline.Field    `set:"concentration" doc:"concentration of the standard" unit:"mg/L" above:"0"`
	Path          pipeline.Field    `set:"path" doc:"length of the cell" unit:"mm" above:"0"`
	Notice        pipeline.Quantity `set:"notice" doc:"relative difference that is worth a remark" unit:"1" words:"none" default:"none" above:"0"`
	Tolerance     pipeline.Quantity `set:"tolerance" doc:"relative difference that stops what trusts the check" unit:"1" words:"none" default:"1 %" above:"0"`
}

type calibrateEmissionSettings struct {
	Range     pipeline.Range    `set:"range" doc:"the band" unit:"nm" default:"385 nm, 410 nm"`
	Baseline  string            `set:"baseline" doc:"what is subtracted under the band" oneof:"linear|constant|none" default:"linear"`
	Notice    pipeline.Quantity `set:"notice" doc:"change that is worth a remark" unit:"1" words:"none" default:"none" above:"0"`
	Tolerance pipeline.Quantity `set:"tolerance" doc:"change that stops what trusts the check" unit:"1" words:"none" default:"none" above:"0"`
}

type calibrateGeometrySettings struct {
	Standard   string              `set:"standard" doc:"the standard" oneof:"silver behenate|lanthanum hexaboride|own" default:"silver behenate"`
	Wavelength pipeline.Field      `set:"wavelength" doc:"wavelength of the beam" unit:"nm" above:"0"`
	Pixel      pipeline.Field      `set:"pixel" doc:"edge of a pixel" unit:"mm" words:"from file" default:"from file" above:"0"`
	Spacings   []pipeline.Quantity `set:"spacings" doc:"spacings of the standard" unit:"nm" words:"of the standard" default:"of the standard" above:"0"`
}

type calibrateAbsoluteSettings struct {
	Use         string            `set:"use" doc:"which standard gives the factor" oneof:"carbon|water" default:"carbon"`
	WaterValue  pipeline.Quantity `set:"water-value" doc:"scattering of water" unit:"1/cm" words:"compressibility" default:"compressibility" above:"0"`
	Temperature pipeline.Field    `set:"temperature" doc:"temperature of the water" unit:"K" default:"20 °C" above:"0"`
	Range       pipeline.Range    `set:"range" doc:"part of q that counts" unit:"1/nm" default:"0.1 1/nm, 2 1/nm" above:"0"`
}
