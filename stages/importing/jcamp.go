package importing

import (
	"bytes"
	"strings"
)

// jcampRecord is a labelled data record of JCAMP-DX: `##LABEL= value`, up to the next label.
type jcampRecord struct {
	label string // folded: upper case, without blanks, dashes, slashes and underscores
	as    string // as written
	value string // the rest of the label's line, without comments
	line  int    // of the label
	from  int    // bytes of the lines below it
	to    int
}

// jcampBlock is what stands between ##TITLE= and ##END=.
type jcampBlock struct {
	records []jcampRecord
	line    int
	whole   bool // it has its ##END=
}

// get gives the first record with a label.
func (b *jcampBlock) get(label string) *jcampRecord {
	for i := range b.records {
		if b.records[i].label == label {
			return &b.records[i]
		}
	}
	return nil
}

// isJCAMP says whether the first lines that are neither blank nor comments are labels, and one of them TITLE or JCAMP-DX.
func isJCAMP(data []byte) bool {
	for i, n := 0, 0; i < len(data) && n < 50; n++ {
		next := lineEnd(data, i)
		line := bytes.TrimSpace(data[i:next])
		i = next
		if len(line) == 0 || bytes.HasPrefix(line, []byte("$$")) {
			continue
		}
		label, _, _, ok := jcampLabel(string(line[:min(len(line), 200)]))
		if !ok {
			return false
		}
		if label == "TITLE" || label == "JCAMPDX" {
			return true
		}
	}
	return false
}

// jcampLabel takes a line apart that begins a record.
func jcampLabel(line string) (label, as, value string, ok bool) {
	line = strings.TrimSpace(line)
	if !strings.HasPrefix(line, "##") {
		return "", "", "", false
	}
	as, value, ok = strings.Cut(line[2:], "=")
	if !ok {
		return "", "", "", false
	}
	return strings.ToUpper(strings.NewReplacer(" ", "", "-", "", "/", "", "_", "", "\t", "").Replace(as)), strings.TrimSpace(as), strings.TrimSpace(value), true
}

// jcampComment cuts a comment off a line.
func jcampComment(line string) string {
	line, _, _ = strings.Cut(line, "$$")
	return strings.TrimSpace(line)
}

// jcampBlocks reads the records of all blocks, those of a LINK block before those of its inner blocks. Each inner block comes with the records of the
// blocks around it as outer ones.
func jcampBlocks(data []byte) (blocks []*jcampBlock, outer [][]*jcampBlock, lines int, err error) {
	var open []*jcampBlock
	for i := 0; i < len(data); {
		next := lineEnd(data, i)
		lines++
		text := plainWords(bytes.Trim(data[i:next], "\r\n\x1A"))
		start := i
		i = next
		label, as, value, ok := jcampLabel(jcampComment(text))
		if !ok {
			if n := len(open); n > 0 && len(open[n-1].records) > 0 {
				r := &open[n-1].records
				last := &(*r)[len(*r)-1]
				if last.to == last.from {
					last.from = start
				}
				last.to = next
			}
			continue
		}
		if label == "TITLE" {
			if len(open) == 8 {
				return nil, nil, lines, &LineError{lines, "blocks within blocks, eight deep", "a few at most", "look at the file: does each ##TITLE= have its ##END=?"}
			}
			b := &jcampBlock{line: lines}
			blocks = append(blocks, b)
			outer = append(outer, append([]*jcampBlock(nil), open...))
			open = append(open, b)
		}
		if len(open) == 0 {
			if label == "END" {
				return nil, nil, lines, &LineError{lines, "##END= without ##TITLE=", "an open block", "look at the file"}
			}
			b := &jcampBlock{line: lines}
			blocks, outer, open = append(blocks, b), append(outer, nil), append(open, b)
		}
		if label == "END" {
			open[len(open)-1].whole = true
			open = open[:len(open)-1]
			continue
		}
		b := open[len(open)-1]
		b.records = append(b.records, jcampRecord{label: label, as: as, value: value, line: lines})
	}
	return blocks, outer, lines, nil
}

// EachJCAMP reads the spectra of a JCAMP-DX file (McDonald and Wilks, Appl. Spectrosc. 42 (1988) 151, version 4.24; 5.00 and 5.01 are read alike): XYDATA as
// (X++(Y..Y)) in any of the forms AFFN, PAC, SQZ, DIF and DIFDUP or a mixture, XYPOINTS and PEAK TABLE as (XY..XY), and NTUPLES with a page for each curve, in single
// blocks or within LINK blocks. Numbers are multiplied by their factors; the abscissa of evenly spaced data runs from FIRSTX to LASTX.
//
// The checks of the format are made. An ordinate at the beginning of a line that does not repeat the last one of a line in DIF form, an abscissa there that is not
// where it should be, and a number of points other than NPOINTS are errors; FIRSTY, MAXY and MINY that disagree are noted.
//
// Errors are *LineError: what fails a check, what cannot be read, a file without spectra, and what yield returns.
func EachJCAMP(data []byte, yield func(*Text) error) error {
	data, notes, err := plainText(data)
	if err != nil {
		return err
	}
	blocks, outer, lines, err := jcampBlocks(data)
	if err != nil {
		return err
	}
	n := 0
	for i, b := range blocks {
		j := jcampReader{data: data, block: b, lines: lines}
		for _, o := range outer[i] {
			j.pairs = over(j.pairs, jcampPairs(o))
		}
		j.pairs = over(j.pairs, jcampPairs(b))
		if n == 0 {
			j.notes = notes
		}
		err := j.each(func(t *Text) error {
			n++
			return yield(t)
		})
		if err != nil {
			return err
		}
	}
	if n == 0 {
		return &LineError{0, "a JCAMP-DX file without XYDATA, XYPOINTS, PEAK TABLE or NTUPLES", "a spectrum", "export the spectrum too"}
	}
	return nil
}

// jcampPairs gives the statements of a block.
func jcampPairs(b *jcampBlock) []Pair {
	var out []Pair
	for _, r := range b.records {
		switch r.label {
		case "XYDATA", "XYPOINTS", "PEAKTABLE", "PEAKASSIGNMENTS", "DATATABLE", "PAGE", "ENDNTUPLES":
			continue
		}
		if r.value != "" {
			out = append(out, Pair{r.as, r.value, r.line})
		}
	}
	return out
}
