package importing

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Seen is what Look understood of a file.
type Seen struct {
	Path       string      `json:"path"`
	Size       int         `json:"size"`
	Reader     string      `json:"reader"` // "text", "JCAMP-DX", …; "" when none takes the file
	Packed     string      `json:"packed,omitempty"`
	Encoding   string      `json:"encoding,omitempty"`
	LineEnds   string      `json:"line_ends,omitempty"`
	Separator  string      `json:"separator,omitempty"`
	Decimal    string      `json:"decimal,omitempty"`
	Layout     Layout      `json:"layout,omitempty"`
	Lines      int         `json:"lines,omitempty"`
	Parts      []string    `json:"parts,omitempty"` // sheets of a workbook, members of an archive
	Header     []SeenPair  `json:"header,omitempty"`
	Statements int         `json:"statements,omitempty"` // in the header, of which Header holds the first
	Items      int         `json:"items"`
	Curves     []SeenCurve `json:"curves,omitempty"` // the first of them
	Notes      []string    `json:"notes,omitempty"`
	Set        []string    `json:"set,omitempty"`   // lines of a study that import it
	Ask        string      `json:"ask,omitempty"`   // what these lines do not say yet
	Error      string      `json:"error,omitempty"` // why it cannot be imported as it is
	Start      []string    `json:"start,omitempty"` // its first lines, or bytes, when it cannot
}

// SeenPair is a statement of the header.
type SeenPair struct {
	Key   string `json:"key"`
	Value string `json:"value"`
	Line  int    `json:"line"`
}

// SeenCurve is a curve, or a row of values.
type SeenCurve struct {
	Name      string       `json:"name,omitempty"`
	FirstLine int          `json:"first_line"`
	LastLine  int          `json:"last_line"`
	Points    int          `json:"points"`
	Columns   []SeenColumn `json:"columns"`
	First     []string     `json:"first"` // the first row and the last, as read
	Last      []string     `json:"last"`
	X         []float64    `json:"-"` // of a curve, to be drawn: places and values where both are numbers, at most 400
	Y         []float64    `json:"-"`
}

// SeenColumn is a column of a curve, what it is taken for, and the numbers in it.
type SeenColumn struct {
	Head     string   `json:"head,omitempty"`
	Name     string   `json:"name"`
	Quantity string   `json:"quantity,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	Guessed  bool     `json:"guessed"` // the file does not say quantity or unit: its numbers suggest them
	Numbers  int      `json:"numbers"`
	Low      *float64 `json:"low"`
	High     *float64 `json:"high"`
	Nulls    int      `json:"nulls"`
	Why      string   `json:"why,omitempty"` // of the nulls
	counts   bool     // whole numbers, none negative
}

const (
	mostSeenCurves = 8
	mostSeenPairs  = 12
	mostSeenNotes  = 12
	mostDrawn      = 400
)

// Look reads a file as import would, without being told anything of it, and says what it understood. It never fails: what cannot be imported is described
// with the reason. Within an archive path names the member behind `!/`.
func Look(path string, data []byte) *Seen {
	v := &Seen{Path: path, Size: len(data)}
	if bytes.HasPrefix(data, zipMagic) && !isBook(data) {
		v.Reader, v.Packed = "", "zip archive"
		if names, err := ZipMembers(data); err == nil && !strings.Contains(path, "!/") {
			v.Parts = names
			if len(names) == 1 {
				v.Notes = append(v.Notes, "the archive holds one file, which is looked at")
				path += "!/" + names[0]
				v.Path = path
			}
		}
	}
	plain, err := unpack(data, path)
	if err != nil {
		return v.fail(err, data)
	}
	if v.Packed == "" && bytes.HasPrefix(data, gzipMagic) {
		v.Packed = "gzip"
	}
	if isBook(plain) {
		v.Reader = "workbook"
		v.Parts = sheetNames(plain)
	} else {
		v.encoding(plain)
	}
	s := &importSettings{Files: path, Layout: string(Found), Duplicates: "refuse", Dates: "refuse"}
	if isTIFF(plain) {
		return v.images(s, data, plain)
	}
	text, notes, err := s.textOf(data, path)
	if err != nil {
		return v.fail(err, plain)
	}
	if v.Reader == "" {
		v.Reader = readerOf(text)
	}
	v.note(notes)
	texts, err := v.read(s, text)
	if err != nil {
		var plates *LineError
		if errors.As(err, &plates) && isPlate(text) {
			s.Layout = string(Plate)
		} else {
			s.Layout = string(Lines)
		}
		first := err
		v.forget(notes)
		again := *v
		if texts, err = again.read(s, text); err != nil || !sensibleRows(texts) {
			return v.fail(first, text)
		}
		*v = again
	} else if v.Reader == "text" && !v.ordered(texts) {
		s.Layout = string(Lines)
		again := *v
		again.forget(notes)
		if rows, err := again.read(s, text); err == nil && sensibleRows(rows) {
			*v, texts = again, rows
		} else {
			s.Layout = string(Found)
		}
	}
	v.suggest(s, data, texts)
	return v
}

// images looks at a TIFF file.
func (v *Seen) images(s *importSettings, data, plain []byte) *Seen {
	v.Reader, v.Encoding, v.LineEnds = "TIFF", "", ""
	s.Layout = string(ImageLayout)
	texts, err := v.read(s, plain)
	if err != nil {
		return v.fail(err, plain)
	}
	sized := false
	for _, p := range texts[0].Pairs {
		sized = sized || p.Key == "pixel_width"
	}
	if !sized {
		v.Notes = append(v.Notes, "the file does not say how large a pixel is: `scale` does, where it matters")
	}
	v.suggest(s, data, texts)
	return v
}

// forget drops what was seen of curves.
func (v *Seen) forget(notes []Note) {
	v.Items, v.Curves, v.Header, v.Statements, v.Notes = 0, nil, nil, 0, nil
	v.Separator, v.Decimal, v.Layout, v.Lines = "", "", "", 0
	v.note(notes)
}

// seenText is a curve of which the numbers may be forgotten.
type seenText struct {
	*Text
	names []string
}

// read reads all curves and keeps what is said of them, and the first of them as they are.
func (v *Seen) read(s *importSettings, text []byte) ([]seenText, error) {
	v.Items = 0
	var kept []seenText
	each := s.eachPlain
	if s.image() {
		each = s.eachPicture
	}
	err := each(text, func(x *Text) error {
		v.Items++
		if v.Items == 1 {
			v.Separator, v.Decimal = x.Separator, "point"
			if sep, ok := strings.CutSuffix(x.Separator, ", decimal comma"); ok {
				v.Separator, v.Decimal = sep, "comma"
			}
			if v.Reader != "text" && v.Reader != "workbook" {
				v.Separator, v.Decimal = "", ""
			}
			v.Layout, v.Lines = x.layout, x.Lines
			if v.Layout == "" && (v.Reader == "text" || v.Reader == "workbook") {
				v.Layout = Single
			}
			v.Statements = len(x.Pairs)
			for _, p := range x.Pairs[:min(len(x.Pairs), mostSeenPairs)] {
				v.Header = append(v.Header, SeenPair{clipText(p.Key, 60), clipText(p.Value, 60), p.Line})
			}
		}
		v.note(x.Notes)
		t := seenText{Text: x}
		for _, n := range x.Names {
			t.names = append(t.names, n.Text)
		}
		switch {
		case v.Items > 1 && (x.layout == Lines || x.layout == Plate):
			v.Curves[0].join(seeCurve(x))
		case v.Items <= mostSeenCurves:
			v.Curves = append(v.Curves, seeCurve(x))
			kept = append(kept, t)
		}
		return nil
	})
	return kept, err
}

// note keeps what is said, each text once.
func (v *Seen) note(notes []Note) {
	for _, n := range notes {
		text := n.say()
		same := false
		for _, have := range v.Notes {
			same = same || have == text
		}
		switch {
		case same || len(v.Notes) > mostSeenNotes:
		case len(v.Notes) == mostSeenNotes:
			v.Notes = append(v.Notes, "and more")
		default:
			v.Notes = append(v.Notes, text)
		}
	}
}

// fail says why a file cannot be imported, and shows how it begins.
func (v *Seen) fail(err error, data []byte) *Seen {
	v.Error = err.Error()
	v.Start = startOf(data)
	return v
}

// startOf shows the first three lines of a text, or the first 32 bytes of anything else.
func startOf(data []byte) []string {
	head := data[:min(len(data), 2048)]
	odd := 0
	for _, c := range head {
		if c < ' ' && c != '\n' && c != '\r' && c != '\t' {
			odd++
		}
	}
	var out []string
	if odd == 0 {
		for i := 0; i < len(head) && len(out) < 3; {
			next := lineEnd(head, i)
			line := strings.TrimRight(string(head[i:next]), "\r\n")
			if !utf8.ValidString(line) {
				line = strings.ToValidUTF8(line, "\uFFFD")
			}
			if strings.TrimSpace(line) != "" {
				out = append(out, clipText(line, 100))
			}
			i = next
		}
		return out
	}
	for i := 0; i < min(len(data), 32); i += 16 {
		row := data[i:min(len(data), i+16)]
		var chars strings.Builder
		for _, c := range row {
			if c < ' ' || c > '~' {
				c = '.'
			}
			chars.WriteByte(c)
		}
		out = append(out, fmt.Sprintf("% -47x  %s", row, chars.String()))
	}
	return out
}

// encoding says how a text is encoded and how its lines end.
func (v *Seen) encoding(data []byte) {
	if little, _, ok := isUTF16(data); ok {
		v.Encoding = "UTF-16 BE"
		if little {
			v.Encoding = "UTF-16 LE"
		}
		data = fromUTF16(data, little)
	} else if bytes.IndexByte(data, 0) >= 0 {
		return // no text
	} else {
		switch {
		case ascii(data):
			v.Encoding = "ASCII"
		case bytes.HasPrefix(data, []byte("\uFEFF")):
			v.Encoding = "UTF-8 with byte order mark"
		case utf8.Valid(data):
			v.Encoding = "UTF-8"
		default:
			v.Encoding = "Windows-1252"
		}
	}
	pairs := bytes.Count(data, []byte("\r\n"))
	cr, lf := bytes.Count(data, []byte("\r"))-pairs, bytes.Count(data, []byte("\n"))-pairs
	var ends []string
	for _, e := range []struct {
		n    int
		name string
	}{{lf, "LF"}, {pairs, "CR LF"}, {cr, "CR"}} {
		if e.n > 0 {
			ends = append(ends, e.name)
		}
	}
	v.LineEnds = strings.Join(ends, " and ")
}

// readerOf names the reader that takes a text.
func readerOf(text []byte) string {
	switch {
	case isJCAMP(text):
		return "JCAMP-DX"
	case isXML(text):
		return "canSAS XML"
	}
	return "text"
}

// seeCurve says what numbers a curve holds.
func seeCurve(x *Text) SeenCurve {
	c := SeenCurve{FirstLine: x.FirstLine, LastLine: x.LastLine, Points: x.Rows()}
	if len(x.Names) > 0 {
		c.Name = clipText(x.Names[0].Text, 60)
	} else if len(x.Keyed) > 0 {
		c.Name = clipText(strings.Join(x.Keyed, " "), 60)
	}
	for k := range x.Columns {
		col := SeenColumn{counts: true}
		if x.Heads != nil {
			col.Head = clipText(x.Heads[k].Text, 60)
		}
		for i, value := range x.Columns[k] {
			if x.Valid[k] != nil && !x.Valid[k][i] {
				col.Nulls++
				continue
			}
			if col.Numbers == 0 {
				lo, hi := value, value
				col.Low, col.High = &lo, &hi
			}
			col.Numbers++
			*col.Low, *col.High = min(*col.Low, value), max(*col.High, value)
			col.counts = col.counts && value >= 0 && value == float64(int64(value))
		}
		if col.Nulls > 0 {
			col.Why = whyNull(x.Notes, k)
		}
		c.Columns = append(c.Columns, col)
	}
	if x.Rows() > 0 {
		c.First, c.Last = seenRow(x, 0), seenRow(x, x.Rows()-1)
	}
	if len(x.Columns) > 1 {
		step := (x.Rows() + mostDrawn - 1) / mostDrawn
		for i := 0; i < x.Rows(); i += max(step, 1) {
			if v := x.Valid[0]; v != nil && !v[i] {
				continue
			}
			if v := x.Valid[1]; v != nil && !v[i] {
				continue
			}
			c.X, c.Y = append(c.X, x.Columns[0][i]), append(c.Y, x.Columns[1][i])
		}
	}
	guessColumns(x, &c)
	return c
}

// join takes another row of values in: what is said of columns holds for all rows.
func (c *SeenCurve) join(o SeenCurve) {
	c.Name = ""
	c.Points, c.LastLine, c.Last = c.Points+1, o.LastLine, o.Last
	for k := range min(len(c.Columns), len(o.Columns)) {
		a, b := &c.Columns[k], &o.Columns[k]
		a.Numbers, a.Nulls = a.Numbers+b.Numbers, a.Nulls+b.Nulls
		if a.Why == "" {
			a.Why = b.Why
		}
		switch {
		case a.Low == nil:
			a.Low, a.High = b.Low, b.High
		case b.Low != nil:
			*a.Low, *a.High = min(*a.Low, *b.Low), max(*a.High, *b.High)
		}
	}
}

// whyNull takes the reasons for missing numbers of a column from the notes.
func whyNull(notes []Note, k int) string {
	var why []string
	tail := fmt.Sprintf(" in column %d", k+1)
	for _, n := range notes {
		if text, ok := strings.CutSuffix(n.Text, tail); ok {
			why = append(why, text)
		}
	}
	return strings.Join(why, ", ")
}

func seenRow(x *Text, row int) []string {
	out := make([]string, len(x.Columns))
	for k := range out {
		if v := x.Valid[k]; v != nil && !v[row] {
			out[k] = "–"
			continue
		}
		out[k] = strconv.FormatFloat(x.Columns[k][row], 'g', 6, 64)
	}
	return out
}

// ordered says that the axis of each curve rises or falls.
func (v *Seen) ordered(texts []seenText) bool {
	for _, t := range texts {
		var axis []float64
		for i, value := range t.Columns[0] {
			if t.Valid[0] == nil || t.Valid[0][i] {
				axis = append(axis, value)
			}
		}
		if _, err := CheckAxis(axis, nil, nil); err != nil {
			var a *AxisError
			if errors.As(err, &a) && a.Duplicate && mostlyOnce(axis) {
				continue // repeats of a place, rather than rows of values
			}
			return false
		}
	}
	return true
}

// mostlyOnce says that numbers never turn back, and that at least half of them differ from the one before.
func mostlyOnce(axis []float64) bool {
	up, down, same := 0, 0, 0
	for i := 1; i < len(axis); i++ {
		switch {
		case axis[i] > axis[i-1]:
			up++
		case axis[i] < axis[i-1]:
			down++
		default:
			same++
		}
	}
	return (up == 0 || down == 0) && same <= up+down
}

// sensibleRows says that a file read as rows of values looks like a table of them: heads, or a plate.
func sensibleRows(texts []seenText) bool {
	return len(texts) > 0 && (texts[0].layout == Plate || texts[0].Heads != nil)
}

// clipText cuts a text to so many characters and makes it one line.
func clipText(s string, n int) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "\uFFFD")), " ")
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	return string([]rune(s)[:n-1]) + "…"
}
