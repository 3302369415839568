package importing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fascicle/catalog"
)

// mostOrdinates is how many points a table may have that does not say how many.
const mostOrdinates = 5_000_000

// jcampReader turns a block into curves.
type jcampReader struct {
	data  []byte
	block *jcampBlock
	lines int
	pairs []Pair
	notes []Note
}

// axisData is what labels say of the points of a table.
type axisData struct {
	first, last, delta, factorX, factorY float64
	firstY, maxY, minY                   float64
	points                               int
	has                                  map[string]bool
}

func (j *jcampReader) each(yield func(*Text) error) error {
	b := j.block
	if b.get("NTUPLES") != nil {
		return j.pages(yield)
	}
	for i := range b.records {
		r := &b.records[i]
		switch r.label {
		case "XYDATA", "XYPOINTS", "PEAKTABLE":
		case "RADATA":
			return &LineError{r.line, "RADATA, an interferogram", "XYDATA, XYPOINTS, PEAK TABLE or NTUPLES", "export the spectrum"}
		default:
			continue
		}
		axis, err := j.axis()
		if err != nil {
			return err
		}
		t, err := j.table(r, r.value, axis)
		if err != nil {
			return err
		}
		t.Heads = []Head{jcampHead(b.get("XUNITS"), "x"), jcampHead(b.get("YUNITS"), "y")}
		if err := yield(t); err != nil {
			return err
		}
	}
	return nil
}

// axis reads the labels that say where points lie.
func (j *jcampReader) axis() (axisData, error) {
	a := axisData{factorX: 1, factorY: 1, has: map[string]bool{}}
	for _, l := range [...]struct {
		label string
		to    *float64
	}{{"FIRSTX", &a.first}, {"LASTX", &a.last}, {"DELTAX", &a.delta}, {"XFACTOR", &a.factorX}, {"YFACTOR", &a.factorY}, {"FIRSTY", &a.firstY}, {"MAXY", &a.maxY}, {"MINY", &a.minY}} {
		r := j.block.get(l.label)
		if r == nil || r.value == "" {
			continue
		}
		v, ok := labelNumber(r.value)
		if !ok {
			return a, &LineError{r.line, "##" + r.as + "= " + strconv.Quote(r.value), "a number", "correct the label"}
		}
		*l.to, a.has[l.label] = v, true
	}
	if r := j.block.get("NPOINTS"); r != nil && r.value != "" {
		v, ok := labelNumber(r.value)
		if !ok || v < 1 || v > mostOrdinates*20 || v != math.Trunc(v) {
			return a, &LineError{r.line, "##" + r.as + "= " + strconv.Quote(r.value), "a number of points", "correct the label"}
		}
		a.points, a.has["NPOINTS"] = int(v), true
	}
	if a.factorX == 0 || a.factorY == 0 {
		return a, &LineError{j.block.line, "a factor of zero", "XFACTOR and YFACTOR other than zero", "correct the labels of this block"}
	}
	return a, nil
}

// labelNumber reads the number of a label, in free form.
func labelNumber(s string) (float64, bool) {
	v, err := strconv.ParseFloat(strings.TrimSpace(strings.NewReplacer("D", "E", "d", "e").Replace(s)), 64)
	return v, err == nil && v-v == 0
}

// table reads the numbers below a label, in the form that stands behind it.
func (j *jcampReader) table(r *jcampRecord, form string, a axisData) (*Text, error) {
	folded := strings.ToUpper(strings.ReplaceAll(form, " ", ""))
	folded, _, _ = strings.Cut(folded, "),")
	folded = strings.TrimSuffix(folded, ")")
	var t *Text
	var err error
	switch {
	case strings.HasPrefix(folded, "(X++(Y..Y"), strings.HasPrefix(folded, "(X++(R..R"), strings.HasPrefix(folded, "(X++(I..I"):
		t, err = j.ordinates(r, a)
	case strings.HasPrefix(folded, "(XY..XY"), strings.HasPrefix(folded, "(XR..XR"), strings.HasPrefix(folded, "(XI..XI"):
		t, err = j.points(r, a)
	default:
		return nil, &LineError{r.line, "a table of the form " + strconv.Quote(form), "(X++(Y..Y)) or (XY..XY)", "export the spectrum in one of these forms"}
	}
	if err != nil {
		return nil, err
	}
	t.Pairs, t.Lines, t.Separator = j.pairs, j.lines, "JCAMP-DX"
	t.Notes = append(j.notes, t.Notes...)
	j.notes = nil
	if title := j.block.get("TITLE"); title != nil {
		t.Names = append(t.Names, Name{title.value, title.line})
	}
	return t, nil
}

// ordinates reads evenly spaced points.
func (j *jcampReader) ordinates(r *jcampRecord, a axisData) (*Text, error) {
	d := asdf{data: j.data, most: mostOrdinates}
	if a.points > 0 {
		d.most = a.points
	}
	if err := d.decode(r.from, r.to, r.line+1); err != nil {
		return nil, err
	}
	n := len(d.y)
	if n < 2 {
		return nil, &LineError{r.line, count(n, "ordinate"), "at least two", "copy the file again"}
	}
	if a.points > 0 && n != a.points {
		return nil, &LineError{d.at[n-1], count(n, "ordinate"), "the " + itoa(a.points) + " that ##NPOINTS= says", "the file seems cut off or a line missing: copy it again"}
	}
	if !a.has["FIRSTX"] {
		a.first = d.x[0] * a.factorX
	}
	step, err := a.step(&d, r)
	if err != nil {
		return nil, err
	}
	for k, x := range d.x {
		want := a.first + float64(d.xLine[k])*step
		if got := x * a.factorX; math.Abs(got-want) > d.ulp[k]*math.Abs(a.factorX)*1.01+1e-6*math.Abs(want) && math.Abs(got-want) > 1e-6*math.Abs(step) {
			return nil, &LineError{d.lines[k], "the abscissa " + formatShort(got), formatShort(want) + ", where point " + itoa(d.xLine[k]+1) + " lies (the check of abscissae)",
				"a line is damaged or missing: copy the file again, or correct FIRSTX, LASTX, DELTAX, XFACTOR or NPOINTS"}
		}
	}
	t := &Text{Columns: [][]float64{make([]float64, n), d.y}, Valid: [][]bool{nil, d.valid}, FirstLine: d.at[0], LastLine: d.at[n-1], rowLines: d.at}
	for i := range n {
		t.Columns[0][i] = a.first + float64(i)*step
		t.Columns[1][i] *= a.factorY
	}
	if a.has["LASTX"] && a.points > 0 {
		t.Columns[0][n-1] = a.last
	}
	if k := n - known(d.valid, n); k > 0 {
		t.Notes = append(t.Notes, Note{Text: count(k, "point") + " without an ordinate (?)", Minor: true})
	}
	a.checkY(t)
	return t, nil
}

// step is the distance between points: from FIRSTX, LASTX and NPOINTS, or DELTAX, or the abscissae of the first and the last line.
func (a *axisData) step(d *asdf, r *jcampRecord) (float64, error) {
	n := len(d.y)
	switch last := len(d.x) - 1; {
	case a.has["LASTX"] && a.points > 1:
		return (a.last - a.first) / float64(n-1), nil
	case a.has["DELTAX"] && a.delta != 0:
		return a.delta, nil
	case a.has["LASTX"]:
		return (a.last - a.first) / float64(n-1), nil
	case last > 0 && d.xLine[last] > d.xLine[0] && d.x[last] != d.x[0]:
		return (d.x[last] - d.x[0]) * a.factorX / float64(d.xLine[last]-d.xLine[0]), nil
	}
	return 0, &LineError{r.line, "neither LASTX nor DELTAX", "one of them", "add the label, or export the file anew"}
}

// checkY notes labels that disagree with the ordinates.
func (a *axisData) checkY(t *Text) {
	y, valid := t.Columns[1], t.Valid[1]
	lo, hi := math.Inf(1), math.Inf(-1)
	loAt, hiAt := 0, 0
	for i, v := range y {
		if valid != nil && !valid[i] {
			continue
		}
		if v < lo {
			lo, loAt = v, i
		}
		if v > hi {
			hi, hiAt = v, i
		}
	}
	differ := func(got, want float64) bool {
		return math.Abs(got-want) > 5e-4*max(math.Abs(want), 1e-3*max(math.Abs(lo), math.Abs(hi)))+math.Abs(a.factorY)
	}
	if a.has["FIRSTY"] && (valid == nil || valid[0]) && differ(y[0], a.firstY) {
		t.Notes = append(t.Notes, Note{fmt.Sprintf("the first ordinate is %.6g, where FIRSTY says %.6g", y[0], a.firstY), []int{t.Line(0)}, false})
	}
	if a.has["MAXY"] && differ(hi, a.maxY) {
		t.Notes = append(t.Notes, Note{fmt.Sprintf("the largest ordinate is %.6g, where MAXY says %.6g", hi, a.maxY), []int{t.Line(hiAt)}, false})
	}
	if a.has["MINY"] && differ(lo, a.minY) {
		t.Notes = append(t.Notes, Note{fmt.Sprintf("the smallest ordinate is %.6g, where MINY says %.6g", lo, a.minY), []int{t.Line(loAt)}, false})
	}
}

// points reads pairs of numbers.
func (j *jcampReader) points(r *jcampRecord, a axisData) (*Text, error) {
	t := &Text{Columns: make([][]float64, 2), Valid: make([][]bool, 2)}
	line := r.line + 1
	for i := r.from; i < r.to; line++ {
		next := min(lineEnd(j.data, i), r.to)
		text := jcampComment(plainWords(j.data[i:next]))
		i = next
		var numbers []float64
		for k := 0; k < len(text); {
			if c := text[k]; c == ' ' || c == '\t' || c == ',' || c == ';' || c == 0x1A {
				k++
				continue
			}
			v, end, ok := scanNumber([]byte(text), k, '.')
			if !ok || v-v != 0 {
				return nil, &LineError{line, strconv.Quote(clip([]byte(text[k:]))), "a number", "mend the line, or copy the file again"}
			}
			numbers = append(numbers, v)
			k = end
		}
		if len(numbers)%2 != 0 {
			return nil, &LineError{line, count(len(numbers), "number"), "pairs", "mend the line, or copy the file again"}
		}
		for k := 0; k < len(numbers); k += 2 {
			t.Columns[0], t.Columns[1] = append(t.Columns[0], numbers[k]*a.factorX), append(t.Columns[1], numbers[k+1]*a.factorY)
			t.rowLines = append(t.rowLines, line)
		}
	}
	n := len(t.rowLines)
	if n == 0 || a.points > 0 && n != a.points {
		return nil, &LineError{line - 1, count(n, "point"), itoa(max(a.points, 1)) + ", as ##NPOINTS= says", "the file seems cut off: copy it again"}
	}
	t.FirstLine, t.LastLine = t.rowLines[0], t.rowLines[n-1]
	a.checkY(t)
	return t, nil
}

// jcampHead gives quantity and unit of an axis from its label. What is not known keeps its unit as written, and the study must say it.
func jcampHead(r *jcampRecord, name string) Head {
	if r == nil || r.value == "" {
		return Head{Name: name, Text: name}
	}
	h := Head{Name: name, Unit: r.value, Text: r.value}
	switch strings.ToUpper(r.value) {
	case "1/CM", "CM-1", "CM^-1":
		h.Name, h.Unit = "wavenumber", "1/cm"
	case "NANOMETERS", "NANOMETRES", "NM", "NANOMETER":
		h.Name, h.Unit = "wavelength", "nm"
	case "MICROMETERS", "MICROMETRES", "UM", "MICRONS":
		h.Name, h.Unit = "wavelength", "um"
	case "SECONDS", "SEC", "S":
		h.Name, h.Unit = "time", "s"
	case "NANOSECONDS", "NS":
		h.Name, h.Unit = "time", "ns"
	case "HZ":
		h.Name, h.Unit = "frequency", "Hz"
	case "ABSORBANCE", "TRANSMITTANCE", "REFLECTANCE", "EMISSION":
		h.Name, h.Unit = strings.ToLower(r.value), ""
	case "%TRANSMITTANCE", "% TRANSMITTANCE", "PERCENT TRANSMITTANCE", "%T":
		h.Name, h.Unit = "transmittance", "%"
	case "COUNTS":
		h.Name, h.Unit = "counts", ""
	case "COUNTS/S", "COUNTS PER SECOND":
		h.Name, h.Unit = "intensity", "1/s"
	case "ARBITRARY UNITS", "RELATIVE INTENSITY", "INTENSITY", "A.U.":
		h.Name, h.Unit = "intensity", ""
	default:
		if u, err := catalog.ParseUnit(r.value); err == nil {
			h.Unit = u.Code()
		}
	}
	return h
}
