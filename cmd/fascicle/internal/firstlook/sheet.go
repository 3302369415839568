package firstlook

import (
	"encoding/csv"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"
)

// row is what the simulator needs of one row of the sheet.
type row struct {
	sample, role, salt, day string
	fraction                float64 // of positive charge; 0 for a solvent
}

func (r row) solvent() bool { return r.role == "solvent" }
func (r row) plate() bool   { return r.role == "plate" }
func (r row) mixture() bool { return !r.solvent() && !r.plate() }

// readSheet reads the study's own sheet. The simulator reads it by itself, apart from the code that the program uses.
func readSheet(study fs.FS) ([]row, error) {
	data, err := fs.ReadFile(study, "samples.csv")
	if err != nil {
		return nil, err
	}
	records, err := csv.NewReader(strings.NewReader(string(data))).ReadAll()
	if err != nil {
		return nil, fmt.Errorf("samples.csv: %w", err)
	}
	place := map[string]int{}
	for _, name := range []string{"sample", "role", "salt", "day", "fraction"} {
		i := slices.Index(records[0], name)
		if i < 0 {
			return nil, fmt.Errorf("samples.csv: no column %q", name)
		}
		place[name] = i
	}
	var rows []row
	for _, rec := range records[1:] {
		r := row{sample: rec[place["sample"]], role: rec[place["role"]], salt: rec[place["salt"]], day: rec[place["day"]]}
		if _, ok := salts[r.salt]; !ok && !r.plate() {
			return nil, fmt.Errorf("samples.csv: sample %s: nothing is known of salt %q", r.sample, r.salt)
		}
		if r.mixture() {
			if r.fraction, err = strconv.ParseFloat(rec[place["fraction"]], 64); err != nil {
				return nil, fmt.Errorf("samples.csv: sample %s: fraction: %w", r.sample, err)
			}
		}
		rows = append(rows, r)
	}
	return rows, nil
}
