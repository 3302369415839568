package importing

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline/table"
)

// noise says where the uncertainty of a column comes from when no column holds it.
type noise struct {
	word     string // "", "poisson", "repeats" or "unknown"
	relative float64
	absolute *catalog.Number
}

func parseNoise(s string) (noise, error) {
	switch s = strings.TrimSpace(s); s {
	case "poisson", "repeats", "unknown":
		return noise{word: s}, nil
	}
	rest, relative := strings.CutPrefix(s, "relative ")
	n, err := catalog.ParseNumber(rest)
	if err != nil {
		return noise{}, fmt.Errorf("%q: a quantity, `relative 0.5 %%`, poisson, repeats or unknown is expected", s)
	}
	if n.Value < 0 {
		return noise{}, fmt.Errorf("%q: an uncertainty cannot be negative", s)
	}
	if !relative {
		return noise{absolute: &n}, nil
	}
	in, err := n.In(catalog.Unit{})
	if err != nil {
		return noise{}, fmt.Errorf("%q: a relative uncertainty has no unit but %%", s)
	}
	return noise{relative: in.Value}, nil
}

// addNoise adds the uncertainties that the study says of columns.
func (r *reading) addNoise(t *table.Table, rows []int) error {
	for _, u := range r.settings.U {
		n, err := parseNoise(u.Value)
		if err != nil {
			return err
		}
		c := t.Col(u.Key)
		if c == nil {
			return fmt.Errorf("u: the file has no column %s; it has %s", u.Key, strings.Join(t.Names(), ", "))
		}
		at := slices.Index(r.names, u.Key)
		out := make([]float64, c.Len())
		valid := slices.Clone(c.Valid)
		switch {
		case n.word == "unknown":
			continue
		case n.word == "poisson":
			for i, x := range c.Floats {
				if c.IsNull(i) {
					continue
				}
				if x < 0 || x != math.Trunc(x) {
					return fmt.Errorf("line %d: u: poisson for column %s, which holds %v: counts are whole and not negative; say how its uncertainty is known", r.text.Line(rows[i]), u.Key, x)
				}
				out[i] = math.Sqrt(math.Max(x, 1))
			}
		case n.word == "repeats":
			r.addScatter(t, u.Key, rows)
			continue
		case n.absolute != nil && !n.absolute.HasUnit && at >= 0:
			conv, err := r.inside(at)
			if err != nil {
				return err
			}
			for i := range out {
				out[i] = conv.Delta(n.absolute.Value)
			}
		case n.absolute != nil:
			unit, err := catalog.ParseUnit(c.Unit)
			if err != nil {
				return err
			}
			in, err := n.absolute.In(unit)
			if err != nil {
				return fmt.Errorf("u: column %s: %w", u.Key, err)
			}
			for i := range out {
				out[i] = in.Value
			}
		default:
			for i, x := range c.Floats {
				out[i] = math.Abs(x) * n.relative
			}
		}
		t.AddFloatValid("u_"+u.Key, c.Unit, out, valid)
	}
	return nil
}
