package main

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"

	"fascicle/stages/importing"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

func lookCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "look FILE…",
		Short: "Say what raw files hold, and how a study would import them",
		Long: `Reads files as import would, without being told anything of them, and says what it understood: which reader took the file, its
encoding, cells and layout, its curves with their columns, ranges and missing numbers, and the lines under ` + "`set:`" + ` that import it.
What the file does not say and its numbers merely suggest is marked "guess"; a ? in these lines is yours to fill in.

A member of a zip archive is named as in a study: raw.zip!/a/b.csv.

Exit status: 0 all files can be imported, perhaps with an answer from you; 1 some cannot; 2 some cannot be opened.`,
		Args: arguments(1, 1<<20),
		RunE: func(c *cobra.Command, args []string) error {
			a.status = a.look(c.Context(), args)
			return nil
		},
	}
}

// look describes files, each by itself.
func (a *app) look(ctx context.Context, files []string) int {
	status := statusGood
	for i, name := range files {
		if ctx.Err() != nil {
			return a.fail(ctx, ctx.Err())
		}
		disk, _, _ := strings.Cut(name, "!/")
		data, err := readLooked(disk)
		if err != nil {
			a.fail(ctx, err)
			status = statusFault
			continue
		}
		seen := importing.Look(filepath.ToSlash(name), data)
		if seen.Error != "" && status == statusGood {
			status = statusHoles
		}
		a.line(struct {
			event
			*importing.Seen
		}{event{"look"}, seen})
		if i > 0 {
			a.say("")
		}
		a.text(lookText(seen, a.drawn()))
	}
	return status
}

// readLooked reads a file; the error has its name and says what to do.
func readLooked(name string) ([]byte, error) {
	info, err := os.Stat(name)
	switch {
	case err == nil && info.IsDir():
		return nil, fmt.Errorf("%s: found a folder; expected a file; name the files in it", name)
	case err == nil && !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s: found no regular file; expected one; name another", name)
	}
	if err == nil {
		var data []byte
		if data, err = os.ReadFile(name); err == nil {
			return data, nil
		}
	}
	if pathErr, ok := err.(*fs.PathError); ok {
		err = pathErr.Err
	}
	return nil, fmt.Errorf("%s: %v; correct the name", name, err)
}

// drawn says that a person looks on, to whom curves are shown.
func (a *app) drawn() bool {
	f, ok := a.out.(*os.File)
	return ok && !a.json && term.IsTerminal(int(f.Fd()))
}

// mostShown is how many columns of a curve are listed.
const mostShown = 12

// lookText sets what was understood of a file, with small drawings of curves if wanted.
func lookText(s *importing.Seen, draw bool) string {
	var b strings.Builder
	row := func(key, format string, args ...any) {
		if text := fmt.Sprintf(format, args...); text != "" {
			fmt.Fprintf(&b, "  %-10s %s\n", key, text)
		}
	}
	reader := s.Reader
	if reader == "" {
		reader = "no reader takes it"
	}
	if s.Packed != "" {
		reader += ", packed (" + s.Packed + ")"
	}
	fmt.Fprintf(&b, "%s: %s, %s\n", s.Path, reader, plural(s.Size, "byte"))
	if s.Encoding != "" && s.LineEnds == "" {
		row("text", "%s, no line end", s.Encoding)
	} else if s.Encoding != "" {
		row("text", "%s, lines end with %s", s.Encoding, s.LineEnds)
	}
	if s.Separator != "" {
		row("cells", "parted by %s, decimal %s", s.Separator, s.Decimal)
	}
	if len(s.Parts) > 0 {
		row(map[bool]string{true: "sheets", false: "files"}[s.Reader == "workbook"], "%s", namesUpTo(s.Parts, 12))
	}
	if s.Items > 0 {
		what := plural(s.Items, "curve")
		if s.Layout == importing.ImageLayout {
			what = plural(s.Items, "page or plane")
			if s.Items > 1 {
				what = strconv.Itoa(s.Items) + " pages or planes"
			}
		}
		if s.Layout == importing.Lines || s.Layout == importing.Plate {
			what = plural(s.Items, "item") + " of values"
		}
		if s.Layout != "" {
			what = string(s.Layout) + ": " + what
		}
		if s.Lines > 0 {
			what += " in " + plural(s.Lines, "line")
		}
		row("layout", "%s", what)
	}
	for i, p := range s.Header {
		key := ""
		if i == 0 {
			key = "header"
		}
		row(key, "%s = %s", p.Key, p.Value)
	}
	if n := s.Statements - len(s.Header); n > 0 {
		row("", "and %s", plural(n, "more statement"))
	}
	for i, c := range s.Curves {
		if s.Layout == importing.ImageLayout {
			fmt.Fprintf(&b, "  #%d: %s\n", i+1, plural(c.Points, "pixel"))
		} else if s.Layout == importing.Lines || s.Layout == importing.Plate {
			fmt.Fprintf(&b, "  %s, lines %d to %d\n", plural(c.Points, "row"), c.FirstLine, c.LastLine)
		} else {
			b.WriteString(curveLine(i, c) + "\n")
		}
		if i > 0 && sameColumns(c, s.Curves[0]) {
			b.WriteString(drawing(c, draw))
			continue
		}
		b.WriteString(columnTable(c))
		b.WriteString("     first row  " + strings.Join(c.First[:min(len(c.First), mostShown)], "  ") + "\n")
		if c.Points > 1 {
			b.WriteString("     last row   " + strings.Join(c.Last[:min(len(c.Last), mostShown)], "  ") + "\n")
		}
		b.WriteString(drawing(c, draw))
	}
	if n := s.Items - len(s.Curves); n > 0 && len(s.Curves) > 1 {
		fmt.Fprintf(&b, "  and %d more\n", n)
	}
	for _, n := range s.Notes {
		row("note", "%s", n)
	}
	if s.Ask != "" {
		row("missing", "%s", s.Ask)
	}
	if s.Error != "" {
		row("refused", "%s", s.Error)
	}
	for i, l := range s.Start {
		key := ""
		if i == 0 {
			key = "begins"
		}
		row(key, "%s", l)
	}
	for _, l := range s.Set {
		b.WriteString("  " + l + "\n")
	}
	return b.String()
}

// curveLine names a curve.
func curveLine(i int, c importing.SeenCurve) string {
	name := ""
	if c.Name != "" {
		name = " " + strconv.Quote(c.Name)
	}
	where := "line " + strconv.Itoa(c.FirstLine)
	if c.LastLine != c.FirstLine {
		where = fmt.Sprintf("lines %d to %d", c.FirstLine, c.LastLine)
	}
	return fmt.Sprintf("  #%d%s: %s, %s", i+1, name, plural(c.Points, "point"), where)
}

// sameColumns says that the columns of two curves are taken for the same.
func sameColumns(a, b importing.SeenCurve) bool {
	if len(a.Columns) != len(b.Columns) {
		return false
	}
	for k := range a.Columns {
		x, y := a.Columns[k], b.Columns[k]
		if x.Name != y.Name || x.Unit != y.Unit || x.Nulls > 0 {
			return false
		}
	}
	return true
}

// columnTable lists the columns of a curve.
func columnTable(c importing.SeenCurve) string {
	rows := [][]string{{"", "head", "name", "unit", "from", "to", "nulls", "is"}}
	for k, col := range c.Columns[:min(len(c.Columns), mostShown)] {
		low, high := "–", "–"
		if col.Low != nil {
			low, high = strconv.FormatFloat(*col.Low, 'g', 6, 64), strconv.FormatFloat(*col.High, 'g', 6, 64)
		}
		nulls := strconv.Itoa(col.Nulls)
		if col.Why != "" {
			nulls += " (" + col.Why + ")"
		}
		is := col.Quantity
		if col.Guessed {
			is += " (guess)"
		}
		unit := col.Unit
		if unit == "" {
			unit = "?"
		}
		rows = append(rows, []string{strconv.Itoa(k + 1), col.Head, col.Name, unit, low, high, nulls, is})
	}
	text := aligned(rows, "     ")
	if n := len(c.Columns) - mostShown; n > 0 {
		text += fmt.Sprintf("     and %s\n", plural(n, "more column"))
	}
	return text
}

// aligned sets rows of cells in columns.
func aligned(rows [][]string, indent string) string {
	widths := make([]int, len(rows[0]))
	for _, r := range rows {
		for k, c := range r {
			widths[k] = max(widths[k], utf8.RuneCountInString(c))
		}
	}
	var b strings.Builder
	for _, r := range rows {
		line := indent
		for k, c := range r {
			line += c + strings.Repeat(" ", widths[k]-utf8.RuneCountInString(c)+2)
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	return b.String()
}

// namesUpTo joins names, the first n of them.
func namesUpTo(names []string, n int) string {
	if len(names) > n {
		return strings.Join(names[:n], ", ") + " and " + strconv.Itoa(len(names)-n) + " more"
	}
	return strings.Join(names, ", ")
}

// drawing draws a curve in dots, if wanted.
func drawing(c importing.SeenCurve, draw bool) string {
	if !draw || len(c.X) < 3 {
		return ""
	}
	var b strings.Builder
	for _, l := range dots(c.X, c.Y, 60, 5) {
		b.WriteString("     " + l + "\n")
	}
	return b.String()
}

// dots draws points as dots of Braille patterns (Unicode 2800 to 28FF), each of which holds 2 × 4: a rectangle of so many characters, both axes linear.
func dots(x, y []float64, width, height int) []string {
	lowX, highX, lowY, highY := x[0], x[0], y[0], y[0]
	for i := range x {
		lowX, highX = min(lowX, x[i]), max(highX, x[i])
		lowY, highY = min(lowY, y[i]), max(highY, y[i])
	}
	cells := make([]rune, width*height)
	place := func(v, low, high float64, n int) int {
		if !(high > low) {
			return n / 2
		}
		return min(max(int((v/2-low/2)/(high/2-low/2)*float64(n-1)+0.5), 0), n-1)
	}
	bits := [4][2]rune{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}
	for i := range x {
		col, row := place(x[i], lowX, highX, 2*width), 4*height-1-place(y[i], lowY, highY, 4*height)
		cells[row/4*width+col/2] |= bits[row%4][col%2]
	}
	out := make([]string, height)
	for r := range out {
		line := make([]rune, width)
		for k := range line {
			line[k] = 0x2800 + cells[r*width+k]
		}
		out[r] = strings.TrimRight(string(line), "\u2800")
	}
	return out
}
