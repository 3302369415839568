package firstlook

import (
	"fmt"

	"fascicle/pipeline"
)

// Surprises lists what ended otherwise than planned: failed or blocked items of other samples than the broken one, or nothing
// failed of the broken one. Exactly one item may fail, the import of its empty file; what descends from it may be blocked.
func Surprises(o *pipeline.Outcome) []string {
	var failed int
	var surprises []string
	for _, stage := range o.Stages {
		if stage.Kind == nil {
			continue // stages taken together repeat what is said at their members
		}
		for _, item := range stage.Items {
			switch {
			case item.State.Good():
			case item.Sample != Broken:
				surprises = append(surprises, fmt.Sprintf("%s %s is %s", item.Stage, item.Name, item.State))
			case item.State == pipeline.Failed:
				if failed++; !stage.Kind.Reads {
					surprises = append(surprises, fmt.Sprintf("%s %s failed, not the import of its file", item.Stage, item.Name))
				}
			}
		}
	}
	if failed != 1 {
		surprises = append(surprises, fmt.Sprintf("%d items of sample %s failed, not 1", failed, Broken))
	}
	return surprises
}
