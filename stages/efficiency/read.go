package efficiency

import (
	"fmt"
	"math"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

// named is a number as an item gave it.
type named struct {
	Known
	name, unit string
	parts      []float64 // what each source of the call does to it; nil in shifted calls
	sure       bool      // own part and parts are known
}

// readKnown takes a number with its uncertainty and bounds out of an item, in a
// unit ("": as it is). An expression has the own uncertainty that its columns
// have together; a bound it cannot follow, and refuses.
func readKnown(call *pipeline.Call, n pipeline.ColumnName, in *pipeline.Input, port, unit string) (named, error) {
	cell, err := call.Column(n, in)
	if err != nil {
		return named{}, fmt.Errorf("port `%s`: %w", port, err)
	}
	if cell.Unit == "" {
		return named{}, fmt.Errorf("port `%s`: %s holds words; expected a number", port, n.Name)
	}
	k := named{name: n.Name, unit: cell.Unit, Known: Known{Value: cell.Value, U: math.NaN(), Lo: math.NaN(), Hi: math.NaN()}}
	if in.Table.Col(n.Name) == nil {
		if b := boundWithin(n.Name, in.Table); b != "" {
			return named{}, fmt.Errorf("port `%s`: %s is only a bound for this item, which the expression `%s` cannot follow; name the column itself", port, b, n.Name)
		}
	} else {
		k.companions(in.Table)
	}
	if !cell.Known && k.Bound != Interval || k.Bound == Interval && !(k.Lo <= k.Hi) {
		return named{}, fmt.Errorf("port `%s`: %s has no value for this item; look at the stage that made it", port, n.Name)
	}
	if call.Choices == nil && cell.Known {
		if err := k.uncertain(call, n, in); err != nil {
			return named{}, fmt.Errorf("port `%s`: %w", port, err)
		}
	}
	if unit != "" && unit != cell.Unit {
		if err := k.convert(unit); err != nil {
			return named{}, fmt.Errorf("port `%s`: %s: %w", port, n.Name, err)
		}
	}
	return k, nil
}

// companions takes what accompanies a column: its uncertainty, degrees of freedom and bound.
func (k *named) companions(t *table.Table) {
	at := func(name string) float64 {
		c := t.Col(name)
		if c == nil || c.Type != table.Float || c.IsNull(0) {
			return math.NaN()
		}
		return c.Floats[0]
	}
	k.U = at("u_" + k.name)
	if nu := at("nu_" + k.name); nu > 0 {
		k.Nu = nu
	}
	switch textAt(t, k.name+"_bound") {
	case "lower":
		k.Bound = Lower
	case "upper":
		k.Bound = Upper
	case "interval":
		k.Bound = Interval
		k.Value, k.Lo, k.Hi = math.NaN(), at(k.name+"_lo"), at(k.name+"_hi")
	}
}

func textAt(t *table.Table, name string) string {
	c := t.Col(name)
	if c == nil || c.Type != table.Text || c.IsNull(0) {
		return ""
	}
	return c.Texts[0]
}

// boundWithin finds a column that an expression names and that is only a bound, "" where there is none.
func boundWithin(expression string, t *table.Table) string {
	words := strings.FieldsFunc(expression, func(r rune) bool {
		return r != '_' && (r < '0' || r > '9') && (r < 'a' || r > 'z') && (r < 'A' || r > 'Z')
	})
	for _, w := range words {
		if textAt(t, w+"_bound") != "" {
			return w
		}
	}
	return ""
}

// uncertain works out the own uncertainty and what the call's sources do to the number. Shifted calls have no need of either: what they
// decide by is kept, and the runner keeps own parts.
func (k *named) uncertain(call *pipeline.Call, n pipeline.ColumnName, in *pipeline.Input) error {
	j, err := call.JointOf([]*pipeline.Input{in}, n)
	if err != nil {
		return err
	}
	k.sure, k.parts = j.Sure[0], j.Parts
	if math.IsNaN(k.U) && k.sure {
		k.U = math.Sqrt(j.OwnCovariance()[0])
	}
	k.sure = k.sure && !math.IsNaN(k.U)
	return nil
}

// convert turns a number into another unit.
func (k *named) convert(code string) error {
	from, err := catalog.ParseUnit(k.unit)
	if err != nil {
		return err
	}
	to, err := catalog.ParseUnit(code)
	if err != nil {
		return err
	}
	c, err := catalog.Convert(from, to)
	if err != nil {
		return fmt.Errorf("%w; give columns of one quantity as `signal` and `control-signal`", err)
	}
	k.Value, k.Lo, k.Hi, k.U, k.unit = c.Float(k.Value), c.Float(k.Lo), c.Float(k.Hi), c.Delta(k.U), code
	for i, p := range k.parts {
		k.parts[i] = c.Delta(p)
	}
	return nil
}

// take takes a donor's and its control's numbers.
func (d *Donor) take(donor, control named) {
	d.Signal, d.Control = donor.Known, control.Known
	d.Unsure = !donor.sure || !control.sure
	d.Parts, d.ControlParts = donor.parts, control.parts
	if len(d.Parts) != len(d.ControlParts) { // a number that is an interval has no parts
		d.Parts, d.ControlParts, d.Unsure = nil, nil, true
	}
}
