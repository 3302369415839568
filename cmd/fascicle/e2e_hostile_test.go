package main

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// hostileNames are names of samples that a careless page, drawing or table would obey or break at. Those without a slash are names of
// raw files too.
var hostileNames = []string{
	`<script>alert(1)`, `</script><script>alert(1)</script>`, `<img src=x onerror=alert(1)>`, `"><b>bold`, `' onmouseover='alert(1)`,
	`a,b;c`, "line\nend", "tab\tbed", `]]><!--`, `&lt;&amp;`, `javascript:alert(1)`, `=1+1`, `@SUM(1)`, `${x}{{y}}`, `%d%s`, `C:\x`, `..`, "bell\a\x1b[31m",
	"\u202eright to left", strings.Repeat("long ", 40) + "name", "Ä-β-紫",
}

// hostileStudy is the small study with these names, and the same in its title, in texts of the sheet and in its raw files.
func hostileStudy(t *testing.T, names []string) smallStudy {
	t.Helper()
	s := newSmallStudy(t)
	var sheet bytes.Buffer
	w := csv.NewWriter(&sheet)
	rows := [][]string{{"sample", "role", "salt", "remark"}, {"S", "solvent", "NaCl", ""}}
	for _, n := range names {
		rows = append(rows, []string{n, "mixture", "NaCl", "of " + n})
	}
	if err := w.WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	s.write(t, "samples.csv", sheet.String())
	for _, n := range []string{"A", "B"} {
		s.remove(t, "raw/"+n+".dat")
	}
	for i, n := range names {
		if !strings.Contains(n, "/") {
			s.write(t, "raw/"+n+".dat", fmt.Sprintf("# note: %s\n", strings.ReplaceAll(n, "\n", " "))+smallCurve(float64(i+1), 3, 0.02))
		}
	}
	return s
}

var tag = regexp.MustCompile(`<[A-Za-z!/][^<>]*>?`)

// tags counts the elements of a page by name.
func tags(page string) map[string]int {
	out := map[string]int{}
	for _, m := range tag.FindAllString(page, -1) {
		name, _, _ := strings.Cut(strings.Trim(m, "<>"), " ")
		out[strings.ToLower(strings.TrimRight(name, "/\n"))]++
	}
	return out
}

func TestHostileNames(t *testing.T) {
	s := hostileStudy(t, hostileNames)
	edit(t, s.path("study.yaml"), "study: Three samples", `study: '</title><script>alert(1)</script>'`)
	fascicle(t, "run", s.dir).want(t, 0, nil, nil)
	data, err := os.ReadFile(s.path("out/report.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(data)

	t.Run("page", func(t *testing.T) {
		// the same study with harmless names: whatever elements it has beside them came out of a name
		var harmless []string
		for i, n := range hostileNames {
			h := fmt.Sprintf("harmless%d", i)
			if strings.Contains(n, "/") {
				h += "/"
			}
			harmless = append(harmless, h)
		}
		p := hostileStudy(t, harmless)
		fascicle(t, "run", p.dir).want(t, 0, nil, nil)
		good, err := os.ReadFile(p.path("out/report.html"))
		if err != nil {
			t.Fatal(err)
		}
		want, got := tags(string(good)), tags(page)
		for _, name := range []string{"script", "/script", "img", "b", "/title", "!--", "style", "/style", "a", "svg"} {
			if want[name] != got[name] {
				t.Errorf("<%s> stands there %d times, %d times with harmless names", name, got[name], want[name])
			}
		}
		for _, raw := range []string{"<script>alert", "<img src=x", "<b>bold", "' onmouseover='", "]]><!--", "\x1b", "\a"} {
			if i := strings.Index(page, raw); i >= 0 {
				t.Errorf("%q stands in the page: %q", raw, page[max(0, i-80):min(len(page), i+80)])
			}
		}
		if !strings.Contains(page, "&lt;script&gt;alert(1)") {
			t.Error("the name is not shown at all")
		}
		if strings.Contains(page, `href="javascript:`) {
			t.Error("a link that is a script")
		}
		if !utf8.ValidString(page) {
			t.Error("not UTF-8")
		}
	})

	t.Run("drawings", func(t *testing.T) {
		names, err := filepath.Glob(s.path("out/figures/*.svg"))
		if err != nil || len(names) < len(hostileNames) {
			t.Fatal(names, err)
		}
		for _, name := range names {
			data, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			d := xml.NewDecoder(bytes.NewReader(data))
			for {
				tok, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				if err != nil {
					t.Errorf("%q: %v", filepath.Base(name), err)
					break
				}
				if e, ok := tok.(xml.StartElement); ok && (e.Name.Local == "script" || slices.ContainsFunc(e.Attr, func(a xml.Attr) bool { return strings.HasPrefix(a.Name.Local, "on") })) {
					t.Errorf("%q holds a script: %v", filepath.Base(name), e)
				}
			}
		}
	})

	t.Run("names of files", func(t *testing.T) {
		plain := regexp.MustCompile(`^[A-Za-z0-9._=,+/-]+$`)
		for name := range outTree(t, s.dir) {
			if !plain.MatchString(name) || len(filepath.Base(name)) > 200 || strings.HasPrefix(filepath.Base(name), "..") {
				t.Errorf("a file called %q", name)
			}
		}
	})

	t.Run("tables", func(t *testing.T) {
		f, err := os.Open(s.path("out/tables/samples.csv"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rows, err := csv.NewReader(f).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		found := map[string]bool{}
		for _, r := range rows {
			found[r[0]] = true
		}
		for _, n := range hostileNames {
			if !found[n] {
				t.Errorf("no row for %q", n)
			}
		}
	})

	t.Run("values.json", func(t *testing.T) {
		found := valuesOf(t, s.dir, "sizes", "Rg_1")
		for _, n := range hostileNames {
			if _, ok := found[n]; !ok && !strings.Contains(n, "/") {
				t.Errorf("no Rg_1 of %q", n)
			}
		}
	})

	t.Run("trace", func(t *testing.T) {
		for _, n := range hostileNames {
			if strings.Contains(n, "/") {
				continue
			}
			c := fascicle(t, "trace", s.dir, n+"/sizes/Rg_1")
			first, _, _ := strings.Cut(c.out, "\n")
			if c.status != 0 || strings.ContainsAny(c.out, "\a\t\u202e") || !strings.Contains(first, "/sizes/Rg_1/") {
				t.Errorf("%q: status %d: %.200s%s", n, c.status, c.out, c.err)
			}
		}
	})
}
