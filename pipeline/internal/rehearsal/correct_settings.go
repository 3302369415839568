package rehearsal

import "fascicle/pipeline"

type subtractSettings struct {
	Scale pipeline.Field `set:"scale" doc:"what the background is multiplied by" unit:"1" default:"1"`
	Range pipeline.Range `set:"range" doc:"part of the axis that is kept" unit:"*" words:"all" default:"all"`
}

type scaleSettings struct {
	Inverse bool `set:"inverse" doc:"divide by the factor instead" default:"false"`
}

type pathSettings struct {
	Path pipeline.Field `set:"path" doc:"length of the cell" unit:"mm" above:"0"`
}

type repeatsSettings struct {
	Trend       string  `set:"trend" doc:"what a trend does to the sample" oneof:"fail|flag|ignore" default:"fail"`
	Spikes      string  `set:"spikes" doc:"what happens to spikes" oneof:"list|leave out|ignore" default:"list"`
	FalseAlarms float64 `set:"false-alarms" doc:"how often sound repeats may be doubted" default:"1 %" above:"0" below:"1"`
}

type darkSettings struct {
	Dwell pipeline.Field `set:"dwell" doc:"time for each point" unit:"s" above:"0" words:"equal" default:"equal" also:"dark"`
}

type photonSettings struct {
	Unit string `set:"unit" doc:"what the result counts" oneof:"photons|energy" default:"photons"`
}

type responsivitySettings struct {
	Unit    string `set:"unit" doc:"what the result counts" oneof:"photons|energy" default:"photons"`
	Overlap string `set:"overlap" doc:"how overlapping dyes are joined" oneof:"weighted|first|last" default:"weighted"`
}

type innerFilterSettings struct {
	Geometry   string         `set:"geometry" doc:"where the light meets the cell" oneof:"centre|front face" default:"centre"`
	Effect     string         `set:"effect" doc:"which light is corrected for" oneof:"both|excitation|emission" default:"both"`
	Excitation pipeline.Field `set:"excitation" doc:"excitation wavelength" unit:"nm" above:"0"`
	Path       pipeline.Field `set:"path" doc:"length of the cell" unit:"mm" above:"0"`
	Limit      float64        `set:"limit" doc:"absorbance above which no correction is made" default:"2.0" above:"0"`
}

type turbidSettings struct {
	Range    pipeline.Range    `set:"range" doc:"wavelengths without absorption" unit:"nm" above:"0"`
	Exponent pipeline.Quantity `set:"exponent" doc:"exponent of the background" unit:"1" words:"free" default:"free"`
	Limit    float64           `set:"limit" doc:"absorbance above which a point is left out" default:"3.0" above:"0"`
}

type dilutionSettings struct {
	Factor pipeline.Field `set:"factor" doc:"dilution, 1 or more" unit:"1" min:"1"`
}

type solventBandSettings struct {
	Excitation pipeline.Field    `set:"excitation" doc:"excitation wavelength" unit:"nm" above:"0"`
	Range      pipeline.Range    `set:"range" doc:"where the Raman band lies" unit:"nm" words:"from excitation" default:"from excitation"`
	Width      pipeline.Quantity `set:"width" doc:"width of the window around the band" unit:"1/cm" default:"400 1/cm" above:"0"`
}

type reabsorptionSettings struct {
	Range pipeline.Range `set:"range" doc:"the emission band" unit:"nm"`
	Yield pipeline.Field `set:"yield" doc:"quantum yield" unit:"1" min:"0" max:"1"`
}

type pileupSettings struct {
	Cycles   pipeline.Field    `set:"cycles" doc:"number of excitation pulses" unit:"1" above:"0"`
	DeadTime pipeline.Quantity `set:"dead-time" doc:"dead time of the electronics" unit:"ns" default:"0 ns" min:"0"`
	Limit    float64           `set:"limit" doc:"counts for each pulse above which the decay is refused" default:"5 %" above:"0" max:"1"`
}

type imageSettings struct {
	Exposure     pipeline.Field    `set:"exposure" doc:"exposure time" unit:"s" above:"0" also:"dark"`
	Monitor      pipeline.Field    `set:"monitor" doc:"monitor counts" unit:"1" above:"0" also:"dark"`
	Variance     string            `set:"variance" doc:"where u comes from" oneof:"counting|repeats" default:"counting"`
	PixelShare   string            `set:"pixel-share" doc:"how a pixel is shared among bins" oneof:"whole|divided" default:"whole"`
	Polarisation float64           `set:"polarisation" doc:"degree of polarisation in the plane" default:"0" min:"-1" max:"1"`
	Points       int               `set:"points" doc:"number of bins along q" default:"200" min:"10" max:"10000"`
	Sectors      pipeline.Quantity `set:"sectors" doc:"number of sectors" unit:"1" words:"none" default:"none" min:"2" whole:"yes"`
	Polygons     [][][]float64     `set:"polygons" doc:"areas to leave out, each a list of [x, y] in pixels" default:"-"`
	Hot          pipeline.Quantity `set:"hot" doc:"how many u above its neighbours a pixel is hot" unit:"1" words:"none" default:"none" above:"0"`
	Saturated    float64           `set:"saturated" doc:"counts at which a pixel is full" default:"65535" above:"0"`
}

type correctScatteringSettings struct {
	Thickness      pipeline.Field `set:"thickness" doc:"thickness of the sample" unit:"mm" above:"0" also:"solvent"`
	Transmission   pipeline.Field `set:"transmission" doc:"transmission" unit:"1" above:"0" max:"1" also:"empty,solvent"`
	Exposure       pipeline.Field `set:"exposure" doc:"exposure time" unit:"s" above:"0" words:"done" default:"done" also:"empty,solvent"`
	Monitor        pipeline.Field `set:"monitor" doc:"monitor counts" unit:"1" above:"0" words:"done" default:"done" also:"empty,solvent"`
	VolumeFraction pipeline.Field `set:"volume-fraction" doc:"volume fraction of what is dissolved" unit:"1" default:"0" min:"0" below:"1"`
}
