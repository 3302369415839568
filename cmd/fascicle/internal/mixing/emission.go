package mixing

import "math"

// Emission bands of both polymers, in nm: middle, standard deviation and height of the transitions 0-0, 0-1, ….
type line struct{ middle, sigma, height float64 }

var (
	violaneLines  = []line{{394, 7.5, 1}, {417, 8.5, 0.70}, {441, 10, 0.35}, {466, 12, 0.12}}
	ambrelleLines = []line{{584, 12, 0.8}, {637, 13.5, 1}, {692, 17, 0.45}} // the first height goes with the ratio
)

// violaneShine is the donor's spectrum.
func violaneShine(l float64) (y float64) {
	for _, b := range violaneLines {
		y += b.height * bell(l, b.middle, b.sigma)
	}
	return y
}

// ambrelleShine is the acceptor's, with the height of 0-0 over 0-1 before they overlap, and a shift to the red in nm.
func ambrelleShine(l, order, shift float64) (y float64) {
	for k, b := range ambrelleLines {
		h := b.height
		if k == 0 {
			h = order
		}
		y += h * bell(l, b.middle+shift, b.sigma)
	}
	return y
}

// aloneOrder is the acceptor's 0-0 over 0-1 without a donor.
const aloneOrder = 0.78

// Light in counts at the top of a band for 1 mmol/L of repeat units, and from what is in every cell and detector.
const (
	violaneLight  = 20000 // counts
	ambrelleLight = 90000
	transferLight = 6000
	stray         = 900  // counts of a cell with solvent
	darkLight     = 1300 // counts with the shutter closed
	ramanLight    = 1600
	patience      = 40      // how much longer the dark is measured
	openSlits     = 300     // times as much light in the scan that saturates
	overLight     = 1 << 20 // counts above which a detector shows no number
)

// reading is what a count is in the unit of the day's detector, and dwell the time in s that it counts for each point.
func dwell(day string) float64 {
	if day == "d1" {
		return 0.5
	}
	return 0.4
}

// scan gives the wavelengths of an emission scan.
func scan(ex float64) []float64 {
	if ex == 350 {
		return wavelengths(360, 760, 2)
	}
	return wavelengths(536, 720, 1)
}

// emitted is the light that a row sends out for each of its own photons absorbed in a thin cell, in counts: what is found when
// dark, solvent and inner filter are taken off.
func (w *world) emitted(r row, ex, l float64) float64 {
	donor, acceptor := w.concentrations(r)
	left, order, shift := 1.0, aloneOrder, 0.0
	if r.mixing() {
		s := w.sampleOf(r)
		left, order, shift = s.left, s.order, s.shift
	}
	if ex != 350 {
		return ambrelleLight * acceptor * ambrelleShine(l, order, shift)
	}
	y := violaneLight * donor * left * violaneShine(l)
	if acceptor > 0 {
		y += (transferLight*donor*(1-left)*2 + 0.004*ambrelleLight*acceptor) * ambrelleShine(l, order, shift)
	}
	return y
}

// blank is what a cell of solvent sends, in counts: stray light and the Raman band of water, 3400 1/cm below the exciting light.
func blank(ex, l float64) float64 {
	raman := 1e7 / (1e7/ex - 3400)
	return stray + ramanLight*bell(l, raman, raman*raman/397/397*5)
}

// lost is the inner filter: the share of light that comes out of the middle of a cell.
func (w *world) lost(r row, ex, l float64) float64 {
	if r.solvent() {
		return 1
	}
	return math.Pow(10, -(w.extinction(r, ex)+w.extinction(r, l))/2)
}

// fluorimeter gives the counts of a scan of a row.
func (w *world) fluorimeter(r row, ex float64) (at, counts []float64) {
	at = scan(ex)
	rng := w.stream("emission of " + r.sample + " excited at " + form(ex, 0))
	counts = make([]float64, len(at))
	for k, l := range at {
		mean := darkLight + blank(ex, l)
		if !r.solvent() {
			mean += w.emitted(r, ex, l) * w.lost(r, ex, l)
		}
		if r.sample == saturated && ex == 520 {
			mean *= openSlits
		}
		counts[k] = counted(rng, mean)
	}
	return at, counts
}

// shutter gives the counts of a dark scan, which takes patience times as long.
func (w *world) shutter(day string) (at, counts []float64) {
	at = wavelengths(340, 780, 2)
	rng := w.stream("dark of " + day)
	counts = make([]float64, len(at))
	for k := range at {
		counts[k] = counted(rng, darkLight*patience)
	}
	return at, counts
}
