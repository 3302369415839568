package report

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fascicle/pipeline"
)

func labels(list []tick, power int) string {
	var out []string
	for _, t := range list {
		if t.label != "" {
			out = append(out, t.label)
		}
	}
	s := strings.Join(out, " ")
	if power != 0 {
		s += " ×" + tenTo(power)
	}
	return s
}

func TestTicks(t *testing.T) {
	for _, c := range []struct {
		name   string
		lo, hi float64
		scale  pipeline.Scale
		want   string
	}{
		{"tenths", 0.05, 0.55, pipeline.Linear, "0.1 0.2 0.3 0.4 0.5"},
		{"through zero", -1, 1, pipeline.Linear, "−1 −0.5 0 0.5 1"},
		{"hundreds", 0, 950, pipeline.Linear, "0 200 400 600 800"},
		{"large", 0, 3.1e6, pipeline.Linear, "0 0.5 1 1.5 2 2.5 3 ×10⁶"},
		{"small", 1e-7, 5e-7, pipeline.Linear, "100 200 300 400 500 ×10⁻⁹"},
		{"narrow", 100.001, 100.004, pipeline.Linear, "100.001 100.0015 100.002 100.0025 100.003 100.0035 100.004"},
		{"decades", -2.2, 2.1, pipeline.Log, "0.01 0.1 1 10 100"},
		{"decades beyond plain numbers", 2.2, 6.4, pipeline.Log, "10³ 10⁴ 10⁵ 10⁶"},
		{"many decades", -20, 20, pipeline.Log, "10⁻¹⁸ 10⁻⁹ 10⁰ 10⁹ 10¹⁸"},
		{"one decade", 0.1, 1.4, pipeline.Log, "2 5 10 20"},
		{"half a decade", 0.3, 0.8, pipeline.Log, "2 3 4 5 6"},
		{"no decade", 3.01, 3.1, pipeline.Log, "1050 1100 1150 1200 1250"},
	} {
		t.Run(c.name, func(t *testing.T) {
			list, power := ticks(span{c.lo, c.hi}, c.scale, 5)
			if diff := cmp.Diff(c.want, labels(list, power)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Ticks lie in the span, rise, are not too many, and say where they are.
func TestTicksProperty(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		scale := rapid.SampledFrom([]pipeline.Scale{pipeline.Linear, pipeline.Log}).Draw(r, "scale")
		a := rapid.Float64Range(-1e6, 1e6).Draw(r, "a")
		s := span{a, a + rapid.Float64Range(1e-2, 1e6).Draw(r, "width")}
		if scale == pipeline.Log {
			s = span{a / 1e5, a/1e5 + rapid.Float64Range(1e-3, 30).Draw(r, "decades")}
		}
		s = s.padded(scale, 0.04)
		list, power := ticks(s, scale, 5)
		slack := 1e-6 * (s.hi - s.lo)
		var seen []string
		for i, k := range list {
			if k.at < s.lo-slack || k.at > s.hi+slack || i > 0 && k.at <= list[i-1].at {
				r.Fatalf("tick %d at %g is out of order or outside %v", i, k.at, s)
			}
			if k.label == "" {
				continue
			}
			seen = append(seen, k.label)
			at := k.at
			if scale == pipeline.Log {
				at = math.Pow(10, at)
			}
			if said := readLabel(r, k.label) * math.Pow10(power); math.Abs(said-at) > 1e-6*max(math.Abs(at), s.hi-s.lo) {
				r.Fatalf("tick at %g says %s ×10^%d", at, k.label, power)
			}
		}
		if len(seen) < 1 || len(seen) > 10 {
			r.Fatalf("%d labels in %v: %v", len(seen), s, seen)
		}
		slices.Sort(seen)
		if len(slices.Compact(seen)) != len(seen) {
			r.Fatalf("labels repeat: %v", seen)
		}
	})
}

// readLabel reads a tick label back.
func readLabel(r *rapid.T, s string) float64 {
	s = strings.ReplaceAll(s, "−", "-")
	if at := strings.LastIndex(s, "10"); at >= 0 && strings.ContainsAny(s[at+2:], "⁰¹²³⁴⁵⁶⁷⁸⁹⁻") {
		mantissa, power := strings.TrimSuffix(s[:at], "·"), s[at+2:]
		for i, d := range []string{"⁰", "¹", "²", "³", "⁴", "⁵", "⁶", "⁷", "⁸", "⁹"} {
			power = strings.ReplaceAll(power, d, strconv.Itoa(i))
		}
		if mantissa == "" {
			mantissa = "1"
		}
		s = mantissa + "e" + strings.ReplaceAll(power, "⁻", "-")
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		r.Fatalf("label %q is no number", s)
	}
	return v
}

func TestScaled(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		scale pipeline.Scale
		x     float64
		want  float64
		ok    bool
	}{
		{pipeline.Linear, -2, -2, true}, {pipeline.Linear, nan, 0, false}, {pipeline.Linear, inf, 0, false},
		{pipeline.Log, 1000, 3, true}, {pipeline.Log, 0, 0, false}, {pipeline.Log, -1, 0, false}, {pipeline.Log, nan, 0, false}, {pipeline.Log, inf, 0, false},
		{pipeline.Square, 3, 9, true}, {pipeline.Square, 0, 0, true}, {pipeline.Square, -3, 0, false}, {pipeline.Square, 1e200, 0, false}, {pipeline.Square, nan, 0, false},
	} {
		got, ok := scaled(c.scale, c.x)
		if ok != c.ok || ok && got != c.want {
			t.Errorf("%s of %g: %g, %v; expected %g, %v", c.scale, c.x, got, ok, c.want, c.ok)
		}
	}
}

// A thinned line passes every spot that it left out within the strip's width and the slack.
func TestStraighten(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(r, "n")
		all := make([]spot, n)
		x := 0.0
		for i := range all {
			x += rapid.Float64Range(0, 2).Draw(r, "step")
			all[i] = spot{x: x, y: rapid.Float64Range(-5, 5).Draw(r, "y"), i: i}
		}
		const slack = 0.5
		kept := straighten(slices.Clone(all), slack)
		if kept[0] != all[0] || kept[len(kept)-1] != all[n-1] {
			r.Fatal("an end was lost")
		}
		for k := 1; k < len(kept); k++ {
			a, b := kept[k-1], kept[k]
			for _, p := range all[a.i : b.i+1] {
				if b.x == a.x {
					continue
				}
				y := a.y + (b.y-a.y)*(p.x-a.x)/(b.x-a.x)
				if math.Abs(y-p.y) > slack+1e-9 {
					r.Fatalf("spot %d is %g off the line from %d to %d", p.i, y-p.y, a.i, b.i)
				}
			}
		}
	})
}

func TestThinningKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		n := rapid.IntRange(1, 2000).Draw(r, "n")
		seed := rapid.Float64Range(0, 100).Draw(r, "seed")
		all := make([]spot, n)
		for i := range all {
			v := math.Sin(seed+float64(i)*12.9898) * 43758.5453
			all[i] = spot{x: 300 * float64(i) / float64(n), y: v - math.Floor(v), i: i}
		}
		ends := func(list []spot) span {
			s := emptySpan()
			for _, p := range list {
				s = s.with(p.y)
			}
			return s
		}
		points := thinPoints(all, 0, 300, 50, 100)
		line := thinLine(all, nil, 0)
		for _, thin := range [][]spot{points, line} {
			if ends(thin) != ends(all) {
				r.Fatalf("extremes %v became %v", ends(all), ends(thin))
			}
			for i := 1; i < len(thin); i++ {
				if thin[i].i <= thin[i-1].i {
					r.Fatal("order was lost")
				}
			}
		}
		if n > 100 && len(points) > 150 || n <= 100 && len(points) != n {
			r.Fatalf("%d of %d points", len(points), n)
		}
	})
}

func TestWrapped(t *testing.T) {
	for _, c := range []struct {
		text  string
		most  float64
		lines int
		want  []string
	}{
		{"", 100, 2, nil},
		{"one two three", 45, 3, []string{"one two", "three"}},
		{"one two three four", 45, 1, []string{"one two…"}},
	} {
		got := wrapped(c.text, 10, c.most, c.lines)
		if c.lines == 1 && len(got) == 1 && width(got[0], 10) <= c.most && strings.HasSuffix(got[0], "…") {
			continue
		}
		if diff := cmp.Diff(c.want, got); diff != "" {
			t.Errorf("%q: %s", c.text, diff)
		}
	}
	rapid.Check(t, func(r *rapid.T) {
		text := rapid.String().Draw(r, "text")
		for _, line := range wrapped(text, 10, 80, 4) {
			if width(line, 10) > 80 && len([]rune(line)) > 1 {
				r.Fatalf("line %q is too wide", line)
			}
		}
	})
}

func TestNaturalOrder(t *testing.T) {
	list := []string{"b", "a10", "a2", "a", "a02", "", "ex=520", "ex=350,rep=10", "ex=350,rep=9"}
	slices.SortFunc(list, byNature)
	if diff := cmp.Diff([]string{"", "a", "a02", "a2", "a10", "b", "ex=350,rep=9", "ex=350,rep=10", "ex=520"}, list); diff != "" {
		t.Error(diff)
	}
}
