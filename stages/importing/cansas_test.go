package importing

import (
	"errors"
	"math"
	"strings"
	"testing"

	"context"
	"fascicle/pipeline"
	"fascicle/pipeline/table"
)

func sasFile(inner string) string {
	return "<?xml version=\"1.0\"?>\n<SASroot version=\"1.1\" xmlns=\"urn:cansas1d:1.1\" xmlns:our=\"ours\">\n" + inner + "\n</SASroot>\n"
}

const sasEntry = `<SASentry name="e1">
<Title> LN35 in salt </Title><Run>7</Run><our:x>foreign <Title>not this</Title></our:x>
<SASdata name="d1"><!-- a comment -->
<Idata><Q unit="1/A">0.01</Q><I unit="1/cm"> 5 </I><Idev unit="1/cm">.1</Idev></Idata>
<Idata><Q unit="1/A">0.02</Q><I unit="1/cm">4E+00</I><Idev unit="1/cm"/></Idata>
</SASdata>
<SAStransmission_spectrum><Tdata><Lambda unit="A">1.5</Lambda><T unit="none">0.9</T></Tdata><Tdata><Lambda unit="A">2</Lambda><T unit="none">0.8</T></Tdata></SAStransmission_spectrum>
<SASsample><ID>LN35</ID><thickness unit="mm">1.5</thickness><transmission>0.75</transmission></SASsample>
<SASinstrument><name>ours</name><SASsource><radiation>x-ray</radiation><wavelength unit="nm">0.1</wavelength></SASsource><SAScollimation/><SASdetector><name>plane</name></SASdetector></SASinstrument>
<SASprocess><date>2031-03-04</date><term name="gain" unit="s"> 3 </term></SASprocess><SASnote/>
</SASentry>`

func TestCanSAS(t *testing.T) {
	const left = " ! transmission spectra left out: 1; `columns: {wavelength: Lambda, transmittance: T}` reads them"
	const missing = " ! Idev is missing in 1 point"
	expectItems(t, setting{header: []string{"transmission = transmission [1]", "taken = date [date]", "gain = gain [s]", "instrument = SASinstrument/name"}}, sasFile(sasEntry),
		"transmission=0.75 | taken=2031-03-04 | gain=3 s | instrument=ours | q 1/nm: 0.1 0.2 | I 1/cm: 5 4 | u_I 1/cm: 0.1 -"+left+missing)
	expectItems(t, setting{curves: "<sample>", columns: []string{"q = Q", "I = I"}}, sasFile(sasEntry), "sample=LN35 | q 1/nm: 0.1 0.2 | I 1/cm: 5 4"+left+missing)
	expectItems(t, setting{curves: "<sample> in *", columns: []string{"q = 1", "I = 2"}}, sasFile(sasEntry), "sample=LN35 | q 1/nm: 0.1 0.2 | I 1/cm: 5 4"+left+missing)
	expectItems(t, setting{columns: []string{"wavelength = Lambda", "transmittance = T"}}, sasFile(sasEntry), "wavelength nm: 0.15 0.2 | transmittance: 0.9 0.8")
	old := strings.NewReplacer("urn:cansas1d:1.1", "cansas1d/1.0", `version="1.1"`, `version="1.0"`).Replace(sasFile(sasEntry))
	expectItems(t, setting{}, old, "q 1/nm: 0.1 0.2 | I 1/cm: 5 4 | u_I 1/cm: 0.1 -"+left+missing)
	two := sasFile(sasEntry + strings.ReplaceAll(strings.ReplaceAll(sasEntry, "LN35", "LN36"), "e1", "e2"))
	expectItems(t, setting{curves: "<sample>", columns: []string{"q = Q", "I = I"}}, two, "sample=LN35 | q 1/nm: 0.1 0.2 | I 1/cm: 5 4"+left+missing, "sample=LN36 | q 1/nm: 0.1 0.2 | I 1/cm: 5 4"+left+missing)
	var b strings.Builder
	b.WriteString("\xFF\xFE")
	for _, c := range strings.Replace(sasFile(sasEntry), `version="1.0"?`, `version="1.0" encoding="UTF-16"?`, 1) {
		b.WriteString(string([]byte{byte(c), 0}))
	}
	expectItems(t, setting{}, b.String(), "q 1/nm: 0.1 0.2 | I 1/cm: 5 4 | u_I 1/cm: 0.1 - ! the text is UTF-16; it was converted"+left+missing)
}

func TestCanSASErrors(t *testing.T) {
	for _, c := range []struct{ name, in, want string }{
		{"cut off", sasFile(sasEntry)[:400], "line 7: found XML that is broken"},
		{"another document", "<?xml version=\"1.0\"?>\n<html></html>", "line 2: found an XML document of <html>"},
		{"no data", sasFile(`<SASentry><Title>x</Title></SASentry>`), "a canSAS file without SASdata"},
		{"no number", sasFile(strings.Replace(sasEntry, " 5 ", "five", 1)), `line 6: found I "five"; expected a number`},
		{"no I", sasFile(strings.Replace(sasEntry, `<I unit="1/cm"> 5 </I>`, "", 1)), "line 6: found a point without I"},
		{"units change", sasFile(strings.Replace(sasEntry, `<Q unit="1/A">0.02`, `<Q unit="1/nm">0.02`, 1)), `line 7: found Q in "1/nm"; expected "1/A" as in the points before`},
		{"twice", sasFile(strings.Replace(sasEntry, `<I unit="1/cm"> 5 </I>`, `<I unit="1/cm">5</I><I unit="1/cm">6</I>`, 1)), "line 6: found two I in a point"},
		{"entities", "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY a \"aaaa\">]><SASroot>&a;</SASroot>", "XML that is broken"},
		{"encoding", strings.Replace(sasFile(sasEntry), `?>`, ` encoding="EBCDIC"?>`, 1), "expected UTF-8, UTF-16 or Latin-1"},
		{"no unit of q", sasFile(strings.ReplaceAll(sasEntry, ` unit="1/A"`, "")), "found the axis q without a unit"},
	} {
		t.Run(c.name, func(t *testing.T) { expectError(t, setting{}, c.in, c.want) })
	}
}

// Measured files. Points, range and sums are those of xml.etree.ElementTree of Python 3.11: float(text) of Q, I, Idev and T of each Idata and Tdata; where a Q comes twice
// (gc_C14), those of the means.
func TestOpenCanSAS(t *testing.T) {
	for _, c := range []struct {
		file          string
		items, points int
		lo, hi        float64 // of Q in 1/Å
		sum, sumU     float64
		columns       []string
	}{
		{"cansas_bimodal_spheres.xml", 1, 91, 0.0040157139, 0.3850296, 36013.72240035003, 899.8498840249998, nil},
		{"cansas_polymer_round_robin.xml", 4, 479, 0.000160444, 0.297132, 346350.0079970001, 9768.826863029997, nil},
		{"cansas_two_entries.xml", 2, 280, 0.009, 0.287, 859.7155199999996, 20.130999999999986, nil},
		{"cansas_with_transmission.xml", 1, 106, 0.00159011, 0.266873, 7398.051134994299, 705.3304158999998, nil},
		{"gc_C14_Diamond_no_Idev.xml", 1, 213, 0.00972, 0.191, 0.35632009000000026, 0.0, []string{"q = Q", "I = I [1]"}},
		{"gc_C4_APS_12keV.xml", 1, 76, 0.0018044, 1.0002, 1835.5430200000003, 41.741300700000004, nil},
	} {
		t.Run(c.file, func(t *testing.T) {
			items, n := 0, 0
			lo, hi, sum, sumU := math.Inf(1), 0.0, 0.0, 0.0
			err := readFile(context.Background(), setting{columns: c.columns, duplicates: "mean"}.settings(t), openFile(t, "scattering/"+c.file), c.file, func(_ []pipeline.Captured, tab *table.Table, _ []pipeline.Remark) error {
				items++
				n += tab.Len()
				for i, q := range tab.Columns[0].Floats {
					lo, hi = min(lo, q/10), max(hi, q/10)
					sum += tab.Columns[1].Floats[i]
					if u := tab.Col("u_I"); u != nil {
						sumU += u.Floats[i]
					}
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			near := func(a, b float64) bool { return math.Abs(a-b) <= 1e-12*math.Abs(b) }
			if items != c.items || n != c.points || !near(lo, c.lo) || !near(hi, c.hi) || !near(sum, c.sum) || !near(sumU, c.sumU) {
				t.Errorf("%d items, %d points, %v to %v, sums %v and %v; want %d, %d, %v to %v, %v and %v", items, n, lo, hi, sum, sumU, c.items, c.points, c.lo, c.hi, c.sum, c.sumU)
			}
		})
	}
	expectError(t, setting{columns: []string{"q = Q", "I = I [1]"}}, string(openFile(t, "scattering/gc_C14_Diamond_no_Idev.xml")), "line 137: found 0.102 on the axis, as on line 136")
	t.Run("transmission", func(t *testing.T) {
		got, _ := countItems(t, setting{columns: []string{"wavelength = Lambda", "transmittance = T"}}, "scattering/cansas_with_transmission.xml")
		if got.items != 2 || got.points != 172 || math.Abs(got.sums[0]+got.sums[1]-153.16548999999995) > 1e-10 {
			t.Errorf("%+v", got)
		}
	})
	t.Run("the template's points lie at one place", func(t *testing.T) {
		_, err := items(t, setting{columns: []string{"q = Q", "I = I"}}, string(openFile(t, "scattering/cansas_template.xml")))
		if err == nil || !strings.Contains(err.Error(), "found 0.03 on the axis, as on line") {
			t.Error(err)
		}
	})
}

func FuzzEachCanSAS(f *testing.F) {
	f.Add(sasFile(sasEntry), false)
	f.Add(sasFile(sasEntry), true)
	f.Add("<SASroot><SASentry><SASdata><Idata><Q>1</Q><I>2</I></Idata></SASdata></SASentry></SASroot>", false)
	f.Fuzz(func(t *testing.T, data string, transmission bool) {
		err := EachCanSAS([]byte(data), transmission, func(x *Text) error {
			if n := x.Rows(); n < 1 || len(x.Columns) < 2 || len(x.Heads) != len(x.Columns) || len(x.Valid) != len(x.Columns) {
				t.Fatalf("%+v", x)
			}
			return nil
		})
		var le *LineError
		if err != nil && (!errors.As(err, &le) || le.Found == "") {
			t.Fatal(err)
		}
	})
}
