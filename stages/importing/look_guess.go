package importing

import (
	"math"
	"regexp"
	"slices"
	"strings"

	"fascicle/catalog"
)

// headWord is a word by which heads name a quantity.
type headWord struct {
	words    *regexp.Regexp // of the head in small letters, without its unit
	name     string
	quantity string
	unit     string // usual one, where there is one
	axis     bool   // it is an axis
}

// headWords is common practice in exports, no source. The first that fits counts.
var headWords = []headWord{
	{regexp.MustCompile(`^(u_|d)?(err(or)?s?|sigma|σ|sd|std(dev)?|stddev.*|esd|idev|uncertainty|standard deviation)$|^(error|uncertainty|sigma|stddev)\b`), "u", "standard uncertainty", "", false},
	{regexp.MustCompile(`wavelength|wellenl|^lambda$|^λ$|^wl$`), "wavelength", "wavelength", "nm", true},
	{regexp.MustCompile(`wave ?number|raman shift`), "wavenumber", "wavenumber", "1/cm", true},
	{regexp.MustCompile(`^q([^a-z0-9]|$)|scattering vector`), "q", "scattering vector", "", true},
	{regexp.MustCompile(`channel`), "channel", "number of a channel", "", true},
	{regexp.MustCompile(`time|^t$|delay|zeit`), "time", "time", "", true},
	{regexp.MustCompile(`energy`), "energy", "energy", "eV", true},
	{regexp.MustCompile(`temp`), "temperature", "temperature", "", true},
	{regexp.MustCompile(`^%t\b|^t%|transmittance|transmission`), "transmittance", "transmittance", "%", false},
	{regexp.MustCompile(`absorb|^abs$|^abs\.|^a$|^od\d*$|extinction`), "absorbance", "absorbance", "1", false},
	{regexp.MustCompile(`turbidity`), "turbidity", "turbidity", "", false},
	{regexp.MustCompile(`count|^irf$|prompt|^decay`), "counts", "counts", "1", false},
	{regexp.MustCompile(`^i([^a-z]|$)|intensity|signal|fluoresc|emission|^pl$`), "intensity", "intensity", "", false},
	{regexp.MustCompile(`^conc`), "concentration", "concentration", "", false},
}

// guessColumns says what the columns of a curve seem to be: by their heads, else by their units, else by their numbers. Guessed is set where the file does
// not say it.
func guessColumns(x *Text, c *SeenCurve) {
	if x.layout == ImageLayout {
		col := &c.Columns[0]
		col.Name, col.Quantity = "value", "brightness"
		if col.counts {
			col.Name, col.Quantity, col.Unit, col.Guessed = "counts", "counts", "1", true
		}
		return
	}
	values := x.layout == Lines || x.layout == Plate
	for k := range c.Columns {
		col := &c.Columns[k]
		axis := k == 0 && !values
		head := Head{}
		if x.Heads != nil {
			head = x.Heads[k]
		}
		known := col.fromUnit(head, axis)
		if !known {
			known = col.fromWord(head, axis, c.Columns[:k], values)
		}
		if !known && !values {
			col.fromNumbers(x, k, c.Columns[:k])
		}
		if col.Name == "" {
			switch {
			case values || k > 1:
				col.Name = identifier(head.Name)
			case k == 0:
				col.Name = "x"
			default:
				col.Name = "y"
			}
			if col.Name == "" {
				col.Name = "column" + itoa(k+1)
			}
		}
		for n, base := 2, col.Name; slices.ContainsFunc(c.Columns[:k], func(o SeenColumn) bool { return o.Name == col.Name }); n++ {
			col.Name = base + itoa(n)
		}
	}
}

// fromUnit takes the unit of a head, or a head that is a unit, and on an axis what it measures.
func (col *SeenColumn) fromUnit(head Head, axis bool) bool {
	text := head.Unit
	if text == "" && unitAlone(head.Name) {
		text = head.Name
	}
	if text == "" {
		return false
	}
	u, err := catalog.ParseUnit(text)
	if err != nil || onlyDigits(text) {
		return false
	}
	col.Unit = unitText(u.Code())
	if !axis {
		return false
	}
	for _, q := range []struct{ unit, name, quantity string }{{"nm", "wavelength", "wavelength"}, {"ns", "time", "time"}, {"K", "temperature", "temperature"}, {"eV", "energy", "energy"}, {"mol/L", "concentration", "concentration"}} {
		known, err := catalog.ParseUnit(q.unit)
		if err == nil && known.Dim() == u.Dim() {
			col.Name, col.Quantity = q.name, q.quantity
			return true
		}
	}
	wave, err := catalog.ParseUnit("1/nm")
	if err == nil && wave.Dim() == u.Dim() {
		col.Name, col.Quantity = "q", "scattering vector"
		if u.Code() == "1/cm" {
			col.Name, col.Quantity = "wavenumber", "wavenumber"
		}
		return true
	}
	return false
}

// unitAlone says that a head is a unit that can hardly be anything else.
func unitAlone(s string) bool {
	switch s {
	case "nm", "um", "µm", "Å", "ps", "ns", "us", "µs", "ms", "eV", "cm-1", "1/cm", "cm^-1", "1/nm", "1/Å", "°C":
		return true
	}
	return false
}

// fromWord takes what the head is called.
func (col *SeenColumn) fromWord(head Head, axis bool, before []SeenColumn, values bool) bool {
	word := strings.ToLower(strings.TrimSpace(head.Name))
	if word == "" || values && len(word) == 1 {
		return false
	}
	if of, ok := strings.CutPrefix(head.Name, "u_"); ok && len(before) > 0 {
		col.Name, col.Quantity = head.Name, "standard uncertainty of "+of
		return true
	}
	for _, h := range headWords {
		if !h.words.MatchString(word) || h.axis != axis && !values {
			continue
		}
		if h.name == "u" {
			if axis || len(before) < 2 || values {
				return false
			}
			of := before[1]
			for _, b := range before[1:] {
				if !strings.HasPrefix(b.Name, "u_") {
					of = b
				}
			}
			col.Name, col.Quantity, col.Unit = "u_"+of.Name, "standard uncertainty of "+of.Name, of.Unit
			return true
		}
		col.Quantity, col.Guessed = h.quantity, word == "a" || word == "t"
		if col.Name = h.name; values {
			col.Name = identifier(head.Name)
		}
		if col.Unit == "" && h.unit != "" {
			col.Unit, col.Guessed = h.unit, col.Guessed || h.unit != "1"
		}
		if h.name == "transmittance" && col.High != nil && *col.High <= 1.5 && col.Guessed {
			col.Unit = "1"
		}
		return true
	}
	return false
}

// fromNumbers takes what the numbers suggest.
func (col *SeenColumn) fromNumbers(x *Text, k int, before []SeenColumn) {
	if col.Low == nil {
		return
	}
	lo, hi := *col.Low, *col.High
	n := float64(col.Numbers)
	switch {
	case k == 0 && col.counts && lo <= 1 && hi-lo == n-1 && n > 20:
		col.Name, col.Quantity, col.Guessed = "channel", "number of a channel", true
	case k == 0 && col.Unit == "" && lo >= 150 && hi <= 3000 && hi-lo >= 20 && (hi-lo)/max(n-1, 1) <= 20:
		col.Name, col.Quantity, col.Unit, col.Guessed = "wavelength", "wavelength", "nm", true
	case k == 1 && col.counts && hi >= 20:
		col.Name, col.Quantity, col.Guessed = "counts", "counts", true
		if col.Unit == "" {
			col.Unit = "1"
		}
	case k == 2 && len(x.Columns) == 3 && lo > 0 && x.Heads == nil && smaller(x.Columns[2], x.Columns[1]):
		col.Name, col.Quantity, col.Unit, col.Guessed = "u_"+before[1].Name, "standard uncertainty of "+before[1].Name, before[1].Unit, true
	}
}

// smaller says that in most rows the first is smaller than the second in size.
func smaller(a, b []float64) bool {
	n := 0
	for i := range a {
		if math.Abs(a[i]) < math.Abs(b[i]) {
			n++
		}
	}
	return 4*n > 3*len(a)
}

var notName = regexp.MustCompile(`[^A-Za-z0-9_]+`)

// identifier makes a name of a head: letters, digits and _, a letter first; "" when nothing is left.
func identifier(head string) string {
	s := strings.Trim(notName.ReplaceAllString(head, "_"), "_")
	for s != "" && (s[0] == '_' || digit(s[0])) {
		s = s[1:]
	}
	if len(s) > 40 {
		s = strings.Trim(s[:40], "_")
	}
	if !catalog.IsIdentifier(s) {
		return ""
	}
	return s
}
