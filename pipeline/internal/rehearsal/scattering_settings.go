package rehearsal

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog/fault"
	"fascicle/pipeline"
)

type framesSettings struct {
	FalseAlarms float64 `set:"false-alarms" doc:"how often sound frames may be left out" default:"1 %" above:"0" below:"1"`
	Test        string  `set:"test" doc:"how frames are compared" oneof:"runs and chi²|runs|chi²" default:"runs and chi²"`
}

type guinierSettings struct {
	Shape    string            `set:"shape" doc:"what scatters" oneof:"compact|chain|rod|disc" default:"compact"`
	Plateaus int               `set:"plateaus" doc:"number of plateaus" default:"1" min:"1" max:"3" unless:"choice"`
	Order    string            `set:"order" doc:"line or parabola" oneof:"line|parabola" default:"line"`
	Section  string            `set:"section" doc:"cross-section instead of the whole" oneof:"none|rod|sheet" default:"none"`
	Limit    pipeline.Quantity `set:"limit" doc:"largest q·Rg" unit:"1" words:"1.3 or 0.8" default:"1.3 or 0.8" above:"0"`
	Range    pipeline.Range    `set:"range" doc:"part of q that is fitted" unit:"1/nm" words:"found" default:"found" above:"0"`
}

type porodSettings struct {
	Range    pipeline.Range    `set:"range" doc:"part of q that is fitted" unit:"1/nm" above:"0"`
	Exponent pipeline.Quantity `set:"exponent" doc:"exponent" unit:"1" words:"free" default:"4" above:"0"`
}

type invariantSettings struct {
	Low  string `set:"low" doc:"what continues the curve below" oneof:"Guinier|none" default:"Guinier"`
	High string `set:"high" doc:"what continues the curve above" oneof:"Porod|none" default:"Porod"`
}

type kratkySettings struct {
	Normalised bool `set:"normalised" doc:"divide by radius and forward intensity" default:"true"`
}

type levelsSettings struct {
	Levels pipeline.Quantity `set:"levels" doc:"number of levels" unit:"1" words:"evidence" default:"evidence" min:"1" whole:"yes" unless:"choice"`
	Most   int               `set:"most" doc:"most levels to try" default:"4" min:"1" max:"6"`
	CutOff string            `set:"cut-off" doc:"where a power law ends" oneof:"next Rg|none" default:"next Rg"`
	Range  pipeline.Range    `set:"range" doc:"part of q that is fitted" unit:"1/nm" words:"all" default:"all" above:"0"`
}

type formSettings struct {
	Form           []string                        `set:"form" doc:"form factor, or two that are summed" oneof:"sphere|core-shell sphere|cylinder|ellipsoid|Debye chain|chain with excluded volume"`
	Polydispersity string                          `set:"polydispersity" doc:"distribution of sizes" oneof:"none|Schulz|log-normal|normal" default:"none"`
	Structure      string                          `set:"structure" doc:"structure factor" oneof:"none|hard spheres" default:"none"`
	Smearing       pipeline.Quantity               `set:"smearing" doc:"resolution" unit:"1/nm" words:"from file|none" default:"from file" min:"0"`
	Background     pipeline.Quantity               `set:"background" doc:"constant background" unit:"*" words:"free" default:"free"`
	Fixed          pipeline.Map[pipeline.Quantity] `set:"fixed" doc:"parameters that are not fitted, with their values" unit:"*" default:"-"`
	Range          pipeline.Range                  `set:"range" doc:"part of q that is fitted" unit:"1/nm" words:"all" default:"all" above:"0"`
}

// Validate counts the forms, and holds the fixed names against what there is.
func (s *formSettings) Validate() error {
	if len(s.Form) < 1 || len(s.Form) > 2 {
		return &pipeline.SettingError{Path: "form", Found: fmt.Sprintf("%d forms", len(s.Form)), Expected: "one form, or two that are summed",
			Remedy: "leave the others out"}
	}
	var names []string
	for _, c := range s.columns() {
		names = append(names, c.Name)
	}
	for _, f := range s.Fixed {
		if !slices.Contains(names, f.Key) {
			found, remedy := fault.Unknown("parameter", f.Key, names)
			return &pipeline.SettingError{Path: "fixed." + f.Key, Found: found, Expected: "a parameter of the form: " + strings.Join(names, ", "), Remedy: remedy}
		}
	}
	return nil
}

type correlationSettings struct {
	Model string         `set:"model" doc:"the model" oneof:"correlation length|Teubner-Strey|polyelectrolyte peak"`
	Range pipeline.Range `set:"range" doc:"part of q that is fitted" unit:"1/nm" words:"all" default:"all" above:"0"`
}

type pairDistanceSettings struct {
	DMax     pipeline.Quantity `set:"D-max" doc:"largest distance" unit:"nm" words:"evidence" default:"evidence" above:"0"`
	Strength pipeline.Quantity `set:"strength" doc:"how much smoothness counts" unit:"1" words:"evidence" default:"evidence" above:"0"`
	Points   int               `set:"points" doc:"number of points of the distribution" default:"100" min:"20" max:"1000"`
}

type concentrationSettings struct {
	Concentration pipeline.Field `set:"concentration" doc:"mass concentration" unit:"mg/mL" above:"0"`
}

type contrastSettings struct {
	Radiation      string         `set:"radiation" doc:"what is scattered" oneof:"x-ray|neutron" default:"x-ray"`
	Energy         pipeline.Field `set:"energy" doc:"photon energy, for anomalous scattering" unit:"eV" words:"none" default:"none" above:"0"`
	Formula        pipeline.Field `set:"formula" doc:"chemical formula" unit:"text" literal:"yes"`
	Volume         pipeline.Field `set:"volume" doc:"specific volume" unit:"mL/g" above:"0"`
	Solvent        pipeline.Field `set:"solvent" doc:"formula of the solvent" unit:"text" literal:"yes" default:"H2O"`
	SolventDensity pipeline.Field `set:"solvent-density" doc:"density of the solvent" unit:"g/mL" above:"0"`
}

type massSettings struct {
	Signal        pipeline.ColumnName `set:"signal" doc:"column of the forward intensity" unit:"*" port:"intensity"`
	Concentration pipeline.Field      `set:"concentration" doc:"mass concentration" unit:"mg/mL" above:"0"`
	Known         pipeline.Field      `set:"known" doc:"the mass that it should have" unit:"g/mol" words:"none" default:"none" above:"0" null:"ok"`
}

type compareSettings struct {
	Criterion string  `set:"criterion" doc:"what decides" oneof:"BIC|AICc" default:"BIC"`
	Margin    float64 `set:"margin" doc:"lead below which nothing is decided" default:"6" min:"0"`
}
