package importing

import "fmt"

// AxisError is a fault of a curve's axis.
type AxisError struct {
	LineError
	Row       int  // from 0
	Duplicate bool // the value equals the one of the row before
}

func (e *AxisError) Unwrap() error { return &e.LineError }

// CheckAxis says whether an axis rises (true) or falls (false) strictly from
// row to row. The direction is that of the majority of steps, so that a single
// wrong row is the one reported. line gives the line of a row (from 0); nil
// counts rows from 1.
//
// Errors are *AxisError: the first row that holds no number, equals the row
// before, or turns back; an axis of fewer than two rows.
func CheckAxis(axis []float64, valid []bool, line func(row int) int) (rising bool, err error) {
	if line == nil {
		line = func(row int) int { return row + 1 }
	}
	fault := func(row int, found, expected, remedy string, dup bool) error {
		return &AxisError{LineError{line(row), found, expected, remedy}, row, dup}
	}
	if len(axis) < 2 {
		return false, &AxisError{LineError{0, "an axis of " + count(len(axis), "row"), "at least two", "look at the file"}, 0, false}
	}
	up, down := 0, 0
	for i, x := range axis {
		if valid != nil && !valid[i] || x-x != 0 {
			return false, fault(i, "no number on the axis", "a number in every row", "mend the line or take it out", false)
		}
		if i > 0 {
			switch prev := axis[i-1]; {
			case x > prev:
				up++
			case x < prev:
				down++
			}
		}
	}
	rising = up >= down
	word := "above"
	if !rising {
		word = "below"
	}
	for i := 1; i < len(axis); i++ {
		x, prev := axis[i], axis[i-1]
		switch {
		case x == prev:
			return rising, fault(i, fmt.Sprintf("%v on the axis, as on line %d", x, line(i-1)), "every value once", "take one of the two lines out, or say how duplicates are joined", true)
		case (x > prev) != rising:
			return rising, fault(i, fmt.Sprintf("%v on the axis after %v on line %d", x, prev, line(i-1)), fmt.Sprintf("a value %s it", word), "mend the line, or split the file into its curves", false)
		}
	}
	return rising, nil
}
