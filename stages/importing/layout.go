package importing

import (
	"bytes"
	"fmt"
)

// Layout is a way in which the curves of a file lie in its text.
type Layout string

// The layouts. Found is the usual one: the file's content says which.
const (
	Found       Layout = "found"
	Single      Layout = "single" // one curve, a column for each of its quantities
	Wide        Layout = "wide"   // one axis, then a column (or as many as a curve has) for each curve
	Pairs       Layout = "pairs"  // each curve with an axis of its own, side by side
	Rows        Layout = "rows"   // a curve a row, the axis in the row above
	Long        Layout = "long"   // a point a row, a column names the curve
	Blocks      Layout = "blocks" // curves one below the other
	Lines       Layout = "lines"  // a row of values for each item
	ImageLayout Layout = "image"  // a page of a TIFF file for each item (EachTIFF)
	Plate       Layout = "plate"  // wells as rows × columns, an item of values each (EachPlate)
)

// Options is what a study says of files that hold several curves.
type Options struct {
	Layout Layout
	// Keys are the fields that the names of curves give; none: curves are counted.
	Keys []string
	// Fits says whether a text can be the name of a curve; nil: any text can.
	Fits func(text string) bool
	// Own is the highest number by which the study names a column of a curve, the axis being 1; 0: it names columns by their heads.
	Own int
	// Count is how many columns of a curve the study names.
	Count int
	// Heads are the heads by which the study names columns, the axis first.
	Heads []string
	// Axis is an evenly spaced axis that the study gives where the file lacks one; nil: none.
	Axis *EvenAxis
}

// EvenAxis is an axis of equal steps from the first to the last curve point.
type EvenAxis struct{ First, Last float64 }

func (o *Options) named() bool { return len(o.Keys) > 0 }

// EachCurve reads the curves of a delimited text in the order of the file and hands each to yield, with what may name it in Names. It keeps no more
// than one block of the file in memory beside the text itself.
//
// The layout is found by content: several runs of numbers are blocks; words beside the numbers are rows when numbers stand above the columns in
// order, else a long table; of numbers alone, every second column being an axis means pairs, a column for each curve is wide. Options.Layout
// overrides it.
//
// Errors are *LineError: no numbers, an axis that is not to be found, columns that do not come out even, names that are missing, and what yield
// returns.
func EachCurve(data []byte, o Options, yield func(*Text) error) error {
	f, err := openLayout(data, o)
	if err != nil {
		return err
	}
	if err := f.each(yield); err != nil || f.given > 0 {
		return err
	}
	return &LineError{f.spans[f.main].firstLine, "columns without a number beside the axis", "at least one curve", "look at the file: is it the export of this measurement?"}
}

// openLayout finds the runs of numbers in a text.
func openLayout(data []byte, o Options) (*layoutFile, error) {
	data, notes, err := plainText(data)
	if err != nil {
		return nil, err
	}
	l, group := findCells(data)
	all, lines, err := spans(data, l, group)
	if err != nil {
		return nil, err
	}
	if group != 0 {
		notes = append(notes, Note{Text: fmt.Sprintf("%q stands between thousands in this file", group), Minor: true})
	}
	f := &layoutFile{data: data, layout: l, group: group, spans: all, lines: lines, notes: notes, options: o}
	f.main = -1
	for i := range all {
		if f.main < 0 || all[i].numbers > all[f.main].numbers {
			f.main = i
		}
	}
	if f.main < 0 {
		return nil, &LineError{0, fmt.Sprintf("no table of numbers in %d lines", lines), "rows of numbers", "look at the file: is it the export of this measurement?"}
	}
	return f, nil
}

// layoutFile is a text whose runs of numbers are known.
type layoutFile struct {
	data    []byte
	layout  layout
	group   byte
	spans   []span
	main    int // the one with most numbers
	lines   int
	notes   []Note
	options Options
	grid    *grid // of main, once it was read
	given   int   // curves handed on
	as      Layout
}

func (f *layoutFile) each(yield func(*Text) error) error {
	main := &f.spans[f.main]
	blocks := f.blocks()
	if err := f.cutOff(main, blocks); err != nil {
		return err
	}
	switch l := f.options.Layout; {
	case l == Blocks, (l == Found || l == "") && len(blocks) > 1 && !main.mixed():
		return f.eachBlock(blocks, yield)
	case l == Lines:
		return f.eachLine(yield)
	case l == Long:
		return f.eachLong(yield)
	case l == Rows:
		return f.eachRow(yield)
	case l == Wide, l == Pairs, l == Single:
		return f.eachColumn(l, yield)
	case main.mixed():
		g, err := f.read(main)
		if err != nil {
			return err
		}
		if f.options.Axis != nil || f.axisAbove(g) != nil {
			return f.eachRow(yield)
		}
		return f.eachLong(yield)
	default:
		g, err := f.read(main)
		if err != nil {
			return err
		}
		if !inOrder(g.cols[0][:g.filled(0)]) && f.axisAbove(g) != nil {
			return f.eachRow(yield)
		}
		return f.eachColumn(f.wideOrPairs(), yield)
	}
}

// read reads a run of numbers; the largest one only once.
func (f *layoutFile) read(s *span) (*grid, error) {
	if s == &f.spans[f.main] && f.grid != nil {
		return f.grid, nil
	}
	g, err := readSpan(f.data, *s, f.layout, f.group)
	if err == nil && f.group == 0 {
		err = thousandsOrDecimals(f.data, f.layout, g.cols, g.valid, g.line)
	}
	if err == nil {
		g.dropEmpty()
		if s == &f.spans[f.main] && len(f.blocks()) < 2 {
			f.grid = g
		}
	}
	return g, err
}

// aboveTable gives everything above the run i of a file that holds one table: short runs there are its header.
func (f *layoutFile) aboveTable(i int) (part []byte, line int) { return f.data[:f.spans[i].start], 1 }

// blocks lists the runs that may be curves of their own: at least three rows, and no less than a tenth of the largest.
func (f *layoutFile) blocks() []int {
	var out []int
	most := 0
	for i := range f.spans {
		if s := &f.spans[i]; !s.mixed() {
			most = max(most, s.rows)
		}
	}
	for i := range f.spans {
		if s := &f.spans[i]; !s.mixed() && s.rows >= 3 && s.rows*10 >= most {
			out = append(out, i)
		}
	}
	return out
}

// cutOff refuses a file whose last line breaks off, and one whose data are broken by a line that is not like them.
func (f *layoutFile) cutOff(main *span, blocks []int) error {
	last := &f.spans[len(f.spans)-1]
	tail := bytes.TrimSpace(f.data[last.end:])
	if last.ragged == 1 && last == main && len(tail) == 0 {
		return &LineError{last.lastLine, "a last line that breaks off", count(last.cells, "column"), "the file seems cut off: copy it again from the instrument"}
	}
	for k := 1; k < len(f.spans); k++ {
		a, b := &f.spans[k-1], &f.spans[k]
		if a.cells < 2 || b.cells < 2 || a.mixed() || b.mixed() {
			continue
		}
		big := a.rows >= 3 && b.rows >= 3
		if big && a.end == b.start && (a.cells > b.cells || a.ragged > 0 || a.rows > 3) {
			return &LineError{b.firstLine, count(b.cells, "column"), itoa(a.cells) + " as on the lines before", "mend the line, or part the blocks by a blank line"}
		}
		if at, single := oneDataLine(f.data, f.layout, a.end, b.start); single && a.cells == b.cells {
			return &LineError{a.lastLine + 1, quoteShort([]byte(clip(f.data[at:b.start]))) + " amid the data", itoa(b.cells) + " numbers", "mend the line or take it out"}
		}
	}
	// a garbled line within columns of numbers is a run of its own, of words
	for k := 1; k+1 < len(f.spans); k++ {
		a, b, c := &f.spans[k-1], &f.spans[k], &f.spans[k+1]
		if !a.mixed() && b.mixed() && !c.mixed() && a.end == b.start && b.end == c.start && a.cells == c.cells && b.rows < 3 && (a.rows >= 3 || b.words&1 == 0 && b.cells == a.cells) {
			return &LineError{b.firstLine, quoteShort([]byte(clip(f.data[b.start:b.end]))) + " amid the data", itoa(a.cells) + " numbers", "mend the line or take it out"}
		}
	}
	return nil
}

// aside notes numbers beside the table that are not read.
func (f *layoutFile) aside() {
	for i := range f.spans {
		s := &f.spans[i]
		if i == f.main || s.mixed() || s.digits&1 == 0 {
			continue // heads of columns among them
		}
		n := Note{fmt.Sprintf("numbers in %s outside the data are left out", count(s.cells, "column")), []int{s.firstLine}, false}
		if s.rows > 1 {
			n.Lines = append(n.Lines, s.lastLine)
		}
		f.notes = append(f.notes, n)
	}
}

// give hands a curve on, with what the file as a whole has to say beside the first one.
func (f *layoutFile) give(t *Text, yield func(*Text) error) error {
	if f.given == 0 {
		t.Notes = append(f.notes[:len(f.notes):len(f.notes)], t.Notes...)
	}
	f.given++
	t.Lines, t.Separator, t.layout = f.lines, f.layout.String(), f.as
	return yield(t)
}
