package report

import (
	"encoding/xml"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fascicle/catalog"
	"fascicle/pipeline"
)

var coordinates = regexp.MustCompile(`[ML](-?[0-9.]+) (-?[0-9.]+)`)

// checked draws a plot and checks what is true of every drawing: well-formed, all absolute places within the frame, text as text.
func checked(t *testing.T, pl *plot) (svg string, words []string) {
	t.Helper()
	b, ok := drawn(pl)
	if !ok {
		t.Fatal("nothing was drawn")
	}
	height := 0.0
	walk(t, string(b), func(path []string, token xml.Token) {
		switch x := token.(type) {
		case xml.StartElement:
			if x.Name.Local == "svg" {
				box := strings.Fields(attr(x, "viewBox"))
				height, _ = strconv.ParseFloat(box[3], 64)
				if attr(x, "width") != "100%" || box[2] != "360" {
					t.Errorf("size: %v", x.Attr)
				}
			}
			for _, m := range coordinates.FindAllStringSubmatch(attr(x, "d"), -1) {
				a, _ := strconv.ParseFloat(m[1], 64)
				b, _ := strconv.ParseFloat(m[2], 64)
				if a < 0 || a > drawWidth || b < 0 || b > height {
					t.Errorf("place %s lies outside the drawing", m[0])
				}
			}
			for _, a := range x.Attr {
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") || strings.Contains(a.Value, "9223372036854775808") {
					t.Errorf("%s has %.80s", x.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			if s := strings.TrimSpace(string(x)); s != "" && path[len(path)-1] == "text" {
				words = append(words, s)
			}
		}
	})
	return string(b), words
}

func simple(x, y pipeline.Scale, xs, ys []float64) *plot {
	return &plot{
		title: "A title", x: plotAxis{label: "time t", scale: x}, y: plotAxis{label: "signal", scale: y},
		series: []plotSeries{{role: pipeline.Points, x: xs, y: ys}},
	}
}

func TestDrawn(t *testing.T) {
	nan := math.NaN()
	lin, log, square := pipeline.Linear, pipeline.Log, pipeline.Square
	cases := []struct {
		name string
		pl   *plot
		want []string // words that must be there
		none bool     // nothing to draw
	}{
		{"empty", simple(lin, lin, nil, nil), nil, true},
		{"nulls only", simple(lin, lin, []float64{1, nan}, []float64{nan, 2}), nil, true},
		{"nulls between", simple(lin, lin, []float64{1, 2, nan, 4}, []float64{1, nan, 3, 4}), []string{"1", "4"}, false},
		{"one point", simple(lin, lin, []float64{3}, []float64{7}), []string{"3", "7"}, false},
		{"one point at zero", simple(lin, lin, []float64{0}, []float64{0}), []string{"0"}, false},
		{"one point on log axes", simple(log, log, []float64{30}, []float64{7e-9}), []string{"time t"}, false},
		{"all y equal", simple(lin, lin, []float64{1, 2, 3}, []float64{5, 5, 5}), []string{"5"}, false},
		{"log of negatives", simple(log, log, []float64{-1, 0, 1, 10}, []float64{1, 1, 0, 10}),
			[]string{"2 points left out: x is not positive and has no place on the", "logarithmic axis."}, false},
		{"log of negatives only", simple(lin, log, []float64{1, 2}, []float64{-1, 0}), nil, true},
		{"negatives on a square axis", simple(square, lin, []float64{-1, 1, 2}, []float64{1, 2, 3}), []string{"time t²", "1 point left out: x is negative and has no place on the square axis."}, false},
		{"huge and tiny", simple(lin, lin, []float64{1e-300, 1e300}, []float64{-math.MaxFloat64, math.MaxFloat64}), nil, false},
		{"300 decades", simple(log, log, []float64{1e-300, 1e300}, []float64{5e-324, 1e308}), nil, false},
		{"close together", simple(lin, lin, []float64{1e9, 1e9 + 1e-6}, []float64{1, 1 + 1e-15}), nil, false},
		{"subnormal", simple(lin, lin, []float64{5e-324, 1e-323}, []float64{0, 5e-324}), nil, false},
		{"a power of ten is taken out", simple(lin, lin, []float64{0, 1}, []float64{0, 3e6}), []string{"signal [10⁶]", "1", "2", "3"}, false},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			if c.none {
				if _, ok := drawn(c.pl); ok {
					t.Error("something was drawn")
				}
				return
			}
			_, words := checked(t, c.pl)
			all := strings.Join(words, "|") + "|"
			for _, w := range c.want {
				if !strings.Contains(all, w+"|") {
					t.Errorf("words are %s; expected %q among them", all, w)
				}
			}
		})
	}
}

// Whatever the numbers, a drawing has its places within its frame.
func TestDrawnProperty(t *testing.T) {
	scales := []pipeline.Scale{pipeline.Linear, pipeline.Log, pipeline.Square}
	rapid.Check(t, func(r *rapid.T) {
		number := rapid.OneOf(rapid.Float64Range(-10, 10), rapid.Float64(), rapid.Just(math.NaN()))
		n := rapid.IntRange(0, 30).Draw(r, "n")
		list := func(name string) []float64 { return rapid.SliceOfN(number, n, n).Draw(r, name) }
		pl := simple(rapid.SampledFrom(scales).Draw(r, "xs"), rapid.SampledFrom(scales).Draw(r, "ys"), list("x"), list("y"))
		pl.series[0].u = list("u")
		pl.series[0].used = list("used")
		pl.series = append(pl.series, plotSeries{role: pipeline.Line, label: "line", x: list("lx"), y: list("ly"), colour: 1})
		pl.residual = &plotSeries{role: pipeline.Points, label: "residual", x: list("rx"), y: list("ry")}
		pl.marks = []plotMark{{at: number.Draw(r, "at"), to: number.Draw(r, "to"), label: "mark"}}
		if _, ok := drawn(pl); ok {
			checked(t, pl)
		}
	})
}

func TestManyPoints(t *testing.T) {
	const n = 10_000
	rng := rand.New(rand.NewPCG(3, 4))
	x, y, u := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		x[i], y[i], u[i] = float64(i), 100+rng.NormFloat64(), 1
	}
	y[4321], y[8765] = 150, 60
	for _, role := range []pipeline.Role{pipeline.Points, pipeline.Line} {
		t.Run(string(role), func(t *testing.T) {
			pl := simple(pipeline.Linear, pipeline.Linear, x, y)
			pl.series[0].role, pl.series[0].u = role, u
			svg, words := checked(t, pl)
			if len(svg) > 30_000 {
				t.Errorf("%d bytes", len(svg))
			}
			if role == pipeline.Points && !strings.Contains(strings.Join(words, " "), "Thinned for drawing") {
				t.Error("thinning is not said")
			}
			low, high := 0.0, math.Inf(1)
			for _, m := range regexp.MustCompile(`[0-9.]+ ([0-9.]+)`).FindAllStringSubmatch(dataOf(svg), -1) {
				v, _ := strconv.ParseFloat(m[1], 64)
				low, high = max(low, v), min(high, v)
			}
			// Both peaks stand: 90 apart in y where the other points span some 8.
			pl.series[0].x, pl.series[0].y, pl.series[0].u = x[:1], y[:1], nil
			if low-high < 150 {
				t.Errorf("drawn places span %g; the peaks are lost", low-high)
			}
		})
	}
}

// dataOf is the path that holds the points or the line of a drawing.
func dataOf(svg string) string {
	i := strings.Index(svg, `stroke-linecap="round"`)
	if i < 0 {
		i = strings.Index(svg, `stroke-linejoin="round"`)
	}
	return svg[i : i+strings.Index(svg[i:], "/>")]
}

func TestFewMarksOfSeries(t *testing.T) {
	pl := simple(pipeline.Linear, pipeline.Linear, nil, nil)
	pl.series = nil
	for k := range 9 {
		pl.series = append(pl.series, plotSeries{role: pipeline.Points, label: "series " + strconv.Itoa(k), x: []float64{float64(k), 1}, y: []float64{1, 2}, bound: []uint8{atLeast, atMost}, noU: []bool{true, false}, colour: k})
	}
	_, words := checked(t, pl)
	for k := range 9 {
		if !strings.Contains(strings.Join(words, "|"), "series "+strconv.Itoa(k)) {
			t.Errorf("series %d is not in the legend", k)
		}
	}
}

func TestMarks(t *testing.T) {
	pl := simple(pipeline.Log, pipeline.Linear, []float64{1, 10, 100}, []float64{1, 2, 3})
	pl.marks = []plotMark{{at: 3, to: math.NaN(), label: "knee"}, {at: 50, to: 20, label: "window"}, {at: -1, to: math.NaN(), label: "nowhere"}, {at: 1e9, to: math.NaN(), label: "far"}}
	svg, words := checked(t, pl)
	all := strings.Join(words, "|")
	if !strings.Contains(all, "knee") || !strings.Contains(all, "window") || strings.Contains(all, "nowhere") || strings.Contains(all, "far") {
		t.Errorf("words: %s", all)
	}
	if strings.Count(svg, spanTone) != 1 || strings.Count(svg, `stroke-dasharray="4 3"`) != 1 {
		t.Error("expected one span and one line")
	}
}

// A short range that a fit used is shown with its surroundings, not lost in the whole curve.
func TestUsedRange(t *testing.T) {
	n := 1000
	x, y, used := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		x[i], y[i] = float64(i), float64(i)
		if i >= 20 && i <= 40 {
			used[i] = 1
		}
	}
	pl := simple(pipeline.Linear, pipeline.Linear, x, y)
	pl.series[0].used = used
	_, words := checked(t, pl)
	if all := strings.Join(words, "|"); !strings.Contains(all, "927 points outside the axes.") || !strings.Contains(all, "not used in the fit") {
		t.Errorf("words: %s", all) // 20 − 20 to 40 + 1.5·20, and 4 % of that more: 0 to 72 are inside
	}
}

func TestAxisCaption(t *testing.T) {
	inverse, err := catalog.ParseUnit("1/nm")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		a     plotAxis
		power int
		want  string
	}{
		{plotAxis{label: "scattering vector q", unit: inverse, scale: pipeline.Square}, 0, "scattering vector q² [nm⁻²]"},
		{plotAxis{label: "length", unit: inverse, scale: pipeline.Square}, 0, "length, squared [nm⁻²]"},
		{plotAxis{label: "q", unit: inverse, scale: pipeline.Log}, 0, "q [nm⁻¹]"},
		{plotAxis{label: "counts", scale: pipeline.Linear}, 3, "counts [10³]"},
		{plotAxis{label: "q", unit: inverse, scale: pipeline.Linear}, -6, "q [10⁻⁶ nm⁻¹]"},
		{plotAxis{scale: pipeline.Linear}, 0, ""},
	} {
		if got := c.a.caption(c.power); got != c.want {
			t.Errorf("found %q; expected %q", got, c.want)
		}
	}
}

func TestClipped(t *testing.T) {
	a := panel{left: 10, right: 110, top: 20, bottom: 120}
	rapid.Check(t, func(r *rapid.T) {
		place := rapid.Float64Range(-200, 300)
		p, q := spot{x: place.Draw(r, "px"), y: place.Draw(r, "py")}, spot{x: place.Draw(r, "qx"), y: place.Draw(r, "qy")}
		from, to, in := clipped(a, p, q)
		const slack = 1e-9
		hit := false // sampled densely: does the line meet the frame?
		for k := range 2001 {
			f := float64(k) / 2000
			hit = hit || a.holds(spot{x: p.x + f*(q.x-p.x), y: p.y + f*(q.y-p.y)})
		}
		if hit && !in {
			r.Fatalf("%v to %v meets the frame and was dropped", p, q)
		}
		if in {
			for _, s := range []spot{from, to} {
				if s.x < a.left-slack || s.x > a.right+slack || s.y < a.top-slack || s.y > a.bottom+slack {
					r.Fatalf("%v lies outside", s)
				}
				if cross := (q.x-p.x)*(s.y-p.y) - (q.y-p.y)*(s.x-p.x); math.Abs(cross) > 1e-6 {
					r.Fatalf("%v is not on the line", s)
				}
			}
		}
	})
}

func BenchmarkDraw4096(b *testing.B) {
	const n = 4096
	x, y, u := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		x[i], y[i], u[i] = float64(i), 1+1e4*math.Exp(-float64(i)/300), 10
	}
	pl := simple(pipeline.Linear, pipeline.Log, x, y)
	pl.series[0].u = u
	pl.series = append(pl.series, plotSeries{role: pipeline.Line, x: x, y: y, colour: 1})
	for b.Loop() {
		drawn(pl)
	}
}
