package mixing

import (
	"fmt"

	"fascicle/pipeline"
)

// Samples of which one thing went wrong on purpose, so that a reader sees how the report speaks of it.
const (
	emptyFile    = "SN65" // its scattering curve is an empty file
	noResponse   = "SC35" // its acceptor decay was taken behind a filter without a response
	saturated    = "SS75" // its scan excited at 520 nm is over range
	wrongSolvent = "LN25" // its absorbance was taken against another salt's solvent
)

// Broken lists the samples of which something is broken on purpose, and what it is.
func Broken() []string {
	return []string{
		emptyFile + ": the file of its scattering is empty",
		noResponse + ": its decay has no response",
		saturated + ": a scan of its emission is over range",
		wrongSolvent + ": its absorbance was taken against the wrong solvent",
	}
}

// ending is one item that does not come out: a stage's of a sample.
type ending struct{ stage, sample string }

// planned says what does not come out of the study, and how it ends: where something is broken, and what descends from it.
func planned() map[ending]pipeline.State {
	p := map[ending]pipeline.State{
		{"curves_delivered", emptyFile}:    pipeline.Failed,
		{"absorbance_files", wrongSolvent}: pipeline.Blocked, // sheet and file contradict each other
		{"acceptor_lifetimes", noResponse}: pipeline.Blocked,
		{"bands", saturated}:               pipeline.Failed,
	}
	for sample, stages := range map[string][]string{
		emptyFile:    {"particles", "slab", "saxs", "guinier"},
		wrongSolvent: {"absorbance", "emission", "donor_left", "bands", "quenched"},
	} {
		for _, stage := range stages {
			p[ending{stage, sample}] = pipeline.Blocked
		}
	}
	return p
}

// Surprises lists what ended otherwise than planned: items that failed or are blocked and should not, and broken ones that came out.
func Surprises(o *pipeline.Outcome) []string {
	var surprises []string
	seen := map[ending]bool{}
	plan := planned()
	for _, stage := range o.Stages {
		if stage.Kind == nil {
			continue // stages taken together repeat what is said at their members
		}
		for _, item := range stage.Items {
			if item.State.Good() {
				continue
			}
			e := ending{stage.Name, item.Sample}
			if want, ok := plan[e]; !ok || want != item.State {
				surprises = append(surprises, fmt.Sprintf("%s %s is %s", item.Stage, item.Name, item.State))
			}
			seen[e] = true
		}
	}
	for _, stage := range o.Stages { // in the order of the study
		for _, sample := range []string{emptyFile, noResponse, saturated, wrongSolvent} {
			e := ending{stage.Name, sample}
			if want, ok := plan[e]; ok && !seen[e] {
				surprises = append(surprises, fmt.Sprintf("%s of sample %s came out; it should be %s", e.stage, e.sample, want))
			}
		}
	}
	return surprises
}
