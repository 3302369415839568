package importing

import (
	"strconv"
	"strings"
)

// jcampVariables is what an NTUPLES block says of its variables, by symbol.
type jcampVariables map[string]*jcampVariable

type jcampVariable struct {
	name, units string
	values      map[string]float64 // FIRST, LAST, FACTOR, VARDIM, MIN, MAX
}

// variables reads the lists of an NTUPLES block.
func (j *jcampReader) variables() (jcampVariables, error) {
	r := j.block.get("SYMBOL")
	if r == nil {
		return nil, &LineError{j.block.line, "NTUPLES without ##SYMBOL=", "the symbols of its variables", "export the spectrum as XYDATA"}
	}
	symbols := jcampList(r.value)
	vars := jcampVariables{}
	for _, s := range symbols {
		vars[strings.ToUpper(s)] = &jcampVariable{values: map[string]float64{}}
	}
	for _, label := range [...]string{"VARNAME", "UNITS", "FIRST", "LAST", "FACTOR", "VARDIM", "MIN", "MAX"} {
		r := j.block.get(label)
		if r == nil {
			continue
		}
		for i, text := range jcampList(r.value) {
			if i >= len(symbols) || text == "" {
				continue
			}
			v := vars[strings.ToUpper(symbols[i])]
			switch label {
			case "VARNAME":
				v.name = text
				continue
			case "UNITS":
				v.units = text
				continue
			}
			n, ok := labelNumber(text)
			if !ok {
				return nil, &LineError{r.line, "##" + r.as + "= with " + strconv.Quote(text), "numbers", "correct the label"}
			}
			v.values[label] = n
		}
	}
	return vars, nil
}

func jcampList(s string) []string {
	parts := strings.Split(s, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	return parts
}

// pages reads the pages of an NTUPLES block, a curve each.
func (j *jcampReader) pages(yield func(*Text) error) error {
	vars, err := j.variables()
	if err != nil {
		return err
	}
	var page *jcampRecord
	n := 0
	for i := range j.block.records {
		r := &j.block.records[i]
		if r.label == "PAGE" {
			page = r
		}
		if r.label != "DATATABLE" {
			continue
		}
		x, y := formSymbols(r.value)
		vx, vy := vars[x], vars[y]
		if vx == nil || vy == nil {
			return &LineError{r.line, "a table of the form " + strconv.Quote(r.value), "one of the symbols that ##SYMBOL= lists", "export the spectrum as XYDATA"}
		}
		a := axisData{factorX: 1, factorY: 1, has: map[string]bool{}}
		if v, ok := vx.values["FIRST"]; ok {
			a.first, a.has["FIRSTX"] = v, true
		}
		if v, ok := vx.values["LAST"]; ok {
			a.last, a.has["LASTX"] = v, true
		}
		if v, ok := vx.values["FACTOR"]; ok {
			a.factorX = v
		}
		if v, ok := vy.values["FACTOR"]; ok {
			a.factorY = v
		}
		if v, ok := vx.values["VARDIM"]; ok && v >= 1 && v < mostOrdinates*20 && v == float64(int(v)) {
			a.points = int(v)
		}
		if a.factorX == 0 || a.factorY == 0 {
			return &LineError{j.block.line, "a factor of zero", "factors other than zero", "correct ##FACTOR="}
		}
		form := r.value
		if strings.HasPrefix(strings.ReplaceAll(form, " ", ""), "(X"+y) || strings.Contains(form, "++") {
			form = strings.ReplaceAll(strings.ReplaceAll(form, y+".."+y, "Y..Y"), x+y+".."+x+y, "XY..XY")
		}
		t, err := j.table(r, form, a)
		if err != nil {
			return err
		}
		t.Heads = []Head{jcampHead(&jcampRecord{value: vx.units}, "x"), jcampHead(&jcampRecord{value: vy.units}, "y")}
		if page != nil {
			t.Names = append([]Name{{page.value, page.line}}, t.Names...)
			t.Pairs = append(t.Pairs[:len(t.Pairs):len(t.Pairs)], Pair{page.as, page.value, page.line})
		}
		if vy.name != "" {
			t.Pairs = append(t.Pairs[:len(t.Pairs):len(t.Pairs)], Pair{"VAR_NAME of the page", vy.name, r.line})
		}
		n++
		if err := yield(t); err != nil {
			return err
		}
	}
	if n == 0 {
		return &LineError{j.block.line, "NTUPLES without a page of data", "##DATA TABLE=", "export the spectrum too"}
	}
	return nil
}

// formSymbols finds the variables of a form such as `(X++(R..R)), XYDATA` or `(XY..XY), PEAKS`.
func formSymbols(form string) (x, y string) {
	s := strings.ToUpper(strings.ReplaceAll(form, " ", ""))
	if !strings.HasPrefix(s, "(") {
		return "", ""
	}
	if before, after, ok := strings.Cut(s[1:], "++("); ok {
		y, _, _ = strings.Cut(after, "..")
		return before, y
	}
	pair, _, ok := strings.Cut(s[1:], "..")
	if !ok || len(pair) != 2 {
		return "", ""
	}
	return pair[:1], pair[1:]
}
