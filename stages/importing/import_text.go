package importing

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// eachText reads the curves of a file, whatever reader it takes. path is the file's, and behind `!/` that of a member of the archive.
func (s *importSettings) eachText(data []byte, path string, yield func(*Text) error) error {
	if s.image() {
		data, err := unpack(data, path)
		if err != nil {
			return err
		}
		return s.eachPicture(data, yield)
	}
	data, notes, err := s.textOf(data, path)
	if err != nil {
		return err
	}
	if len(s.Columns) > 0 && strings.HasPrefix(s.Columns[0].Value, channelWord) {
		if head, _, _ := catalog.CutUnit(s.Columns[0].Value); head == channelWord {
			data = withChannels(data)
		}
	}
	return s.eachPlain(data, func(x *Text) error {
		x.Notes = append(notes[:len(notes):len(notes)], x.Notes...)
		notes = nil
		return yield(x)
	})
}

// textOf gives the text of a file: unpacked, the sheet of a workbook written out, in UTF-8.
func (s *importSettings) textOf(data []byte, path string) ([]byte, []Note, error) {
	data, err := unpack(data, path)
	if err != nil {
		return nil, nil, err
	}
	var notes []Note
	if isBook(data) {
		if data, notes, err = bookText(data, s.Sheet); err != nil {
			return nil, nil, err
		}
	} else if s.Sheet != "" {
		return nil, nil, &LineError{0, "a file that is no workbook", "one, since `sheet` names " + strconv.Quote(s.Sheet), "leave `sheet` out, or correct `files`"}
	}
	if isTIFF(data) {
		return nil, nil, &LineError{0, "an image (TIFF)", "text", "set `layout: image`"}
	}
	data, more, err := plainText(data)
	return data, append(notes, more...), err
}

// eachPlain reads the curves of a text that is UTF-8.
func (s *importSettings) eachPlain(data []byte, yield func(*Text) error) error {
	switch {
	case isJCAMP(data):
		return EachJCAMP(data, yield)
	case isXML(data):
		heads := s.options().Heads
		return EachCanSAS(data, slices.Contains(heads, "Lambda") || slices.Contains(heads, "T"), yield)
	}
	if s.Layout == string(Plate) {
		return EachPlate(data, s.wells, s.capturesWell(), yield)
	}
	if s.Layout == string(Found) && isPlate(data) {
		return &LineError{0, "a plate of wells, numbered 1, 2, 3, … and lettered A, B, C, …", "curves", "set `layout: plate`, or `layout: rows` if each row is a curve"}
	}
	if s.Layout == string(Found) && s.Curves == "" {
		x, err := ParseText(data)
		switch {
		case err == nil && !s.misread(data, x):
			if err := thousandsOrDecimals(data, layoutOf(x.Separator), x.Columns, x.Valid, x.Line); err != nil {
				return err
			}
			return yield(x)
		case err != nil && !maybeSeveral(err):
			return err
		}
	}
	return EachCurve(data, s.options(), yield)
}

// capturesWell says that the pattern of curves has a field for the well itself.
func (s *importSettings) capturesWell() bool {
	return s.pattern != nil && slices.ContainsFunc(s.pattern.Captures(), func(c catalog.Capture) bool { return c.Name == "well" })
}

// misread says whether a text that was read as one curve is something else: a table of words and numbers with a few numbers above it, pairs of columns,
// or cells with blanks between thousands.
func (s *importSettings) misread(data []byte, x *Text) bool {
	if ambiguousBlanks(data, x) {
		return true
	}
	few := x.Rows() < 10 && x.Lines > 4*x.Rows()
	if !few && (len(x.Columns) != MaxColumns || len(s.Columns) > 2) {
		return false
	}
	f, err := openLayout(data, s.options())
	if err != nil {
		return false
	}
	main := &f.spans[f.main]
	if main.mixed() {
		return main.rows > x.Rows()
	}
	return len(x.Columns) == MaxColumns && f.wideOrPairs() == Pairs
}

// options is what the study says of files of several curves.
func (s *importSettings) options() Options {
	o := Options{Layout: Layout(s.Layout), Count: len(s.Columns)}
	if s.pattern != nil {
		for _, c := range s.pattern.Captures() {
			o.Keys = append(o.Keys, c.Name)
		}
		o.Fits = func(text string) bool { return len(s.pattern.Match(text)) > 0 }
	}
	for i, c := range s.Columns {
		head, _, _ := catalog.CutUnit(c.Value)
		if n, err := strconv.Atoi(head); err == nil {
			o.Own = max(o.Own, n)
		} else if even, ok := evenAxis(head); ok && i == 0 {
			o.Axis = even
		} else {
			o.Heads = append(o.Heads, head)
		}
	}
	return o
}

// evenAxis reads `350 to 750`.
func evenAxis(s string) (*EvenAxis, bool) {
	var e EvenAxis
	if n, err := fmt.Sscanf(s, "%g to %g", &e.First, &e.Last); err != nil || n != 2 {
		return nil, false
	}
	if fmt.Sprintf("%v to %v", e.First, e.Last) != s || e.First == e.Last || e.First-e.First != 0 || e.Last-e.Last != 0 {
		return nil, false
	}
	return &e, true
}

// nameFields gives the fields that the name of a curve holds; fits is false when it is not of the pattern.
func (s *importSettings) nameFields(x *Text) (fields []pipeline.Captured, fits bool, err error) {
	if s.pattern == nil {
		return nil, true, nil
	}
	captures := s.pattern.Captures()
	if x.Keyed != nil {
		for i, c := range captures {
			fields = append(fields, pipeline.Captured{Name: c.Name, Text: x.Keyed[i]})
		}
		return fields, true, nil
	}
	for _, n := range x.Names {
		ways := s.pattern.Match(n.Text)
		if len(ways) == 0 {
			continue
		}
		if len(ways) > 1 {
			return nil, false, &LineError{n.Line, fmt.Sprintf("the name %q, which can be split in more than one way by %q", n.Text, s.Curves), "one way",
				"put a sign between captures that they do not contain"}
		}
		for i, c := range captures {
			fields = append(fields, pipeline.Captured{Name: c.Name, Text: ways[0][i]})
		}
		return fields, true, nil
	}
	return nil, false, nil
}
