package catalog

import (
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
)

// Columns with a meaning of their own.
const (
	alsoColumn        = "also"        // other spellings of the samples' names
	preparationColumn = "preparation" // what was made together has one label, throughout the sheet
	dateColumn        = "date"        // of the measurement
)

// A Condition is a combination of values that samples share.
type Condition struct {
	Cells        []Cell        // of its first row, one for each column that was asked for
	Preparations []Preparation // by first appearance; different ones are independent of each other
	Unknown      []string      // samples without a label in the column preparation: nobody knows what they repeat
}

// A Preparation is the samples of one condition that were made together.
type Preparation struct {
	Label   string
	Samples []string // in the order of the sheet; several are repeats of one preparation
	Dates   []string // days in the column date on which they were measured, rising; without those that are not known
}

// Preparations parts the samples by condition, that is by the values in the named columns (numbers that agree in 12 digits are one value), and those of a
// condition by preparation, as the sheet's column `preparation` labels it. Samples without a value in one of the columns
// have no condition and are left over.
//
// Use it to judge reproducibility. Samples of one preparation share its errors of weighing, mixing and ageing: average them first, and take
// their scatter as that of the measurement. Different preparations are independent: the standard deviation of their means, with one degree
// of freedom less than there are preparations, is the reproducibility, and the number of independent preparations is what a reader asks for as
// n. Counting repeats as n makes an uncertainty too small by up to the root of their number (JCGM 100:2008, 4.2, asks for independent observations).
//
// The error, a *fault.Fault, is about a column that the sheet does not have, or a sheet that does not say what was prepared together.
func (s *Sheet) Preparations(columns ...string) (conditions []Condition, left []string, err error) {
	label, ok := s.Column(preparationColumn)
	if !ok {
		return nil, nil, &fault.Fault{File: s.File, Found: "no column preparation", Expected: "one that labels what was made together", Remedy: "add it, with one label for all samples of a preparation"}
	}
	indexes := make([]int, len(columns))
	for i, name := range columns {
		if indexes[i], ok = s.Column(name); !ok {
			names := make([]string, len(s.Columns))
			for j, c := range s.Columns {
				names[j] = c.Name
			}
			found, remedy := fault.Unknown("column", name, names)
			return nil, nil, &fault.Fault{File: s.File, Found: found, Expected: "columns that make a condition", Remedy: remedy}
		}
	}
	date, hasDate := s.Column(dateColumn)
	byKey := map[string]int{}
	var key strings.Builder
rows:
	for i := range s.Rows {
		row := &s.Rows[i]
		key.Reset()
		for _, j := range indexes {
			if row.Cells[j].Null {
				left = append(left, row.Sample)
				continue rows
			}
			text := row.Cells[j].Text
			if s.Columns[j].Type == Numeric {
				text = strconv.FormatFloat(row.Cells[j].Value, 'g', 12, 64)
			}
			key.WriteString(strconv.Quote(text))
		}
		k, ok := byKey[key.String()]
		if !ok {
			k = len(conditions)
			byKey[key.String()] = k
			cells := make([]Cell, len(indexes))
			for n, j := range indexes {
				cells[n] = row.Cells[j]
			}
			conditions = append(conditions, Condition{Cells: cells})
		}
		c := &conditions[k]
		if row.Cells[label].Null {
			c.Unknown = append(c.Unknown, row.Sample)
			continue
		}
		p := c.preparation(row.Cells[label].Text)
		p.Samples = append(p.Samples, row.Sample)
		if hasDate && s.Columns[date].Type == Date && !row.Cells[date].Null {
			day := row.Cells[date].Text[:len(dayForm)]
			if at, again := slices.BinarySearch(p.Dates, day); !again {
				p.Dates = slices.Insert(p.Dates, at, day)
			}
		}
	}
	return conditions, left, nil
}

// preparation finds the preparation with a label, or makes it.
func (c *Condition) preparation(label string) *Preparation {
	i := slices.IndexFunc(c.Preparations, func(p Preparation) bool { return p.Label == label })
	if i < 0 {
		i = len(c.Preparations)
		c.Preparations = append(c.Preparations, Preparation{Label: label})
	}
	return &c.Preparations[i]
}
