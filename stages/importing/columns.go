package importing

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
)

// findColumns finds each named column in the file, and its unit: what the study says, what the file says; if both do, they agree.
func (r *reading) findColumns() error {
	x := r.text
	n := len(x.Columns)
	columns := r.settings.Columns
	if len(columns) == 0 {
		return r.columnsByHeads()
	}
	for _, c := range columns {
		head, unitText, has := catalog.CutUnit(c.Value)
		at := -1
		if _, even := evenAxis(head); (even || head == channelWord) && len(r.at) == 0 {
			at = 0
		} else if k, err := strconv.Atoi(head); err == nil {
			if k < 1 || k > n {
				return fmt.Errorf("line %d: found %d columns; expected column %s as number %d; correct its number under `columns`, or leave it out", x.FirstLine, n, c.Key, k)
			}
			at = k - 1
		} else {
			for i, h := range x.Heads {
				if h.Text == head || h.Name == head {
					if at >= 0 {
						return fmt.Errorf("column %s is headed %q, which the file has twice; give its number instead", c.Key, head)
					}
					at = i
				}
			}
			if at < 0 {
				return fmt.Errorf("no column is headed %q, which is to be %s; the heads are %s; give the head as the file has it, or a number", head, c.Key, headsWord(x.Heads))
			}
		}
		if slices.Contains(r.at, at) {
			return fmt.Errorf("columns: %s is the same column of the file as an earlier one", c.Key)
		}
		if !has && r.headIsUnit(head, at) {
			unitText, has = head, true
		}
		unit, err := r.unit(c.Key, unitText, has, at)
		if err != nil {
			return err
		}
		r.names, r.at, r.units = append(r.names, c.Key), append(r.at, at), append(r.units, unit)
	}
	return nil
}

// headIsUnit says whether a column that the study names by its head, `wavelength: nm`, is headed by its unit alone. Only what can hardly be meant as anything
// else is taken for one: A may be absorbance, min a minimum, PL a luminescence.
func (r *reading) headIsUnit(head string, at int) bool {
	h := r.text.Heads
	if h == nil || h[at].Unit != "" || h[at].Name != head {
		return false
	}
	switch head {
	case "nm", "um", "µm", "Å", "ps", "ns", "us", "µs", "ms", "eV", "cps", "kcps", "Hz", "kHz", "MHz", "mM", "uM", "µM", "mL", "uL", "µL", "°C", "%":
		return true
	}
	if !strings.Contains(head, "/") && !strings.HasSuffix(head, "-1") {
		return false
	}
	u, err := catalog.ParseUnit(head)
	return err == nil && !u.IsOne()
}

func headsWord(heads []Head) string {
	if heads == nil {
		return "not given in this file"
	}
	var out []string
	for _, h := range heads {
		out = append(out, strconv.Quote(h.Text))
	}
	return strings.Join(out, ", ")
}

// unit joins what the study and the file say of a column's unit.
func (r *reading) unit(name, text string, has bool, at int) (catalog.Unit, error) {
	var study, file catalog.Unit
	var err error
	if s := r.settings.AxisUnit; s != "" && len(r.at) == 0 && !has {
		text, has = s, true
	}
	if has {
		if study, err = catalog.ParseUnit(text); err != nil {
			return study, err
		}
	}
	if has && len(r.at) == 0 {
		r.axisHasUnit = true
	}
	if r.text.Heads == nil || r.text.Heads[at].Unit == "" {
		return study, nil
	}
	r.axisHasUnit = r.axisHasUnit || len(r.at) == 0
	h := r.text.Heads[at]
	if file, err = catalog.ParseUnit(h.Unit); err != nil {
		if has {
			r.note("the file's unit of column %s, %q, is not one that is known; the study's, %s, is taken", name, h.Unit, text)
			return study, nil
		}
		return file, fmt.Errorf("the file's unit of column %s: %w; say it in the study: `%s: \"%s [unit]\"`", name, err, name, h.Name)
	}
	if has && !study.Equal(file) {
		return study, fmt.Errorf("column %s is in %s by the study and in %s by the file's head %q; correct the study, or take the unit out of it", name, study.Symbol(), file.Symbol(), h.Text)
	}
	return file, nil
}

// columnsByHeads takes names and units from the file alone. A file that does not name its columns is refused: which is which is never guessed.
func (r *reading) columnsByHeads() error {
	if r.text.Heads == nil {
		return fmt.Errorf("the file does not head its columns (data begin on line %d), and the study does not name them: add `columns: {axis: 1, value: 2}` with their names and units", r.text.FirstLine)
	}
	for i, h := range r.text.Heads {
		if !catalog.IsIdentifier(h.Name) {
			return fmt.Errorf("column %d is headed %q, which cannot be a name: add `columns` with names of letters, digits and _", i+1, h.Text)
		}
		unit, err := r.unit(h.Name, "", false, i)
		if err != nil {
			return err
		}
		if slices.Contains(r.names, h.Name) {
			return fmt.Errorf("two columns are headed %q: add `columns` with their numbers", h.Name)
		}
		r.names, r.at, r.units = append(r.names, h.Name), append(r.at, i), append(r.units, unit)
	}
	return nil
}
