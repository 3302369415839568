package fitting

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// nistProblem is a file of the NIST Statistical Reference Datasets, nonlinear
// regression (https://www.itl.nist.gov/div898/strd/).
type nistProblem struct {
	name     string
	level    string
	starts   [2][]float64
	want, sd []float64
	rss      float64
	y        []float64
	x        [][]float64
}

func readNIST(t *testing.T) []nistProblem {
	root := os.Getenv("FASCICLE_OPEN_DATA")
	if root == "" {
		t.Skip("FASCICLE_OPEN_DATA is not set")
	}
	var names []string
	for name := range nistModels {
		names = append(names, name)
	}
	slices.Sort(names)
	var all []nistProblem
	for _, name := range names {
		text, err := os.ReadFile(filepath.Join(root, "nist-strd", name+".dat"))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, parseNIST(t, name, string(text)))
	}
	return all
}

var nistParameter = regexp.MustCompile(`^\s*b\d+\s*=`)

func parseNIST(t testing.TB, name, text string) nistProblem {
	p := nistProblem{name: name}
	data := false
	for _, line := range strings.Split(text, "\n") {
		switch {
		case strings.Contains(line, "Level of Difficulty"):
			p.level = strings.Fields(line)[0]
		case nistParameter.MatchString(line):
			v := numbers(t, line[strings.Index(line, "=")+1:])
			p.starts[0], p.starts[1] = append(p.starts[0], v[0]), append(p.starts[1], v[1])
			p.want, p.sd = append(p.want, v[2]), append(p.sd, v[3])
		case strings.HasPrefix(line, "Residual Sum of Squares:"):
			p.rss = numbers(t, line[strings.Index(line, ":")+1:])[0]
		case strings.HasPrefix(line, "Data:") && !strings.Contains(line, "Response"):
			data = true
		case data && strings.TrimSpace(line) != "":
			v := numbers(t, line)
			y := v[0]
			if name == "Nelson" {
				y = math.Log(y)
			}
			p.y, p.x = append(p.y, y), append(p.x, v[1:])
		}
	}
	if len(p.want) == 0 || len(p.y) <= len(p.want) {
		t.Fatalf("%s: read %d parameters and %d points", name, len(p.want), len(p.y))
	}
	return p
}

func numbers(t testing.TB, line string) []float64 {
	var v []float64
	for _, word := range strings.Fields(line) {
		x, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		v = append(v, x)
	}
	return v
}

// digits is the smallest number of decimal digits in which got agrees with
// the certified values (log relative error), 11 at most: more are not given.
func digits(got, want []float64) float64 {
	least := 11.0
	for i, w := range want {
		d := math.Abs(got[i]-w) / math.Abs(w)
		if d > 0 {
			least = min(least, -math.Log10(d))
		}
		if math.IsNaN(got[i]) {
			return 0
		}
	}
	return max(least, 0)
}

// All 27 problems from both starts. What falls short of 6 digits, and why:
// Lanczos1's data are exact but for rounding in the 14th digit, so that its
// scatter (residual sum of squares 1.4e-25) and with it the standard
// deviations come out with 3 digits in this arithmetic; its parameters have 10.
func TestNIST(t *testing.T) {
	problems := readNIST(t)
	if len(problems) != 27 {
		t.Fatalf("%d problems, expected 27", len(problems))
	}
	w := NewWorkspace()
	var table strings.Builder
	fmt.Fprintf(&table, "\n%-19s%-36s%s\n%-9s %-8s", "", "  from start 1: digits of", "  from start 2: digits of", "problem", "level")
	for range 2 {
		fmt.Fprintf(&table, "  %5s %5s %5s %6s %6s  ", "b", "sd", "rss", "steps", "evals")
	}
	enough, spread := [2]int{}, [2]int{}
	for _, p := range problems {
		fmt.Fprintf(&table, "\n%-9s %-8s", p.name, p.level)
		for s, start := range p.starts {
			var r Result
			err := w.Fit(&r, &Problem{Model: overPoints(nistModels[p.name], p.x, len(start)), Y: p.y}, start)
			if err != nil {
				fmt.Fprintf(&table, "  %v", err)
				continue
			}
			b, sd, rss := digits(r.P, p.want), digits(r.SD, p.sd), digits([]float64{r.Objective}, []float64{p.rss})
			fmt.Fprintf(&table, "  %5.1f %5.1f %5.1f %6d %6d  ", b, sd, rss, r.Iterations, r.Evaluations)
			if b >= 6 {
				enough[s]++
			}
			if sd >= 6 {
				spread[s]++
			}
			if r.DOF != len(p.y)-len(start) || !r.Scaled {
				t.Errorf("%s: %d degrees of freedom, scaled %v", p.name, r.DOF, r.Scaled)
			}
		}
	}
	t.Log(table.String())
	for s := range enough {
		t.Logf("start %d: 6 or more digits of the parameters in %d problems of 27, of the standard deviations in %d", s+1, enough[s], spread[s])
		if enough[s] < 26 || spread[s] < 26 {
			t.Errorf("start %d: expected 26 of both", s+1)
		}
	}
}

func BenchmarkNIST(b *testing.B) {
	root := os.Getenv("FASCICLE_OPEN_DATA")
	if root == "" {
		b.Skip("FASCICLE_OPEN_DATA is not set")
	}
	for _, name := range []string{"Misra1a", "Lanczos3", "Gauss3", "ENSO"} {
		b.Run(name, func(b *testing.B) {
			text, err := os.ReadFile(filepath.Join(root, "nist-strd", name+".dat"))
			if err != nil {
				b.Fatal(err)
			}
			p := parseNIST(b, name, string(text))
			problem := &Problem{Model: overPoints(nistModels[name], p.x, len(p.want)), Y: p.y}
			w := NewWorkspace()
			var r Result
			b.ReportAllocs()
			for b.Loop() {
				if err := w.Fit(&r, problem, p.starts[1]); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
