package mixing

import (
	"encoding/csv"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strconv"
	"strings"
)

// row is what the simulator needs of one row of the sheet.
type row struct {
	sample, role, plan, chain, salt, day string
	ionic                                float64 // mol/L
	fraction                             float64 // of positive charge; of mixtures alone
	warm                                 bool    // at 45 °C
	donor, acceptor, total               volume
}

// volume in µL as the sheet states it, with its standard uncertainty.
type volume struct{ value, u float64 }

func (r row) mixture() bool      { return r.role == "mixture" }
func (r row) mixing() bool       { return r.mixture() && r.plan == "ratio" }
func (r row) ladder() bool       { return r.mixture() && r.plan == "ladder" }
func (r row) donorOnly() bool    { return r.role == "donor" }
func (r row) acceptorOnly() bool { return r.role == "acceptor" }
func (r row) alone() bool        { return r.donorOnly() || r.acceptorOnly() }
func (r row) solvent() bool      { return r.role == "solvent" }
func (r row) carbon() bool       { return r.role == "carbon" }

// liquid tells whether the row goes through all instruments but the plate reader.
func (r row) liquid() bool { return r.mixing() || r.alone() || r.solvent() }

// series names the series of a mixture along the mixing ratio.
func (r row) series() string { return r.chain + " " + r.salt }

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
	for _, name := range []string{"sample", "role", "plan", "chain", "salt", "ionic [mol/L]", "fraction", "v_donor [µL]", "v_acceptor [µL]", "v_total [µL]", "temperature [°C]", "day"} {
		if place[name] = slices.Index(records[0], name); place[name] < 0 {
			return nil, fmt.Errorf("samples.csv: no column %q", name)
		}
	}
	var rows []row
	for _, record := range records[1:] {
		text := func(name string) string { return record[place[name]] }
		var bad error
		number := func(name string) volume {
			v, err := parseNumber(text(name))
			if err != nil && bad == nil {
				bad = fmt.Errorf("samples.csv: sample %s: %s: %w", text("sample"), name, err)
			}
			return v
		}
		r := row{sample: text("sample"), role: text("role"), plan: text("plan"), chain: text("chain"), salt: text("salt"), day: text("day"),
			ionic: number("ionic [mol/L]").value, fraction: number("fraction").value, warm: number("temperature [°C]").value > 30,
			donor: number("v_donor [µL]"), acceptor: number("v_acceptor [µL]"), total: number("v_total [µL]")}
		if bad != nil {
			return nil, bad
		}
		if _, ok := natures[r.series()]; r.mixture() && !ok {
			return nil, fmt.Errorf("samples.csv: sample %s: nothing is known of %s chains in %s", r.sample, r.chain, r.salt)
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// parseNumber reads 12.3 and 12.3(4); nothing is 0.
func parseNumber(s string) (volume, error) {
	if s == "" {
		return volume{}, nil
	}
	text, rest, uncertain := strings.Cut(s, "(")
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || !uncertain {
		return volume{value: v}, err
	}
	digits, err := strconv.ParseFloat(strings.TrimSuffix(rest, ")"), 64)
	if err != nil {
		return volume{}, err
	}
	_, decimals, _ := strings.Cut(text, ".")
	return volume{v, digits * math.Pow10(-len(decimals))}, nil
}
