package importing

import (
	"context"
	"strings"
	"testing"

	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// What a person must judge is told apart from what is only worth reading.
func TestRemarkLevels(t *testing.T) {
	minor := []string{"400,0.1\n401,\n402,0.3\n", "400,0.1\n401,NaN\n402,0.3\n", "Gr\xF6\xDFe\n400,0.1\n401,0.2\n402,0.3\n", "400;1.234,5\n401;999,5\n402;12.345,5\n"}
	major := []string{"400,0.1\n401,OVER\n402,0.3\n", "400,0.1\n401,1e999\n402,0.3\n", "1 2 3 4 5\n\n400 1\n401 2\n402 3\n", "400,0.1\n,0.2\n402,0.3\n403,0.3\n"}
	check := func(data string, want pipeline.FlagLevel) {
		n := 0
		var levels []string
		err := readFile(context.Background(), setting{columns: xy}.settings(t), []byte(data), "raw/file", func(_ []pipeline.Captured, _ *table.Table, remarks []pipeline.Remark) error {
			for _, r := range remarks {
				levels = append(levels, string(r.Level)+" "+r.Text)
				if r.Level == want {
					n++
				}
			}
			return nil
		})
		if err != nil {
			t.Errorf("%q: %v", data, err)
		}
		if n == 0 || want == pipeline.Note && n != len(levels) {
			t.Errorf("%q: %s; want %s", data, strings.Join(levels, "; "), want)
		}
	}
	for _, data := range minor {
		check(data, pipeline.Note)
	}
	for _, data := range major {
		check(data, pipeline.Flagged)
	}
}
