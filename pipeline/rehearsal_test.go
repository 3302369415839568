package pipeline_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"fascicle/pipeline"
	"fascicle/pipeline/internal/rehearsal"
)

// wrong is a way in which a study can be wrong: an edit of the whole example study, and the one fault that it must bring.
type wrong struct {
	name     string
	old, new string // the edit; old stands in the study exactly once
	// at is a piece of the edited study that begins where the fault must point. It is looked for within `new` first, and stands there or
	// else in the whole study exactly once. skip characters of it come before the place.
	at   string
	skip int
	// texts that the fault must contain
	found, expected, remedy []string
}

var wrongStudies = []wrong{
	// words that are not known
	{name: "unknown kind", old: "kind: lifetime.phasor", new: "kind: lifetime.phaser",
		at: "lifetime.phaser", found: []string{`"lifetime.phaser"`}, remedy: []string{"lifetime.phasor"}},
	{name: "unknown key at the top", old: "\nderive: ", new: "\nderived: ",
		at: "derived", found: []string{`"derived"`}, remedy: []string{"derive"}},
	{name: "unknown key of a stage", old: "    by: band\n", new: "    bye: band\n",
		at: "bye", found: []string{`"bye"`}, remedy: []string{"by"}},
	{name: "unknown key of a reference", old: "donor_only && ex == 350, match: [chain, salt, ionic, day]}", new: "donor_only && ex == 350, matches: [chain, salt, ionic, day]}",
		at: "matches", found: []string{`"matches"`}, remedy: []string{"match"}},
	{name: "unknown port", old: "{curve: excitation_raw, flux: excitation_flux}", new: "{curve: excitation_raw, flucks: excitation_flux}",
		at: "flucks", found: []string{`"flucks"`}, expected: []string{"curve", "flux"}, remedy: []string{"flux"}},
	{name: "unknown setting", old: "set: {most: 3}", new: "set: {moist: 3}",
		at: "moist", found: []string{`"moist"`}, expected: []string{"cut-off"}, remedy: []string{"most"}},
	{name: "unknown setting among several", old: "spacing: {anion: spacing.violane", new: "spacings: {anion: spacing.violane",
		at: "spacings", found: []string{`"spacings"`}, remedy: []string{"spacing"}},
	{name: "unknown unit of a constant", old: "capillary: 1.480(8) mm", new: "capillary: 1.480(8) mmm",
		at: "1.480(8) mmm", found: []string{`"mmm"`}, remedy: []string{`"mm"`}},
	{name: "unknown unit of a setting", old: "shift: 2 nm", new: "shift: 2 nnm",
		at: "2 nnm", found: []string{"nnm"}, remedy: []string{`"nm"`}},
	{name: "unknown constant", old: "concentration: level, path: cell", new: "concentration: level, path: sell",
		at: "sell", found: []string{`"sell"`}, remedy: []string{"cell"}},
	{name: "unknown key of a constant", old: "anion: spacing.violane", new: "anion: spacing.violene",
		at: "violene", found: []string{`"violene"`}, remedy: []string{"violane"}},
	{name: "unknown column", old: "set: {column: ratio}", new: "set: {column: ration}",
		at: "ration", found: []string{`"ration"`}, expected: []string{"M", "ratio"}, remedy: []string{"ratio"}},
	{name: "unknown column of a joined stage", old: "y: acceptor_lifetimes.tau_amplitude\n      model", new: "y: acceptor_lifetimes.tau_amplitud\n      model",
		at: "acceptor_lifetimes.tau_amplitud", found: []string{"acceptor_lifetimes.tau_amplitud"}, remedy: []string{"acceptor_lifetimes.tau_amplitude"}},
	{name: "unknown column in a rule", old: "droplets.circularity > 0.85, compositions", new: "droplets.circularty > 0.85, compositions",
		at: "circularty", found: []string{`"circularty"`, "droplets"}, remedy: []string{"circularity"}},
	{name: "unknown field in a where", old: `where: substance == "ambrelle"`, new: `where: substanse == "ambrelle"`,
		at: "substanse", found: []string{`"substanse"`}, remedy: []string{"substance"}},
	{name: "field of other items in a where", old: `{stage: phase_spectra, where: phase == "upper"}`, new: `{stage: phase_spectra, where: band == "upper"}`,
		at: "band", found: []string{`"band"`}},
	{name: "unknown field where a setting wants one", old: "set: {compare: day}", new: "set: {compare: dya}",
		at: "dya", found: []string{`"dya"`}, remedy: []string{"day"}},
	{name: "unknown field in a list of them", old: "within: [chain, salt]", new: "within: [chian, salt]",
		at: "chian", found: []string{`"chian"`}, remedy: []string{"chain"}},
	{name: "field that the partners do not have", old: "dark: dark_scans}\n", new: "dark: dark_scans}\n    set: {dwell: dwell}\n",
		at: "{dwell: dwell}", skip: len("{dwell: "), found: []string{"dwell", "dark_scans"}},
	{name: "unknown field in by", old: "    by: temperature\n", new: "    by: temperatur\n",
		at: "temperatur", found: []string{`"temperatur"`}, remedy: []string{"temperature"}},
	{name: "unknown stage", old: "from: {curve: attenuation}", new: "from: {curve: attenuatoin}",
		at: "attenuatoin", found: []string{`"attenuatoin"`}, remedy: []string{"attenuation"}},
	{name: "unknown stage among several", old: "items: [curves_averaged, curves_delivered]", new: "items: [curves_averaged, curves_deliverd]",
		at: "curves_deliverd", found: []string{`"curves_deliverd"`}, remedy: []string{"curves_delivered"}},
	{name: "unknown output", old: "from: {point: mass}", new: "from: {point: {stage: mass, output: masses}}",
		at: "masses", found: []string{`"masses"`}, remedy: []string{"mass"}},
	{name: "unknown word of a choice", old: "shape: chain, plateaus", new: "shape: chian, plateaus",
		at: "chian", found: []string{`"chian"`}, expected: []string{"compact", "rod"}, remedy: []string{"chain"}},
	{name: "unknown word in a list of words", old: "form: [sphere, Debye chain]", new: "form: [sphere, Debey chain]",
		at: "Debey chain", found: []string{`"Debey chain"`}, remedy: []string{"Debye chain"}},
	{name: "unknown direction", old: "      empty: {stage: curves, where: role == \"empty\", nearest: {taken: before}}\n    serves", new: "      empty: {stage: curves, where: role == \"empty\", nearest: {taken: befor}}\n    serves",
		at: "befor}", found: []string{`"befor"`}, remedy: []string{"before"}},
	{name: "serves by an unknown field", old: "serves: [sample, band]", new: "serves: [sample, bnad]",
		at: "bnad", found: []string{`"bnad"`}, remedy: []string{"band"}},

	// quantities
	{name: "bare number where a unit is needed", old: "set: {smallest: 0.5 µm}", new: "set: {smallest: 0.5}",
		at: "0.5}", found: []string{`"0.5"`, "without a unit"}, remedy: []string{"0.5 µm"}},
	{name: "wrong dimension of a quantity", old: "shift: 2 nm", new: "shift: 2 ns",
		at: "2 ns", found: []string{`"2 ns"`}, expected: []string{"nm"}},
	{name: "wrong dimension of a constant", old: "concentration: level, path: cell", new: "concentration: level, path: pulse_period",
		at: "pulse_period", found: []string{"pulse_period"}, expected: []string{"mm"}},
	{name: "wrong dimension of a field", old: "quencher: acceptor", new: "quencher: temperature",
		at: "temperature", found: []string{"temperature"}, expected: []string{"mol/L"}},
	{name: "a number where a text is due", old: "salt: salt\n", new: "salt: ionic\n",
		at: "ionic", found: []string{`"ionic"`, "no text"}},
	{name: "range that ends before it begins", old: "acceptor-range: [500 nm, 540 nm]", new: "acceptor-range: [540 nm, 500 nm]",
		at: "[540 nm", found: []string{"540 nm", "500 nm"}, remedy: []string{"exchange"}},
	{name: "range of one", old: "acceptor-range: [500 nm, 540 nm]", new: "acceptor-range: [500 nm]",
		at: "[500 nm]", remedy: []string{"[from, to]"}},
	{name: "range out of its dimension", old: "set: {range: [385 nm, 410 nm]}", new: "set: {range: [385 ns, 410 nm]}",
		at: "385 ns", found: []string{"385 ns"}, expected: []string{"nm"}},
	{name: "value out of bounds", old: "set: {most: 3}", new: "set: {most: 9}",
		at: "9}", found: []string{`"9"`}, expected: []string{"at most 6"}},
	{name: "uncertain number where an exact one is due", old: "acceptor-range: [500 nm, 540 nm]", new: "acceptor-range: [500(1) nm, 540 nm]",
		at: "500(1) nm", found: []string{"500(1) nm", "uncertainty"}},
	{name: "required setting missing", old: "    by: [chain, salt]\n    set: {axis: fraction}\n", new: "    by: [chain, salt]\n",
		at: "kind: spectra.change", skip: len("kind: "), found: []string{"`axis`"}, remedy: []string{"axis:", "spectral_change"}},

	// expressions
	{name: "derive of another dimension", old: "chain_mass [g/mol]:", new: "chain_mass [g/L]:",
		at: "g/L", found: []string{"chain_mass", "g/mol"}, expected: []string{"g/L"}},
	{name: "derive in a join of another dimension", old: "tau_change [ns]:", new: "tau_change [nm]:",
		at: "tau_change [nm]", found: []string{"tau_change", "ns"}, expected: []string{"nm"}},
	{name: "sum of different dimensions", old: "polymer [mmol/L]: donor + acceptor", new: "polymer [mmol/L]: donor + temperature",
		at: "temperature", found: []string{"temperature"}},
	{name: "condition that compares a text with a number", old: `ladder: mixture && plan == "ladder"`, new: "ladder: mixture && plan == 3",
		at: "3", found: []string{"3"}},
	{name: "condition that is none", old: `long: chain == "long"`, new: "long: chain",
		at: "long: chain", skip: len("long: "), found: []string{"a text"}, remedy: []string{"compare"}},
	{name: "text with a unit of another dimension", old: `dissolved:
          for: [wells.transmittance > "95 %"`, new: `dissolved:
          for: [wells.transmittance > "95 nm"`,
		at: `"95 nm"`, found: []string{"95 nm"}},

	// the graph
	{name: "stages in a ring", old: `raman: {stage: emission_true,`, new: `raman: {stage: emission_daily,`,
		at: "\n  day_factor:", skip: len("\n  "), found: []string{"day_factor → emission_daily → day_factor", "ring"}, remedy: []string{"reference"}},
	{name: "required port unfed", old: "{curve: excitation_raw, flux: excitation_flux}", new: "{curve: excitation_raw}",
		at: "kind: correct.excitation", skip: len("kind: "), found: []string{"`flux`", "excitation"}, remedy: []string{"flux:"}},
	{name: "no leading port fed", old: "    from: {carbon: glassy_carbon, water: water}\n", new: "",
		at: "kind: calibrate.absolute", skip: len("kind: "), found: []string{"carbon", "water"}},
	{name: "image to a port for curves", old: "from: {curve: saxs, guinier: guinier}", new: "from: {curve: micrographs, guinier: guinier}",
		at: "micrographs", found: []string{"micrographs", "image"}, expected: []string{"a curve", "`curve`"}},
	{name: "wrong unit of an axis", old: "{decay: standard_decays, response: responses}", new: "{decay: standard_decays, response: excitation_flux}",
		at: "excitation_flux", found: []string{"wavelength", "nm"}, expected: []string{"`response`"}, remedy: []string{"ns"}},
	{name: "column missing", old: "{donor: donor_lifetimes, control: donor_alone_lifetimes}", new: "{donor: donor_lifetimes, control: donor_alone}",
		at: "donor_alone", found: []string{"donor_alone"}, remedy: []string{"tau_amplitude"}},
	{name: "match on a field that the partner does not have", old: "where: alone, match: [salt]}", new: "where: alone, match: [plate]}",
		at: "plate", found: []string{`"plate"`, "absorbance_net"}},
	{name: "nearest by a text", old: "      empty: {stage: curves, where: role == \"empty\", nearest: {taken: before}}\n    serves", new: "      empty: {stage: curves, where: role == \"empty\", nearest: {salt: before}}\n    serves",
		at: "{salt: before", skip: 1, found: []string{"`salt`", "a text"}, expected: []string{"date"}},
	{name: "partner that serves nobody", old: "    serves: [day]\n    set: {files: raw/excitation/flux_<day>.csv", new: "    set: {files: raw/excitation/flux_<day>.csv",
		at: "flux: excitation_flux", skip: len("flux: "), found: []string{"excitation_flux", "`flux`"}, remedy: []string{"match:", "serves:"}},
	{name: "two stages of one name", old: "\n  decay_archive:  ", new: "\n  decay_files:  ",
		at: "decay_files:  ", found: []string{`"decay_files"`}},
	{name: "key twice", old: "set: {most: 3}", new: "set: {most: 3, most: 4}",
		at: "most: 4", found: []string{`"most"`}},
	{name: "choice fed and number set", old: "choice: terms}\n    set: {period: pulse_period, scatter: free, cycles: cycles}\n\n  donor_alone", new: "choice: terms}\n    set: {exponentials: 2, period: pulse_period, scatter: free, cycles: cycles}\n\n  donor_alone",
		at: "exponentials", found: []string{"`exponentials`", "`choice`"}},
	{name: "trust that cannot be paired", old: "    trusts: [wavelength_axis, photometer]\n\n", new: "    trusts: [wavelength_axis, response_quality]\n\n",
		at: "response_quality", found: []string{"response_quality", "`band`"}},
	{name: "trust in what checks nothing", old: "trusts: [response_quality, time_scale]", new: "trusts: [response_quality, responses]",
		at: "responses", found: []string{"responses", "import"}},
	{name: "by missing where a list is due", old: "    by: substance\n    set: {concentration: polymer}", new: "    set: {concentration: polymer}",
		at: "kind: spectra.molar", skip: len("kind: "), found: []string{"molar", "`by`"}, remedy: []string{"by:"}},

	// settings that a kind judges as a whole
	{name: "levels that are not whole", old: "set: {most: 3}", new: "set: {most: 3, levels: 2.5}",
		at: "2.5", found: []string{`"2.5"`, "`levels`"}, expected: []string{"whole number"}},
	{name: "three forms", old: "form: [sphere, Debye chain]", new: "form: [sphere, cylinder, Debye chain]",
		at: "[sphere", found: []string{"3 forms"}, expected: []string{"two"}},
	{name: "parameter that the form does not have", old: "set: {form: chain with excluded volume}", new: "set: {form: chain with excluded volume, fixed: {exponant: 0.588}}",
		at: "0.588", found: []string{`"exponant"`}, remedy: []string{"exponent"}},
	{name: "formula without its model", old: "set: {x: vibronic.ratio, y: agreed.E}", new: `set: {x: vibronic.ratio, y: agreed.E, formula: "a * x"}`,
		at: "set: {x: vibronic.ratio", skip: len("set: "), found: []string{"model line", "a * x"}, expected: []string{"model: formula"}},
	{name: "pair of three", old: "pairs: [[CaCl2, NaCl], [Na2SO4, NaCl]]", new: "pairs: [[CaCl2, NaCl, Na2SO4]]",
		at: "[[CaCl2", found: []string{"a pair of 3"}},
	{name: "unknown unit behind a field's number", old: "quencher: acceptor", new: "quencher: 3 mmoll",
		at: "3 mmoll", found: []string{`"mmoll"`}, remedy: []string{`"mmol/L"`}},
	{name: "unknown field behind a number and an operator", old: "quencher: acceptor", new: "quencher: 1 / (1 / aceptor)",
		at: "aceptor", found: []string{`"aceptor"`}, remedy: []string{"acceptor"}},
	{name: "word with an operator that is no text itself", old: "solvent-density: density", new: "solvent-density: density\n      solvent: D2O + H2O",
		at: "D2O +", found: []string{`"D2O"`}},
	{name: "derive in a join with an unknown unit", old: "        tau_change [ns]: acceptor", new: "        tau_change [nss]: acceptor",
		at: "tau_change [nss]", found: []string{`"nss"`}, remedy: []string{`"ns"`}},

	// a fit of a series gives items for each decay and for the series
	{name: "series: column of the other output", old: "\n  holmium:  ", new: `
  in_common: {kind: relation.mean, from: {point: {stage: acceptor_series, output: common}}, set: {column: a_1}}

  holmium:  `, at: "a_1", found: []string{`"a_1"`}, expected: []string{"tau_i"}},
	{name: "series: curve where values are due", old: "\n  holmium:  ", new: `
  in_common: {kind: relation.mean, from: {point: {stage: acceptor_series, output: curve}}, set: {column: tau_1}}

  holmium:  `, at: "acceptor_series", found: []string{"acceptor_series", "curve"}, expected: []string{"values", "`point`"}},

	// agreement over several stages
	{name: "agreement: column that one of the stages lacks", old: "methods: [quenched, shortened, sensitized]", new: "methods: [quenched, shortened, sensitized, transfer_rate]",
		at: "efficiency.agree", found: []string{"`E`", "transfer_rate"}},
	{name: "agreement: column that one of the stages lacks, named", old: "methods: [quenched, shortened, sensitized]}\n    by: sample", new: "methods: [quenched, shortened, sensitized]}\n    by: sample\n    set: {column: residual}",
		at: "residual", found: []string{"`residual`", "shortened"}},
	{name: "agreement: numbers of different units", old: "\n  holmium:  ", new: `
  widths: {kind: relation.mean, from: {point: [vibronic, peak]}, set: {column: width}}

  holmium:  `, at: "width}", found: []string{"`width`", "eV in stage vibronic", "nm⁻¹ in stage peak"}},
	{name: "agreement: of a curve", old: "methods: [quenched, shortened, sensitized]", new: "methods: [quenched, shortened, emission]",
		at: "emission]", found: []string{"emission"}, expected: []string{"values", "`methods`"}},

	// decisions over evidence that may be missing
	{name: "evidence: rule on a stage that is not fed", old: "for: [wells.transmittance > \"95 %\", levels.number == 1]", new: "for: [wells.transmittance > \"95 %\", guinier.Rg_1 > \"5 nm\"]",
		at: "guinier", found: []string{`"guinier"`}},
	{name: "evidence: serves by a field that samples do not have", old: "evidence: [wells, droplets, compositions, levels]", new: "evidence: [wells, droplets, compositions, levels, terms]",
		at: "terms]", found: []string{"terms", "`band`"}, remedy: []string{"match"}},
	{name: "evidence: found in two ways by one reference", old: "evidence: [wells, droplets, compositions, levels]", new: "evidence: {stage: [wells, droplets, compositions, levels, donor_alone_lifetimes]}",
		at: "donor_alone_lifetimes", found: []string{"donor_alone_lifetimes", "wells"}, remedy: []string{"match"}},

	// from a detector's image to a curve
	{name: "image: curve where an image is due", old: "from: {image: images, geometry", new: "from: {image: curves_delivered, geometry",
		at: "curves_delivered", found: []string{"curves_delivered"}, expected: []string{"an image", "`image`"}},
	{name: "image: field that dark images do not have", old: "geometry: geometry, mask: mask}\n    set: {exposure: exposure, monitor: monitor", new: "geometry: geometry, mask: mask, dark: {stage: behenate, only: true}}\n    set: {exposure: exposure, monitor: 1",
		at: "exposure, monitor", found: []string{"exposure", "behenate", "`dark`"}},
	{name: "image: axis of another quantity", old: "\n  holmium:  ", new: `
  rescaled: {kind: correct.scale, from: {curve: frames, axis: {stage: wavelength_axis, match: [day]}}}

  holmium:  `, at: "{stage: wavelength_axis", skip: len("{stage: "), found: []string{"wavelength_axis", "offset in nm", "curve.axis is in nm⁻¹"}},

	// imports
	{name: "import: pattern that does not end", old: "files: raw/micrographs/<sample>_<view>.tif", new: "files: raw/micrographs/<sample>_<view.tif",
		at: "raw/micrographs", found: []string{"<view.tif"}},
	{name: "import: capture twice", old: "files: raw/micrographs/<sample>_<view>.tif", new: "files: raw/micrographs/<view>/<sample>_<view>.tif",
		at: "raw/micrographs", found: []string{"view"}},
	{name: "import: unknown unit of a capture", old: "raw/checks/dichromate_<day>_<level [mg/L]>.dx", new: "raw/checks/dichromate_<day>_<level [mg/LL]>.dx",
		at: "raw/checks", found: []string{"mg/LL"}},
	{name: "import: field as another import does not have it", old: "files: raw/micrographs/<sample>_<view>.tif", new: `files: "raw/micrographs/<sample>_<scan [1]>.tif"`,
		at: `"raw/micrographs`, found: []string{"`scan`", "a pure number"}, expected: []string{"a text"}},
	{name: "import: field that is a stage", old: "files: raw/micrographs/<sample>_<view>.tif", new: "files: raw/micrographs/<sample>_<levels>.tif",
		at: "raw/micrographs", found: []string{"`levels`", "stage"}, remedy: []string{"rename"}},
	{name: "import: unknown unit of a column", old: "v_dense: lower [µL]\n", new: "v_dense: lower [µLL]\n",
		at: "lower [µLL]", found: []string{`"µLL"`}, remedy: []string{`"µL"`}},
	{name: "import: unknown unit in a header", old: `{slit: "band pass [nm]", dwell: "dwell [ms]"}`, new: `{slit: "band pass [nnm]", dwell: "dwell [ms]"}`,
		at: `"band pass [nnm]"`, found: []string{`"nnm"`}, remedy: []string{`"nm"`}},

	// relations over everything
	{name: "relation: words where numbers are due", old: "without: fraction", new: "without: states.state",
		at: "states.state", found: []string{"states.state", "a text"}, expected: []string{"number"}},
	{name: "relation: expression that is no number", old: "set: {x: vibronic.ratio, y: agreed.E}", new: "set: {x: vibronic.ratio > 1, y: agreed.E}",
		at: "vibronic.ratio > 1", found: []string{"vibronic.ratio > 1", "a yes or no"}, expected: []string{"number"}},
	{name: "relation: column of a stage that is not joined", old: "set: {x: vibronic.ratio, y: agreed.E}", new: "set: {x: vibronic.ratio, y: peak.d}",
		at: "peak.d", found: []string{`"peak.d"`}},
	{name: "relation: joined over groups that have no sample", old: "values: [solution, states,", new: "values: [windows, solution, states,",
		at: "windows", found: []string{"windows", "`values`"}, remedy: []string{"match"}},

	// calibrations by date
	{name: "date: on one side alone", old: "from: {curve: emission_true, factor: day_factor}", new: "from: {curve: emission_true, factor: {stage: day_factor, nearest: {taken: before}}}",
		at: "taken", found: []string{`"taken"`}},
	{name: "date: two that are not compared", old: "      empty: {stage: curves, where: role == \"empty\", nearest: {taken: before}}\n    serves", new: "      empty: {stage: curves, where: role == \"empty\", match: {taken: sample}}\n    serves",
		at: "taken: sample", found: []string{"`taken`", "a date", "`sample`", "a text"}},

	// what YAML misreads, and the sheet
	{name: "unit in brackets without quotes", old: `{wavelength: "lambda [nm]",`, new: `{wavelength: lambda [nm],`,
		at: "lambda [nm]", remedy: []string{"quote"}},
	{name: "brackets alone without quotes", old: `{wavelength: "lambda [nm]",`, new: `{wavelength: [nm],`,
		at: "[nm]", remedy: []string{"quote"}},
	{name: "question mark without quotes", old: `"(acceptor_only ? 30 : long ? 60 : 12) * unit_mass[substance]"`, new: `(acceptor_only ? 30 : long ? 60 : 12) * unit_mass[substance]`,
		at: "(acceptor_only", remedy: []string{"quote"}},
	{name: "no such sheet", old: "samples: samples.csv", new: "samples: sample.csv",
		at: "sample.csv", found: []string{"sample.csv", "no such file"}},
}

// edit is a way to write the study that is right as well.
type edit struct{ name, old, new string }

// stage adds a stage to the graph.
func stage(name, text string) edit { return edit{name, "\n  holmium:  ", text + "\n\n  holmium:  "} }

var rightStudies = []edit{
	{"as it is", "study: Mixing", "study: Mixing"},
	{"open range", "range: [540 nm, 760 nm], free-origin", "range: [540 nm, -], free-origin"},
	{"other units", "range: [385 nm, 410 nm]", "range: [3850 Å, 0.41 µm]"},
	{"constant for a quantity", "shift: 2 nm", "shift: xray"},
	{"expression for a field", "quencher: acceptor", "quencher: acceptor * 2"},
	{"match in pairs", "where: alone, match: [salt]}", "where: alone, match: {salt: salt}}"},
	{"groups by another capture", "set: {compare: day}", "set: {compare: band}"},
	{"number in place of a choice", "response: responses, choice: terms}\n    set: {period: pulse_period, scatter: free, cycles: cycles}\n\n  donor_alone",
		"response: responses}\n    set: {exponentials: 2, period: pulse_period, scatter: free, cycles: cycles}\n\n  donor_alone"},
	{"groups of texts and numbers", "matched: [fraction]", "matched: [fraction, chain]"},
	{"groups by a number", "within: [chain, salt]", "within: [chain, temperature]"},
	{"named output", "from: {point: mass}", "from: {point: {stage: mass, output: mass}}"},
	{"reference in a list", "from: {curve: attenuation}", "from: {curve: [{stage: attenuation, where: long}]}"},
	{"stages in one reference", "curve: [absorbance_text, absorbance_book]", "curve: {stage: [absorbance_text, absorbance_book]}"},
	{"unit that files decide", `evidence: [wells, droplets, compositions, levels]
    set:
      rules:
        dissolved:
          for: [`, `evidence: [wells, droplets, compositions, levels, bands]
    set:
      rules:
        dissolved:
          for: [bands.area > "5 nm/s", `},
	{"columns that files decide", `columns: {transmittance: "1 [%]"}`, "layout: plate"},
	{"quotient that begins with a number", "quencher: acceptor", "quencher: 1 / (1 / acceptor)"},
	{"a text in quotes where a word is the text itself", "solvent-density: density", "solvent-density: density\n      solvent: '\"D2O\"'"},
	{"a word that is the text itself", "solvent-density: density", "solvent-density: density\n      solvent: D2O"},
	{"whole number of levels", "set: {most: 3}", "set: {most: 3, levels: 2}"},
	{"parameter of the form fixed", "set: {form: chain with excluded volume}", "set: {form: chain with excluded volume, fixed: {exponent: 0.588}}"},
	{"derived without a unit", "        tau_change [ns]: acceptor", "        tau_change: acceptor"},
	{"derived into another unit of its kind", "        tau_change [ns]: acceptor", "        tau_change [ps]: acceptor"},

	// a fit of a series gives items for each decay and for the series
	stage("series: what is in common", `
  in_common: {kind: relation.mean, from: {point: {stage: acceptor_series, output: common}}, set: {column: tau_2}}`),
	stage("series: what each decay has", `
  amplitudes: {kind: relation.fit, from: {point: {stage: acceptor_series, output: fit}}, by: [chain, salt], set: {x: fraction, y: a_1}}`),
	stage("series: both outputs joined", `
  with_series:
    kind: relation.join
    from: {sample: {stage: samples, where: mixing}, values: [acceptor_series, {stage: acceptor_series, output: common, match: [chain, salt]}]}`),

	// agreement over several stages
	{"agreement: column named", "methods: [quenched, shortened, sensitized]}\n    by: sample", "methods: [quenched, shortened, sensitized]}\n    by: sample\n    set: {column: E}"},
	{"agreement: in one reference", "methods: [quenched, shortened, sensitized]", "methods: {stage: [quenched, shortened, sensitized], where: long}"},

	// decisions over evidence that may be missing
	{"evidence: rules of the program", "evidence: [wells, droplets, compositions, levels]\n    set:\n      rules:\n", "evidence: [wells, droplets, compositions, levels]\n\n  ruled:\n    kind: phase.state\n    from:\n      sample: {stage: samples, where: mixture}\n      evidence: [wells, droplets, compositions, levels]\n    set:\n      rules:\n"},
	{"evidence: some samples alone", "evidence: [wells, droplets, compositions, levels]", "evidence: [wells, droplets, compositions, {stage: levels, where: ladder}]"},
	{"evidence: fields of the sample", "against: [droplets.percolating > 0.5]", "against: [droplets.percolating > 0.5, ionic > \"1 mol/L\" && compositions.balance < 0.9]"},
	{"evidence: found by the fields that it serves", `evidence: [wells, droplets, compositions, levels]
    set:
      rules:
        dissolved:
          for: [`, `evidence: [wells, droplets, compositions, levels, donor_alone_lifetimes]
    set:
      rules:
        dissolved:
          for: [donor_alone_lifetimes.tau_amplitude > "1 ns", `},
	{"evidence: found by fields that the reference names", `evidence: [wells, droplets, compositions, levels]
    set:
      rules:
        dissolved:
          for: [`, `evidence: [wells, droplets, compositions, levels, {stage: windows, match: [chain, salt]}]
    set:
      rules:
        dissolved:
          for: [fraction < windows.opens, `},

	// from a detector's image to a curve
	{"image: dark image of the same day", "geometry: geometry, mask: mask}", "geometry: geometry, mask: mask, dark: {stage: images, where: role == \"empty\", match: [day], nearest: {taken: before}}}"},
	stage("image: sectors", `
  sectors: {kind: scattering.frames, from: {frame: {stage: frames, output: sectors}}, by: [sample, frame]}`),
	stage("image: axis of a curve from the rings", `
  rescaled: {kind: correct.scale, from: {curve: curves_delivered, axis: {stage: geometry, output: axis, only: true}}}`),
	{"image: rings of a curve", "from: {image: behenate}", "from: {image: curves_delivered}"},

	// imports
	{"import: one curve from the files of several days", "files: raw/decay/standard_<day>.csv", "files: raw/decay/standard_<day>_*.csv"},
	{"import: captures of every sort", "files: raw/micrographs/<sample>_<view>.tif", "files: \"raw/micrographs/<shot [date]>/<sample>_<view>_<zoom [1]>_<depth [µm]>.tif\""},
	{"import: constant with a unit", "fields: {band: acceptor}", "fields: {band: acceptor, power: 2.5 mW}"},

	// relations over everything
	stage("relation: rows joined again", `
  again:
    kind: relation.join
    from: {sample: by_sample, values: [peak, invariant]}
    set: {derive: {length: "peak.d / pair_distance.Rg", "gain [%]": agreed.E - quenched.E}}`),
	stage("relation: numbers of several stages and fields", `
  everything:
    kind: relation.components
    from: {row: by_sample}
    set: {columns: [wells.transmittance, fraction, tau_change, droplets.radius / levels.Rg_2, log(levels.Rg_1 / pair_distance.Rg)], number: 4}`),
	stage("relation: groups of an expression", `
  grouped:
    kind: relation.correlate
    from: {row: by_sample}
    set: {columns: [agreed.E, vibronic.ratio], within: [chain, "temperature > \"30 °C\" ? \"warm\" : \"cold\""], without: [fraction, ionic]}`),

	{"relation: the day's instrument beside each sample", "values: [solution, states,", "values: [wavelength_axis, solution, states,"},
	{"relation: what a series says beside each of its samples", "values: [solution, states,", "values: [{stage: windows, match: [chain, salt]}, solution, states,"},

	// calibrations by date
	{"date: calibration of the nearest", "    serves: [day]\n    set: {range: [385 nm, 410 nm]}\n\n  emission_daily:\n    kind: correct.scale\n    from: {curve: emission_true, factor: day_factor}",
		"    set: {range: [385 nm, 410 nm]}\n\n  emission_daily:\n    kind: correct.scale\n    from: {curve: emission_true, factor: {stage: day_factor, nearest: {date: either}}}"},
	{"date: the nearest of one kind of salt", "    serves: [day]\n    set: {range: [385 nm, 410 nm]}\n\n  emission_daily:\n    kind: correct.scale\n    from: {curve: emission_true, factor: day_factor}",
		"    set: {range: [385 nm, 410 nm]}\n\n  emission_daily:\n    kind: correct.scale\n    from: {curve: emission_true, factor: {stage: day_factor, match: [day], nearest: {date: before}}}"},
	{"date: of the same day, then before", "from: {curve: emission_true, factor: day_factor}", "from: {curve: emission_true, factor: {stage: day_factor, nearest: {date: before}}}"},
	{"order of stages", "\n  holmium:  ", "\n  later:\n    kind: relation.mean\n    from: {point: mass}\n    set: {column: M}\n\n  holmium:  "},
}

// example reads the whole example study, which lies beside the open data.
func example(t *testing.T) (text string, sheet []byte) {
	t.Helper()
	data := os.Getenv("FASCICLE_OPEN_DATA")
	if data == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	dir := filepath.Join(data, "..", "example-study")
	b, err := os.ReadFile(filepath.Join(dir, "study.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	sheet, err = os.ReadFile(filepath.Join(dir, "samples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	return string(b), sheet
}

func writeStudy(t *testing.T, text string, sheet []byte) (dir string) {
	t.Helper()
	dir = t.TempDir()
	for name, data := range map[string][]byte{"study.yaml": []byte(text), "samples.csv": sheet} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

func TestRightStudies(t *testing.T) {
	text, sheet := example(t)
	for _, r := range rightStudies {
		t.Run(r.name, func(t *testing.T) {
			if n := strings.Count(text, r.old); n != 1 {
				t.Fatalf("the study contains %q %d times", r.old, n)
			}
			p, faults := pipeline.Load(writeStudy(t, strings.Replace(text, r.old, r.new, 1), sheet), rehearsal.Kinds())
			for _, f := range faults {
				t.Error(f)
			}
			if p == nil && len(faults) == 0 {
				t.Error("neither project nor faults")
			}
		})
	}
}

func TestWrongStudies(t *testing.T) {
	text, sheet := example(t)
	for _, w := range wrongStudies {
		t.Run(w.name, func(t *testing.T) {
			if n := strings.Count(text, w.old); n != 1 {
				t.Fatalf("the study contains %q %d times", w.old, n)
			}
			edited := strings.Replace(text, w.old, w.new, 1)
			line, col := w.place(t, text, edited)
			_, faults := pipeline.Load(writeStudy(t, edited, sheet), rehearsal.Kinds())
			if len(faults) != 1 {
				t.Errorf("%d faults, want one, which the others follow from", len(faults))
				for _, f := range faults {
					t.Log(f)
				}
			}
			if len(faults) == 0 {
				return
			}
			f := faults[0]
			if f.File != "study.yaml" || f.Line != line || f.Col != col {
				t.Errorf("fault at %s:%d:%d, want study.yaml:%d:%d: %v", f.File, f.Line, f.Col, line, col, f)
			}
			for _, c := range []struct {
				name, text string
				want       []string
			}{{"found", f.Found, w.found}, {"expected", f.Expected, w.expected}, {"remedy", f.Remedy, w.remedy}} {
				for _, want := range c.want {
					if !strings.Contains(c.text, want) {
						t.Errorf("%s is %q, which does not contain %q", c.name, c.text, want)
					}
				}
			}
		})
	}
}

// place gives line and column, in characters from 1, at which the fault must be.
func (w *wrong) place(t *testing.T, text, edited string) (line, col int) {
	t.Helper()
	at := -1
	if i := strings.Index(w.new, w.at); i >= 0 {
		if strings.Count(w.new, w.at) != 1 {
			t.Fatalf("the edit contains %q more than once", w.at)
		}
		at = strings.Index(text, w.old) + i
	} else if strings.Count(edited, w.at) == 1 {
		at = strings.Index(edited, w.at)
	} else {
		t.Fatalf("the edited study contains %q %d times", w.at, strings.Count(edited, w.at))
	}
	before := edited[:at+w.skip]
	start := strings.LastIndexByte(before, '\n') + 1
	return strings.Count(before, "\n") + 1, utf8.RuneCountInString(before[start:]) + 1
}
