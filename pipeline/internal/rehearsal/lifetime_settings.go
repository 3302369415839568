package rehearsal

import (
	"fascicle/pipeline"
)

// convolved is what all kinds share that hold a model, convolved with the response, against a decay.
type convolved struct {
	Estimator     string            `set:"estimator" doc:"what is made small" oneof:"poisson|least squares" default:"poisson"`
	ResponseShape string            `set:"response-shape" doc:"the response as measured, or smoothed" oneof:"measured|smoothed|gaussian" default:"measured"`
	Period        pipeline.Field    `set:"period" doc:"time between pulses" unit:"ns" words:"none" default:"none" above:"0"`
	Cycles        pipeline.Field    `set:"cycles" doc:"number of excitation pulses" unit:"1" words:"none" default:"none" above:"0"`
	Scatter       pipeline.Quantity `set:"scatter" doc:"share of scattered light" unit:"1" words:"free" default:"0" min:"0"`
	Background    pipeline.Quantity `set:"background" doc:"constant background, in counts" unit:"1" words:"free" default:"free" min:"0"`
	ShiftOf       pipeline.Quantity `set:"shift" doc:"shift of the response" unit:"ns" words:"free" default:"free"`
}

// fittedDecay adds what kinds share that fit parameters to a part of a decay.
type fittedDecay struct {
	convolved
	Amplitudes string                          `set:"amplitudes" doc:"signs that amplitudes may have" oneof:"positive|any" default:"positive"`
	Fixed      pipeline.Map[pipeline.Quantity] `set:"fixed" doc:"parameters that are not fitted, with their values" unit:"*" default:"-"`
	Range      pipeline.Range                  `set:"range" doc:"part of the decay that is fitted" unit:"ns" words:"found" default:"found"`
	Intervals  string                          `set:"intervals" doc:"where uncertainties come from" oneof:"covariance|profile|bootstrap" default:"covariance"`
}

type lifetimeFitSettings struct {
	Exponentials int `set:"exponentials" doc:"number of exponentials" default:"1" min:"1" max:"6" unless:"choice"`
	fittedDecay
}

type lifetimeGlobalSettings struct {
	lifetimeFitSettings
	Common string `set:"common" doc:"what the decays share" oneof:"all tau|none" default:"all tau"`
}

type lifetimeStretchedSettings struct{ fittedDecay }

// The decay's own window is called `decay-range` here, since `range` is that of the lifetimes.
type lifetimeDistributionSettings struct {
	convolved
	Intervals  string            `set:"intervals" doc:"where uncertainties come from" oneof:"covariance|profile|bootstrap" default:"covariance"`
	Range      pipeline.Range    `set:"range" doc:"lifetimes that are considered" unit:"ns" above:"0"`
	DecayRange pipeline.Range    `set:"decay-range" doc:"part of the decay that is fitted" unit:"ns" words:"found" default:"found"`
	Method     string            `set:"method" doc:"what is made smooth" oneof:"entropy|curvature" default:"entropy"`
	Lifetimes  int               `set:"lifetimes" doc:"number of lifetimes" default:"100" min:"10" max:"1000"`
	Strength   pipeline.Quantity `set:"strength" doc:"how much smoothness counts" unit:"1" words:"evidence" default:"evidence" above:"0"`
}

type lifetimeTailSettings struct {
	Exponentials int            `set:"exponentials" doc:"number of exponentials" default:"1" min:"1" max:"6" unless:"choice"`
	Estimator    string         `set:"estimator" doc:"what is made small" oneof:"poisson|least squares" default:"poisson"`
	Range        pipeline.Range `set:"range" doc:"part of the decay that is fitted" unit:"ns" words:"found" default:"found"`
}

type lifetimePhasorSettings struct {
	Period   pipeline.Field `set:"period" doc:"time between pulses" unit:"ns" above:"0"`
	Harmonic int            `set:"harmonic" doc:"harmonic of the repetition rate" default:"1" min:"1" max:"10"`
}

type lifetimeAnisotropySettings struct {
	G                pipeline.Field `set:"g" doc:"the instrument's factor" unit:"1" default:"1" above:"0"`
	CorrelationTimes int            `set:"correlation-times" doc:"number of correlation times" default:"1" min:"1" max:"3" unless:"choice"`
	Range            pipeline.Range `set:"range" doc:"part of the decay that is fitted" unit:"ns" words:"found" default:"found"`
}

type lifetimeResponseSettings struct {
	Compare   pipeline.Field    `set:"compare" doc:"field whose values are compared" unit:"key" words:"none" default:"none"`
	Notice    pipeline.Quantity `set:"notice" doc:"drift, as a share of the width, that is worth a remark" unit:"1" words:"none" default:"5 %" above:"0"`
	Tolerance pipeline.Quantity `set:"tolerance" doc:"drift, as a share of the width, that stops what trusts the check" unit:"1" words:"none" default:"20 %" above:"0"`
}

type lifetimeStandardSettings struct {
	Standard  string            `set:"standard" doc:"the standard" oneof:"rhodamine B in water|fluorescein in alkaline water|erythrosin B in water"`
	Notice    pipeline.Quantity `set:"notice" doc:"relative deviation that is worth a remark" unit:"1" words:"combined u|none" default:"combined u" above:"0"`
	Tolerance pipeline.Quantity `set:"tolerance" doc:"relative deviation that stops what trusts the check" unit:"1" words:"none" default:"3 %" above:"0"`
}

type lifetimeChooseSettings struct {
	convolved
	Amplitudes string         `set:"amplitudes" doc:"signs that amplitudes may have" oneof:"positive|any" default:"positive"`
	Range      pipeline.Range `set:"range" doc:"part of the decay that is fitted" unit:"ns" words:"found" default:"found"`
	Most       int            `set:"most" doc:"most exponentials to try" default:"4" min:"1" max:"6"`
	Criterion  string         `set:"criterion" doc:"what decides" oneof:"draws|BIC|AICc" default:"draws"`
	Level      float64        `set:"level" doc:"probability below which one more is believed" default:"5 %" above:"0" below:"1"`
	Draws      int            `set:"draws" doc:"number of drawn decays" default:"200" min:"20" max:"100000"`
}
