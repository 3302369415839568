package importing

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fascicle/catalog"
	"fascicle/pipeline"
)

// channelField is the field that may hold the width of a channel.
const channelField = "channel"

// channelWord stands for an axis that the file lacks: the channels counted from 0.
const channelWord = "channels"

// stated is a width of a channel and who says it.
type stated struct {
	where string
	width float64 // ns
	half  float64 // half a unit of the last digit that is written, ns
}

// channelWidth joins what the setting, names of curves and header say of the width of a channel. They agree when they differ by no
// more than their last digits allow; the one with most digits is taken.
//
// The error names all that was said.
func (s *importSettings) channelWidth(fields []pipeline.Captured) (float64, error) {
	var all []stated
	add := func(where, text string, unit catalog.Unit, has bool) error {
		w, err := readWidth(text, unit, has)
		if err != nil {
			return fmt.Errorf("the width of a channel by %s: %w", where, err)
		}
		w.where = where + " (" + text + ")"
		all = append(all, w)
		return nil
	}
	if s.Channel != "found" {
		if err := add("the setting", s.Channel, catalog.Unit{}, false); err != nil {
			return 0, err
		}
	}
	brought, err := s.Brings()
	if err != nil {
		return 0, err
	}
	for _, b := range brought {
		if b.Name != channelField {
			continue
		}
		text := ""
		for _, f := range fields {
			if f.Name == channelField && (b.Where == "header" || b.Where == "curves") {
				text = f.Text
			}
		}
		if text == "" {
			continue
		}
		unit := b.Unit
		if err := add(map[string]string{"curves": "the curve's name", "header": "the header"}[b.Where], text, unit, b.HasUnit); err != nil {
			return 0, err
		}
	}
	if len(all) == 0 {
		return 0, fmt.Errorf("nothing says the width of a channel; give `channel` as a quantity, or a field `channel` from its header")
	}
	best := all[0]
	for _, a := range all[1:] {
		if a.half < best.half {
			best = a
		}
	}
	for _, a := range all {
		if math.Abs(a.width-best.width) > a.half+best.half {
			var said []string
			for _, a := range all {
				said = append(said, fmt.Sprintf("%s ns by %s", strconv.FormatFloat(a.width, 'g', 6, 64), a.where))
			}
			return 0, fmt.Errorf("found widths of a channel that disagree: %s; expected one width; correct what is wrong, or leave it out", strings.Join(said, ", "))
		}
	}
	return best.width, nil
}

// readWidth reads a width with its unit, which may stand beside it.
func readWidth(text string, unit catalog.Unit, has bool) (stated, error) {
	n, err := catalog.ParseNumber(text)
	if err != nil {
		return stated{}, err
	}
	if !n.HasUnit && has {
		n.Unit, n.HasUnit = unit, true
	}
	ns, err := catalog.ParseUnit("ns")
	if err != nil {
		return stated{}, err
	}
	in, err := n.In(ns)
	if err != nil {
		return stated{}, err
	}
	if !(in.Value > 0) {
		return stated{}, fmt.Errorf("found %s; expected a positive time", text)
	}
	return stated{width: in.Value, half: in.Value / n.Value * lastDigit(text) / 2}, nil
}

// lastDigit is the worth of the last digit of the number that a text begins with: 0.1 of `12.2 ps`.
func lastDigit(text string) float64 {
	mantissa, exponent := strings.TrimSpace(text), 0
	end := 0
	for end < len(mantissa) && (digit(mantissa[end]) || strings.IndexByte("+-.", mantissa[end]) >= 0) {
		end++
	}
	rest := mantissa[end:]
	mantissa = mantissa[:end]
	if len(rest) > 1 && rest[0]|0x20 == 'e' {
		k := 1
		for k < len(rest) && (digit(rest[k]) || k == 1 && (rest[k] == '-' || rest[k] == '+')) {
			k++
		}
		exponent, _ = strconv.Atoi(rest[1:k])
	}
	if i := strings.IndexByte(mantissa, '.'); i >= 0 {
		exponent -= len(mantissa) - i - 1
	}
	return math.Pow(10, float64(exponent))
}

// checkChannel holds what the study says under `channel`.
func (s *importSettings) checkChannel() error {
	switch {
	case s.Channel == "":
		return nil
	case s.lines():
		return fmt.Errorf("channel: it is of curves; `layout: %s` gives values", s.Layout)
	}
	brought, err := s.Brings()
	if err != nil {
		return err
	}
	for _, b := range brought {
		if b.Name == channelField && (b.Where == "files" || b.Where == "fields") {
			// equal files share a result, whatever they are called
			return fmt.Errorf("channel: the field `channel` comes from `%s`, where it cannot be held against the file; give the width as `channel: 12.2 ps`, or by `header`", b.Where)
		}
	}
	if s.Channel == "found" {
		return nil
	}
	_, err = readWidth(s.Channel, catalog.Unit{}, false)
	if err != nil {
		return fmt.Errorf("channel: %w", err)
	}
	return nil
}

// channelNumber refuses an axis that counts no channels.
func (r *reading) channelNumber(v float64, row int) error {
	if v == math.Trunc(v) && math.Abs(v) < 1<<53 {
		return nil
	}
	return fmt.Errorf("line %d: found %v on the axis; expected the whole number of a channel, whose width `channel` gives; leave `channel` out, or correct `columns`", r.text.Line(row), v)
}

// withChannels writes the number of its channel, from 0, before each row of a text that has no axis; a row that follows other lines is the first again.
// Lines above that have as many cells as the rows get one more, so that they head the same columns.
func withChannels(data []byte) []byte {
	l, group := findCells(data)
	sc := gridScanner{data: data, layout: l, group: group}
	sep := l.sep
	if sep == 0 {
		sep = '\t'
	}
	cells := 0
	for i := 0; i < len(data); {
		next, kind := sc.line(i)
		if kind == lineNumeric && sc.words == 0 {
			cells = max(cells, len(sc.cells))
		}
		i = next
	}
	out := make([]byte, 0, len(data)+len(data)/2)
	row := 0
	for i := 0; i < len(data); {
		next, kind := sc.line(i)
		switch {
		case kind == lineNumeric && sc.words == 0:
			out = append(strconv.AppendInt(out, int64(row), 10), sep)
			row++
		default:
			row = 0
			if kind == lineOther && len(sc.cells) == cells && cells > 0 && (l.sep != 0 || cells == 1) && !commentMark(data[i:]) {
				out = append(append(out, channelField...), sep)
			}
		}
		out = append(out, data[i:next]...)
		i = next
	}
	return out
}
