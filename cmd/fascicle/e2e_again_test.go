package main

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fascicle/cmd/fascicle/internal/firstlook"
	"fascicle/pipeline"

	"github.com/google/go-cmp/cmp"
)

// What is made again after a change is what depends on it, and nothing else.
func TestMadeAgain(t *testing.T) {
	dir := writeFirstLook(t)
	age(t, dir)
	study := filepath.Join(dir, "study.yaml")
	first := items(t, dir)
	if len(first["kept"]) > 0 || len(first["made"]) != 17+11+11+2+2+11+11+12 {
		t.Fatalf("the first run: %v", first)
	}
	broken := []string{"day_two day=d2,sample=" + firstlook.Broken}
	var blocked []string
	for _, stage := range []string{"absolute", "guinier", "particles", "slab"} {
		blocked = append(blocked, stage+" day=d2,sample="+firstlook.Broken)
	}
	if d := cmp.Diff([][]string{broken, blocked}, [][]string{first["failed"], first["blocked"]}); d != "" {
		t.Fatal(d)
	}
	all := slices.Sorted(slices.Values(first["made"]))
	made := func(t *testing.T, want ...string) {
		t.Helper()
		got := items(t, dir)
		wantMade(t, got, want...)
		both := slices.Concat(got["made"], got["kept"])
		slices.Sort(both)
		if d := cmp.Diff(all, both); d != "" {
			t.Errorf("made and kept (-want +got):\n%s", d)
		}
	}
	change := func(t *testing.T, name, from, to string) {
		t.Helper()
		edit(t, filepath.Join(dir, filepath.FromSlash(name)), from, to)
	}
	n15 := func(stage string) string { return stage + " day=d1,sample=N15" }

	t.Run("nothing changed", func(t *testing.T) { made(t) })
	t.Run("files touched", func(t *testing.T) {
		for _, name := range []string{"raw/d1/N15.dat", "raw/d2/N45.csv", "study.yaml", "samples.csv"} {
			if err := os.Chtimes(filepath.Join(dir, name), longAgo.Add(1), longAgo.AddDate(1, 0, 0)); err != nil {
				t.Fatal(err)
			}
		}
		made(t)
	})
	t.Run("one curve changed", func(t *testing.T) {
		edit(t, filepath.Join(dir, "raw/d1/N15.dat"), "e-01   ", "e-01    ") // other bytes, the same numbers: the import is made and all else stays
		made(t, n15("day_one"))
		editNumber(t, filepath.Join(dir, "raw/d1/N15.dat"))
		made(t, n15("day_one"), n15("particles"), n15("slab"), n15("absolute"), n15("guinier"), "joined sample=N15")
	})
	t.Run("one solvent changed", func(t *testing.T) {
		editNumber(t, filepath.Join(dir, "raw/d1/N-solvent-1.dat"))
		want := []string{"day_one day=d1,sample=N-solvent-1"}
		for _, s := range []string{"N15", "N30", "N55"} { // the mixtures in NaCl that were measured on the first day
			for _, stage := range []string{"particles", "slab", "absolute", "guinier"} {
				want = append(want, stage+" day=d1,sample="+s)
			}
			want = append(want, "joined sample="+s)
		}
		made(t, want...)
	})
	t.Run("a remark in a file's header", func(t *testing.T) {
		// a line that says nothing of the form key and value is no part of the item: only the import is made
		change(t, "raw/d1/N15.dat", "# bench camera, ring averages", "# bench camera, averages of rings")
		made(t, n15("day_one"))
	})
	t.Run("an entry of a file's header", func(t *testing.T) {
		// the item is another, since it carries its header; the difference of curves carries none, and all after it stays
		for _, change2 := range [][2]string{{"Exposure;300 s;", "Exposure;301 s;"}, {"Exposure;301 s;", "Exposure: 302 s;"}} {
			change(t, "raw/d2/N45.csv", change2[0], change2[1])
			made(t, "day_two day=d2,sample=N45", "particles day=d2,sample=N45")
		}
	})
	t.Run("a cell of the sheet that no setting reads", func(t *testing.T) {
		change(t, "samples.csv", "N15,mixture,NaCl,0.100,0.15,2.0", "N15,mixture,NaCl,0.100,0.15,2.1")
		made(t)
	})
	t.Run("another spelling of the study", func(t *testing.T) {
		change(t, "study.yaml", "monitor_ratio: 1.004(3)", "monitor_ratio: 1.004") // an uncertain number is a source, by its name
		items(t, dir)
		change(t, "study.yaml", "set: {scale: monitor_ratio}", "set: {scale: monitor_ratio, range: [0.1 1/nm, 3 1/nm]}")
		got := items(t, dir)
		if !slices.Contains(got["made"], n15("particles")) {
			t.Fatalf("a range makes nothing new: %v", got)
		}
		// a number in place of the constant's name is another recipe, as traces name constants; its result is the same, and all after it stays
		var particles []string
		for _, name := range all {
			if strings.HasPrefix(name, "particles ") {
				particles = append(particles, name)
			}
		}
		before, err := os.ReadFile(study)
		if err != nil {
			t.Fatal(err)
		}
		change(t, "study.yaml", "scale: monitor_ratio, range", "scale: 1.004, range")
		made(t, particles...)
		if err := os.WriteFile(study, before, 0o666); err != nil {
			t.Fatal(err)
		}
		for _, to := range []string{
			"set: {range: [0.01 1/Å, 0.3 Å⁻¹], scale: monitor_ratio}",
			"set:\n      scale: monitor_ratio\n      range:\n        - 100 1/um\n        - 3e9 1/m",
			"set: {scale: 1.004, range: [1e-1 nm^-1, 3.00 /nm]}",
			"set: {scale: 100.4 %, range: [0.1 1/nm, 3 1/nm]}   # a remark",
			"set: {scale: 1.004 * 1, range: [0.1 1/nm, 3 1/nm]}",
		} {
			change(t, "study.yaml", "set: {scale: monitor_ratio, range: [0.1 1/nm, 3 1/nm]}", to)
			t.Run(to, func(t *testing.T) { made(t) })
			if err := os.WriteFile(study, before, 0o666); err != nil {
				t.Fatal(err)
			}
		}
		change(t, "study.yaml", "order: q4}", "order: q4, range: found, limit: by shape}") // what is usual, said aloud
		made(t)
	})
	t.Run("two files of one content", func(t *testing.T) {
		data, err := os.ReadFile(filepath.Join(dir, "raw/d1/N15.dat"))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "raw/d1/N30.dat"), data, 0o666); err != nil {
			t.Fatal(err)
		}
		made(t, "joined sample=N30") // the row bears its name; all else is known under the other one
		rg := valuesOf(t, dir, "guinier", "Rg_1")
		if rg["N15"] == 0 || rg["N15"] != rg["N30"] || rg["N15"] == rg["N55"] {
			t.Errorf("Rg_1: %v", rg)
		}
		for _, sample := range []string{"N15", "N30"} { // each is traced to its own file
			fascicle(t, "trace", dir, sample+"/guinier/Rg_1").want(t, 0, []string{"raw/d1/" + sample + ".dat", "guinier day=d1,sample=" + sample}, nil)
		}
	})
}

// editNumber raises the last digit of the second column of a file's tenth line of data.
func editNumber(t *testing.T, name string) {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(string(data), "\n")
	f := strings.Fields(lines[14])
	if len(f) != 3 || len(f[1]) < 8 {
		t.Fatalf("%s, line 15: %q", name, lines[14])
	}
	digits := []byte(f[1])
	digits[5] = '0' + (digits[5]-'0'+1)%10
	lines[14] = strings.Replace(lines[14], f[1], string(digits), 1)
	if err := os.WriteFile(name, []byte(strings.Join(lines, "\n")), 0o666); err != nil {
		t.Fatal(err)
	}
}

// readValues reads values.json.
func readValues(t *testing.T, dir string) []pipeline.Value {
	t.Helper()
	var file struct{ Values []pipeline.Value }
	read(t, filepath.Join(dir, "out", "values.json"), &file)
	return file.Values
}

// valuesOf gives one number of every sample.
func valuesOf(t *testing.T, dir, stage, name string) map[string]float64 {
	t.Helper()
	out := map[string]float64{}
	for _, v := range readValues(t, dir) {
		if v.Stage == stage && v.Name == name && v.Value != nil {
			out[v.Sample] = *v.Value
		}
	}
	return out
}

// A constant is changed: every item that reads it is made, compare says which values moved and because of what.
func TestCompareAfterAChange(t *testing.T) {
	dir := writeFirstLook(t)
	fascicle(t, "run", "--label", "submitted", dir).want(t, 1, nil, nil)
	before := readValues(t, dir)
	edit(t, filepath.Join(dir, "study.yaml"), "monitor_ratio: 1.004(3)", "monitor_ratio: 1.010(3)")
	why := fascicle(t, "run", "--why", dir)
	why.want(t, 1, []string{"particles day=d1,sample=N15: scale = 1.01 ± 0.003 (constants.monitor_ratio)\n", "77 made"}, nil)
	if strings.Contains(why.out, "day_one") {
		t.Errorf("an import is made again: %s", why.out)
	}
	after := readValues(t, dir)
	moved := map[string]bool{}
	old := map[string]pipeline.Value{}
	for _, v := range before {
		v.Key = ""
		old[v.Address()] = v
	}
	for _, v := range after {
		v.Key = ""
		if !cmp.Equal(old[v.Address()], v) {
			moved[v.Address()] = true
		}
	}
	if len(moved) < 22 {
		t.Fatalf("only %d values moved: %v", len(moved), slices.Sorted(keys(moved)))
	}
	lines := fascicle(t, "compare", "--json", dir, "submitted").lines(t)
	c := lines[0]["comparison"].(map[string]any)
	causes := c["causes"].([]any)
	if len(causes) != 1 || causes[0].(map[string]any)["cause"] != "particles.scale: 1.004 ± 0.003 (constants.monitor_ratio) → 1.01 ± 0.003 (constants.monitor_ratio)" {
		t.Errorf("causes: %v", causes)
	}
	said := map[string]bool{}
	for _, m := range c["moved"].([]any) {
		said[m.(map[string]any)["address"].(string)] = true
	}
	if d := cmp.Diff(moved, said); d != "" {
		t.Errorf("moved by values.json, by compare:\n%s", d)
	}
	fascicle(t, "compare", dir, "submitted").want(t, 0, []string{"From submitted to run 2", "because of particles.scale: 1.004 ± 0.003 (constants.monitor_ratio) → 1.01 ± 0.003", "N15/guinier/Rg_1/day=d1,sample=N15: "}, nil)
	fascicle(t, "compare", dir, "2", "2").want(t, 0, []string{"nothing moved"}, nil)

	t.Run("a raw file", func(t *testing.T) {
		editNumber(t, filepath.Join(dir, "raw/d1/N15.dat"))
		fascicle(t, "run", dir).want(t, 1, []string{"8 made, 94 kept"}, nil)
		out := fascicle(t, "compare", dir)
		out.want(t, 0, []string{"because of file raw/d1/N15.dat changed", "N15/guinier/I0_1/day=d1,sample=N15: "}, nil)
		if strings.Contains(out.out, "N30/") {
			t.Errorf("N30 moved as well: %s", out.out)
		}
	})
	t.Run("a file gone and one that came", func(t *testing.T) {
		for _, name := range []string{"raw/d1/N30.dat"} {
			if err := os.Rename(filepath.Join(dir, name), filepath.Join(dir, "away")); err != nil {
				t.Fatal(err)
			}
		}
		fascicle(t, "run", dir).want(t, 1, nil, nil)
		fascicle(t, "compare", dir).want(t, 0, []string{"N30/guinier/Rg_1/day=d1,sample=N30: gone", "file raw/d1/N30.dat is gone"}, nil)
		if err := os.Rename(filepath.Join(dir, "away"), filepath.Join(dir, "raw/d1/N30.dat")); err != nil {
			t.Fatal(err)
		}
		fascicle(t, "run", dir).want(t, 1, nil, nil)
		fascicle(t, "compare", dir).want(t, 0, []string{"N30/guinier/Rg_1/day=d1,sample=N30: new", "new file raw/d1/N30.dat"}, nil)
	})
}

// A number is followed back to the bytes that it came from, under any address that is unique.
func TestTraceAddresses(t *testing.T) {
	dir := writeFirstLook(t)
	fascicle(t, "run", dir).want(t, 1, nil, nil)
	sum := func(name string) string {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		h := sha256.Sum256(data)
		return hex.EncodeToString(h[:])
	}
	fascicle(t, "trace", dir, "N15/guinier/Rg_1").want(t, 0, []string{
		"file raw/d1/N15.dat", "SHA-256 " + sum("raw/d1/N15.dat"), "file raw/d1/N-solvent-1.dat", "SHA-256 " + sum("raw/d1/N-solvent-1.dat"),
		"guinier day=d1,sample=N15 (scattering.guinier)", "particles day=d1,sample=N15 (correct.subtract)", "scale = 1.004", "set order = q4"}, nil)

	values := readValues(t, dir)
	full := make([][]string, len(values))
	for i, v := range values {
		full[i] = []string{v.Sample, v.Stage, v.Name, v.Item}
	}
	asked := map[string]bool{}
	unique, several := 0, 0
	for i, v := range values {
		if v.Sample != "N15" || v.Stage == "guinier" && v.Name != "Rg_1" && v.Name != "points" {
			continue
		}
		for mask := 1; mask < 16; mask++ {
			var parts []string
			for k, p := range full[i] {
				if mask&(1<<k) != 0 {
					parts = append(parts, p)
				}
			}
			address := strings.Join(parts, "/")
			if asked[address] {
				continue
			}
			asked[address] = true
			hits := 0
			for _, f := range full {
				if isWithin(parts, f) {
					hits++
				}
			}
			c := fascicle(t, "trace", dir, address)
			if hits == 1 {
				unique++
				if c.status != 0 || !strings.HasPrefix(c.out, v.Address()+" = ") {
					t.Errorf("%s names one value: status %d, %.80s%s", address, c.status, c.out, c.err)
				}
			} else if several++; c.status != 2 || !strings.Contains(c.err, "values are called") || !strings.Contains(c.err, "write more of the address") {
				t.Errorf("%s names %d values: status %d, %.80s%s", address, hits, c.status, c.out, c.err)
			}
		}
	}
	if unique < 5 || several < 5 {
		t.Errorf("%d unique addresses and %d that are not: too few to mean anything", unique, several)
	}
	for _, c := range []struct {
		address string
		says    []string
	}{
		{"N15/guinier/Rg_7", []string{`no value is called "N15/guinier/Rg_7"`, "did you mean N15/guinier/Rg_1?"}},
		{"N99", []string{`no value is called "N99"`, "SAMPLE/STAGE/NAME is expected"}},
		{"", []string{`no value is called ""`}},
		{"/", []string{`no value is called "/"`}},
		{"N15/", []string{`no value is called "N15/"`}},
		{"guinier/N15/Rg_1", []string{"no value is called"}}, // in another order
		{"N15//Rg_1", []string{"no value is called"}},
		{firstlook.Broken + "/guinier/Rg_1", []string{"no value is called"}},
	} {
		t.Run(c.address, func(t *testing.T) { fascicle(t, "trace", dir, c.address).want(t, 2, nil, c.says) })
	}
}

// isWithin tells whether parts stand in full in this order, with others between them.
func isWithin(parts, full []string) bool {
	if len(parts) == 0 {
		return true
	}
	for i, f := range full {
		if f == parts[0] && isWithin(parts[1:], full[i+1:]) {
			return true
		}
	}
	return false
}
