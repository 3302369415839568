package mixing

import (
	"fmt"
	"math"
	"strings"
)

// absorbanceAt are the wavelengths of the photometer, from long to short, as it scans.
func absorbanceAt() []float64 {
	at := wavelengths(260, 780, 2)
	for i, j := 0, len(at)-1; i < j; i, j = i+1, j-1 {
		at[i], at[j] = at[j], at[i]
	}
	return at
}

// absorbanceSheet is the first day's export: one wavelength column, a column a sample, semicolons, decimal commas, Latin-1,
// Windows line ends.
func (w *world) absorbanceSheet(rows []row) []byte {
	at := absorbanceAt()
	columns := make([][]float64, len(rows))
	var b strings.Builder
	b.WriteString("Bench photometer, cell at 25 °C;" + strings.Repeat(";", len(rows)-1) + "\r\nBand pass;2,0 nm" + strings.Repeat(";", len(rows)-1) + "\r\nnm")
	for k, r := range rows {
		columns[k] = w.photometer(r, at)
		b.WriteString(";" + r.sample)
	}
	b.WriteString("\r\n")
	for i, l := range at {
		b.WriteString(comma(l, 1))
		for _, c := range columns {
			b.WriteString(";" + comma(c[i], 5))
		}
		b.WriteString("\r\n")
	}
	return latin1(b.String())
}

// absorbanceFile is a file of the second day: a header of "key = value", blanks between numbers, bare carriage returns.
func (w *world) absorbanceFile(r row) []byte {
	at := absorbanceAt()
	a := w.photometer(r, at)
	solvent := r.salt
	if r.sample == wrongSolvent {
		solvent = "CaCl2"
	}
	var b strings.Builder
	fmt.Fprintf(&b, "Photometer = second floor\rSample = %s\rSolvent = %s\rPoints = %d\r\r", r.sample, solvent, len(at))
	for k, l := range at {
		fmt.Fprintf(&b, "%8.1f %12.4E\r", l, a[k])
	}
	return []byte(b.String())
}

// emissionFile is a scan of the first day: UTF-16, tabs, decimal commas, a header of "key: value".
func (w *world) emissionFile(r row, ex float64) []byte {
	at, counts := w.fluorimeter(r, ex)
	var b strings.Builder
	fmt.Fprintf(&b, "Sample:\t%s\r\nExcitation [nm]:\t%s\r\nDwell time:\t%s s\r\n\r\nWavelength\tSignal\r\n", r.sample, comma(ex, 1), comma(dwell(r.day), 2))
	for k, l := range at {
		reading := form(counts[k], 0)
		if counts[k] > overLight {
			reading = "OVER"
		}
		fmt.Fprintf(&b, "%s\t%s\r\n", comma(l, 1), reading)
	}
	return utf16le(b.String())
}

// rates turns counts of the second day into thousands a second, and gives their standard uncertainty.
func rates(counts, seconds float64) (rate, u float64) {
	return counts / seconds / 1000, math.Sqrt(max(counts, 1)) / seconds / 1000
}

// emissionBlocks is all of the second day in one compressed file, a block a scan.
func (w *world) emissionBlocks(rows []row) ([]byte, error) {
	var b strings.Builder
	for _, r := range rows {
		for _, ex := range excitations(r) {
			fmt.Fprintf(&b, "# %s, excited at %s\n", r.sample, form(ex, 0))
			at, counts := w.fluorimeter(r, ex)
			for k, l := range at {
				rate, u := rates(counts[k], dwell("d2"))
				fmt.Fprintf(&b, "%s %s %s\n", form(l, 1), form(rate, 5), form(u, 5))
			}
			b.WriteString("\n")
		}
	}
	return compressed([]byte(b.String()))
}

// darkFile is the dark scan of a day.
func (w *world) darkFile(day string) []byte {
	at, counts := w.shutter(day)
	var b strings.Builder
	if day == "d1" {
		fmt.Fprintf(&b, "Shutter: closed\rDwell time: %s s\rnm\tcounts\r", comma(patience*dwell(day), 1))
		for k, l := range at {
			fmt.Fprintf(&b, "%s\t%s\r", comma(l, 1), form(counts[k], 0))
		}
		return []byte(b.String())
	}
	b.WriteString("wavelength,rate,sd\n")
	for k, l := range at {
		rate, u := rates(counts[k], patience*dwell(day))
		fmt.Fprintf(&b, "%s,%s,%s\n", form(l, 1), form(rate, 6), form(u, 6))
	}
	return []byte(b.String())
}

// excitations lists the exciting wavelengths at which a row was scanned.
func excitations(r row) []float64 {
	switch {
	case !r.liquid():
		return nil
	case r.donorOnly():
		return []float64{350}
	}
	return []float64{350, 520}
}
