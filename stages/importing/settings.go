package importing

import (
	"fmt"
	"slices"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
	"fascicle/pipeline/formula"
)

// FilesPattern is the pattern of the files.
func (s *importSettings) FilesPattern() string { return s.Files }

// Brings lists the fields that captures, header entries and constants of the stage give its items.
func (s *importSettings) Brings() ([]pipeline.Brought, error) {
	files, err := catalog.ParsePattern(s.Files)
	if err != nil {
		return nil, err
	}
	out := broughtBy(files, "files")
	if s.Curves != "" {
		curves, err := catalog.ParseNamePattern(s.Curves)
		if err != nil {
			return nil, err
		}
		out = append(out, broughtBy(curves, "curves")...)
	}
	for _, h := range s.Header {
		b := pipeline.Brought{Name: h.Key, Sort: formula.Text, Where: "header"}
		switch _, unit, has := catalog.CutUnit(h.Value); {
		case has && unit == "date":
			b.Sort = formula.Date
		case has:
			u, err := catalog.ParseUnit(unit)
			if err != nil {
				return nil, fmt.Errorf("header %s: %w", h.Key, err)
			}
			b.Sort, b.Unit, b.HasUnit = formula.Number, u, true
		}
		out = append(out, b)
	}
	for _, f := range s.Fields {
		b := pipeline.Brought{Name: f.Key, Sort: formula.Text, Where: "fields", Value: f.Value}
		if n, err := catalog.ParseNumber(f.Value); err == nil {
			b.Sort, b.Unit, b.HasUnit = formula.Number, n.Unit, n.HasUnit
		}
		out = append(out, b)
	}
	for i, b := range out {
		if slices.ContainsFunc(out[:i], func(e pipeline.Brought) bool { return e.Name == b.Name }) {
			return nil, fmt.Errorf("the field %s comes twice, the second time from `%s`", b.Name, b.Where)
		}
	}
	return out, nil
}

// broughtBy lists the fields that a pattern captures.
func broughtBy(p *catalog.Pattern, where string) []pipeline.Brought {
	var out []pipeline.Brought
	for _, c := range p.Captures() {
		b := pipeline.Brought{Name: c.Name, Sort: formula.Text, Unit: c.Unit, HasUnit: c.HasUnit, Where: where}
		switch c.Type {
		case catalog.Numeric:
			b.Sort = formula.Number
		case catalog.Date:
			b.Sort = formula.Date
		}
		out = append(out, b)
	}
	return out
}

// OutputForm is the form of the items: values where each row is an item, else curves.
func (s *importSettings) OutputForm() pipeline.Form {
	if s.image() {
		return pipeline.Image
	}
	if s.lines() {
		return pipeline.Values
	}
	return pipeline.Curve
}

// lines says that each row, or well, of the files is an item of values.
func (s *importSettings) lines() bool {
	return s.Layout == string(Lines) || s.Layout == string(Plate) || s.image()
}

// Validate holds names, units and uncertainties against each other.
func (s *importSettings) Validate() error {
	if err := s.validateCurves(); err != nil {
		return err
	}
	if err := s.checkChannel(); err != nil {
		return err
	}
	if err := s.checkImage(); err != nil {
		return err
	}
	if s.AxisUnit != "" {
		if _, err := catalog.ParseUnit(s.AxisUnit); err != nil {
			return fmt.Errorf("axis-unit: %w", err)
		}
		if s.lines() {
			return fmt.Errorf("axis-unit: values have no axis; give units under `columns`")
		}
	}
	var err error
	if s.wells, err = s.parseWells(); err != nil {
		return err
	}
	if len(s.wells) > 0 && s.Layout != string(Plate) {
		return fmt.Errorf("wells: they are of a plate: set `layout: plate`")
	}
	for i, c := range s.Columns {
		if !catalog.IsIdentifier(c.Key) {
			return fmt.Errorf("columns: the name %q: letters, digits and _ are expected", c.Key)
		}
		if i == 0 && !s.lines() && strings.HasPrefix(c.Key, "u_") {
			return fmt.Errorf("columns: %s comes first, where the axis is due", c.Key)
		}
		if of, ok := strings.CutPrefix(c.Key, "u_"); ok {
			if _, known := s.Columns.Get(of); !known {
				return fmt.Errorf("columns: %s is the uncertainty of %s, which is not named", c.Key, of)
			}
			if _, twice := s.U.Get(of); twice {
				return fmt.Errorf("the uncertainty of %s comes from column %s and from `u`: leave one out", of, c.Key)
			}
		}
		if _, unit, has := catalog.CutUnit(c.Value); has {
			if _, err := catalog.ParseUnit(unit); err != nil {
				return fmt.Errorf("columns: %s: %w", c.Key, err)
			}
		}
	}
	for _, u := range s.U {
		if _, err := parseNoise(u.Value); err != nil {
			return fmt.Errorf("u: %s: %w", u.Key, err)
		}
		if _, ok := s.Columns.Get(u.Key); !ok && len(s.Columns) > 0 {
			return fmt.Errorf("u: no column is named %s", u.Key)
		}
	}
	return nil
}

// validateCurves holds the pattern of curves and the number of columns against each other.
func (s *importSettings) validateCurves() error {
	s.pattern = nil
	if s.Curves != "" {
		p, err := catalog.ParseNamePattern(s.Curves)
		if err != nil {
			return fmt.Errorf("curves: %w", err)
		}
		if len(p.Captures()) == 0 {
			return fmt.Errorf("curves: %q captures nothing: write where the name of a field stands, such as <sample>", s.Curves)
		}
		s.pattern = p
	}
	if s.lines() {
		if s.repeats() {
			return fmt.Errorf("u: repeats belong to curves, while `layout: %s` makes an item of each row or well", s.Layout)
		}
		return nil
	}
	if len(s.Columns) > MaxColumns {
		return fmt.Errorf("columns: %d are named, where a curve has %d to %d", len(s.Columns), MinColumns, MaxColumns)
	}
	if len(s.Columns) == 1 {
		return fmt.Errorf("columns: one is named, where a curve has an axis and a value")
	}
	return nil
}

// shape gives the columns that the study names. Without any, the files decide.
func (s *importSettings) shape() ([]pipeline.Column, error) {
	if len(s.Columns) == 0 {
		return pipeline.UnknownShape()
	}
	var out []pipeline.Column
	for i, c := range s.Columns {
		col := pipeline.Column{Name: c.Key, Unit: "*"}
		axis := i == 0 && !s.lines()
		_, text, has := catalog.CutUnit(c.Value)
		if axis && !has && s.AxisUnit != "" {
			text, has = s.AxisUnit, true
		}
		if axis && s.Channel != "" {
			text, has = "ns", true
		}
		if has {
			u, err := catalog.ParseUnit(text)
			if err != nil {
				return nil, err
			}
			col.Unit = insideUnit(u, axis).Code()
		}
		out = append(out, col)
	}
	return out, nil
}
