package mixing

import (
	"fmt"
	"strings"
)

// decayFile is a decay of the first day: a long header, a footer.
func decayFile(r row, band string, c counter, counts []float64) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "photon counter\nsample: %s\nband: %s\nchannel width: %s ns\nchannels: %d\n\ntime,counts\n", r.sample, band, form(c.width, 4), c.channels)
	for k, n := range counts {
		fmt.Fprintf(&b, "%s,%s\n", form(float64(k)*c.width, 4), form(n, 0))
	}
	for k := range 60 {
		fmt.Fprintf(&b, "; log %02d: pulse steady\n", k)
	}
	return []byte(b.String())
}

// decayTimes is a decay of the second day, with times in ps.
func decayTimes(c counter, counts []float64) []byte {
	var b strings.Builder
	b.WriteString("ps  n\r\n")
	for k, n := range counts {
		fmt.Fprintf(&b, "%8s %7s\r\n", form(1000*float64(k)*c.width, 1), form(n, 0))
	}
	return []byte(b.String())
}

// responseFile is the response of a day and band.
func responseFile(c counter, counts []float64) []byte {
	var b strings.Builder
	b.WriteString("t;n\n")
	for k, n := range counts {
		fmt.Fprintf(&b, "%s;%s\n", comma(float64(k)*c.width, 4), form(n, 0))
	}
	return []byte(b.String())
}

// ringAverage is a scattering curve of the first day: remarks, blanks between columns, and a footer.
func (w *world) ringAverage(r row) []byte {
	q, i, u := w.camera(r)
	var b strings.Builder
	fmt.Fprintf(&b, "! beam line camera, ring averages of 3 exposures\n! sample: %s\n! capillary 25 °C\n", r.sample)
	for k := range q {
		fmt.Fprintf(&b, " %.6E  %.6E  %.4E\n", q[k], i[k], u[k])
	}
	b.WriteString("! end of curve\n")
	return []byte(b.String())
}

// delivered is a scattering curve of the second day, as canSAS XML.
func (w *world) delivered(r row) []byte {
	if r.sample == emptyFile {
		return nil
	}
	q, i, u := w.camera(r)
	var b strings.Builder
	fmt.Fprintf(&b, `<?xml version="1.0"?>
<SASroot version="1.1" xmlns="urn:cansas1d:1.1">
<SASentry name="%[1]s"><Title>%[1]s</Title><Run>%[1]s</Run>
<SASdata name="average">
`, r.sample)
	for k := range q {
		fmt.Fprintf(&b, "<Idata><Q unit=\"1/A\">%.6e</Q><I unit=\"none\">%.6e</I><Idev unit=\"none\">%.4e</Idev></Idata>\n", q[k], i[k], u[k])
	}
	fmt.Fprintf(&b, `</SASdata>
<SASsample><ID>%s</ID></SASsample>
<SASinstrument><name>beam line</name><SASsource><radiation>x-ray</radiation></SASsource><SAScollimation/><SASdetector><name>pixels</name></SASdetector></SASinstrument>
<SASnote/>
</SASentry>
</SASroot>
`, r.sample)
	return []byte(b.String())
}

// plateRows is the export of a plate: a row a sample, wavelengths across, in percent with decimal commas.
func (w *world) plateRows(rows []row) []byte {
	at := []float64{580, 600, 620, 640, 660}
	var b strings.Builder
	b.WriteString("well")
	for _, l := range at {
		b.WriteString(";" + comma(l, 0))
	}
	b.WriteString("\r\n")
	for _, r := range rows {
		b.WriteString(r.sample)
		for _, t := range w.plateReader(r, at) {
			b.WriteString(";" + comma(100*t, 2))
		}
		b.WriteString("\r\n")
	}
	return []byte(b.String())
}

// plateLong is the export of another plate: a point a row.
func (w *world) plateLong(rows []row) []byte {
	at := []float64{600, 620, 640}
	var b strings.Builder
	b.WriteString("sample\tnm\tT\n")
	for _, r := range rows {
		for k, t := range w.plateReader(r, at) {
			fmt.Fprintf(&b, "%s\t%s\t%s\n", r.sample, form(at[k], 0), form(t, 4))
		}
	}
	return []byte(b.String())
}
