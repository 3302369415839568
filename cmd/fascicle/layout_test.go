package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// root is the top of the repository, as seen from this package's folder.
const root = "../.."

// sourceFile is a parsed Go file of the project.
type sourceFile struct {
	path    string // from the top, with slashes
	dir     string
	test    bool
	tree    *ast.File
	imports []string
}

// sources parses every Go file below the top. It asks neither git nor the go command, so that it works on any copy.
func sources(t *testing.T) []sourceFile {
	t.Helper()
	var files []sourceFile
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
				return fs.SkipDir
			}
			return nil
		}
		if filepath.Ext(name) != ".go" {
			return nil
		}
		tree, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		f := sourceFile{path: filepath.ToSlash(rel), test: strings.HasSuffix(name, "_test.go"), tree: tree}
		f.dir = path.Dir(f.path)
		for _, i := range tree.Imports {
			p, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			f.imports = append(f.imports, p)
		}
		files = append(files, f)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{"catalog", "pipeline", "stages", "cmd/fascicle"} {
		if !slices.ContainsFunc(files, func(f sourceFile) bool { return f.dir == dir }) {
			t.Fatalf("no Go file in %s: the walk does not see the project", dir)
		}
	}
	return files
}

// below tells whether a slash-separated path is dir or lies in it.
func below(p, dir string) bool { return p == dir || strings.HasPrefix(p, dir+"/") }

func TestTopLevel(t *testing.T) {
	if _, err := os.Stat(filepath.Join(root, ".git")); err != nil {
		t.Skip("no git repository: what belongs to the project cannot be told from what lies about")
	}
	list := exec.Command("git", "ls-files", "-z")
	list.Dir = root
	out, err := list.Output()
	if err != nil {
		t.Skipf("git ls-files: %v", err)
	}
	want := []string{".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "README.md", "catalog", "cmd", "docs", "go.mod", "go.sum",
		"pipeline", "pipelines", "report", "stages", "testdata"}
	var got []string
	for name := range strings.SplitSeq(strings.TrimSuffix(string(out), "\x00"), "\x00") {
		first, _, _ := strings.Cut(name, "/")
		if strings.HasPrefix(first, ".") && !slices.Contains(want, first) {
			continue // settings of editors and the like
		}
		got = append(got, first)
	}
	slices.Sort(got)
	if d := cmp.Diff(want, slices.Compact(got)); d != "" {
		t.Errorf("top level (-want +got):\n%s", d)
	}
}

func TestLayout(t *testing.T) {
	files := sources(t)
	t.Run("direction of imports", func(t *testing.T) { checkDirection(t, files) })
	t.Run("imported by one only", func(t *testing.T) { checkOneOnly(t, files) })
	t.Run("families are apart", func(t *testing.T) { checkFamilies(t, files) })
	t.Run("no init", func(t *testing.T) { checkNoInit(t, files) })
	t.Run("kinds are listed", func(t *testing.T) { checkListed(t, files) })
}

// Arrows point one way: cmd → report → pipeline → catalog, and stages → pipeline, catalog.
func checkDirection(t *testing.T, files []sourceFile) {
	for _, rule := range []struct {
		dir string
		may []string
	}{
		{"catalog", []string{"catalog"}},
		{"pipeline", []string{"pipeline", "catalog"}},
		{"stages", []string{"stages", "pipeline", "catalog"}},
		{"report", []string{"report", "pipeline", "catalog"}},
		{"pipelines", []string{"pipelines"}},
		{"cmd", []string{"cmd", "report", "stages", "pipelines", "pipeline", "catalog"}},
	} {
		t.Run(rule.dir, func(t *testing.T) {
			for _, f := range files {
				if !below(f.dir, rule.dir) {
					continue
				}
				for _, i := range f.imports {
					p, ours := strings.CutPrefix(i, "fascicle/")
					if ours && !slices.ContainsFunc(rule.may, func(d string) bool { return below(p, d) }) {
						t.Errorf("%s imports %s; %s may import %s alone", f.path, i, rule.dir, strings.Join(rule.may, ", "))
					}
				}
			}
		})
	}
}

// What one folder alone may use.
func checkOneOnly(t *testing.T, files []sourceFile) {
	for _, rule := range []struct {
		name string
		is   func(importPath string) bool
		may  func(f sourceFile) bool
	}{
		{"Arrow, by pipeline/table", func(p string) bool { return strings.HasPrefix(p, "github.com/apache/arrow") },
			func(f sourceFile) bool { return below(f.dir, "pipeline/table") }},
		{"the rehearsal of all kinds, by tests", func(p string) bool { return below(p, "fascicle/pipeline/internal/rehearsal") },
			func(f sourceFile) bool { return f.test }},
		{"the list of kinds, by cmd and tests", func(p string) bool { return p == "fascicle/stages" },
			func(f sourceFile) bool { return f.test || below(f.dir, "cmd") }},
		{"tools for tests, by tests", func(p string) bool {
			return p == "testing" || strings.HasPrefix(p, "github.com/google/go-cmp") || p == "pgregory.net/rapid" || strings.HasPrefix(p, "github.com/chromedp")
		}, func(f sourceFile) bool { return f.test || below(f.dir, "pipeline/kindtest") }},
		{"tests of kinds, by tests", func(p string) bool { return p == "fascicle/pipeline/kindtest" },
			func(f sourceFile) bool { return f.test }},
	} {
		t.Run(rule.name, func(t *testing.T) {
			used := false
			for _, f := range files {
				for _, i := range f.imports {
					if !rule.is(i) {
						continue
					}
					used = true
					if !rule.may(f) {
						t.Errorf("%s imports %s", f.path, i)
					}
				}
			}
			if !used {
				t.Error("nothing imports it: does the rule still say what is meant?")
			}
		})
	}
}

// A family knows no other: what two of them need is in stages/internal. Tests may follow a curve through several.
func checkFamilies(t *testing.T, files []sourceFile) {
	for _, f := range files {
		family, ok := familyOf(f.dir)
		if !ok || f.test {
			continue
		}
		for _, i := range f.imports {
			p, ours := strings.CutPrefix(i, "fascicle/")
			if other, ok := familyOf(p); ours && ok && other != family {
				t.Errorf("%s imports %s: put what both need into stages/internal", f.path, i)
			}
		}
	}
}

// familyOf gives the family to which a folder belongs.
func familyOf(dir string) (family string, ok bool) {
	rest, ok := strings.CutPrefix(dir, "stages/")
	family, _, _ = strings.Cut(rest, "/")
	return family, ok && family != "internal"
}

// Nothing registers itself: what there is stands in lists that a reader can follow.
func checkNoInit(t *testing.T, files []sourceFile) {
	for _, f := range files {
		if f.test || ast.IsGenerated(f.tree) {
			continue
		}
		for _, d := range f.tree.Decls {
			if fn, ok := d.(*ast.FuncDecl); ok && fn.Recv == nil && fn.Name.Name == "init" {
				t.Errorf("%s has a func init", f.path)
			}
		}
	}
}

// Every kind that a family declares is in the list of stages.go, so that none is written and forgotten.
func checkListed(t *testing.T, files []sourceFile) {
	listed := map[string]bool{} // family.Variable
	for _, f := range files {
		if f.path != "stages/stages.go" {
			continue
		}
		ast.Inspect(f.tree, func(n ast.Node) bool {
			if u, ok := n.(*ast.UnaryExpr); ok && u.Op == token.AND {
				if s, ok := u.X.(*ast.SelectorExpr); ok {
					listed[s.X.(*ast.Ident).Name+"."+s.Sel.Name] = true
				}
			}
			return true
		})
	}
	if len(listed) == 0 {
		t.Fatal("stages.go lists no kinds that this test can see")
	}
	declared := 0
	for _, f := range files {
		if _, ok := familyOf(f.dir); !ok || f.test {
			continue
		}
		names := map[*ast.CompositeLit]string{}
		for _, d := range f.tree.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.VAR {
				continue
			}
			for _, s := range g.Specs {
				v := s.(*ast.ValueSpec)
				for i, x := range v.Values {
					if lit, ok := x.(*ast.CompositeLit); ok && isKind(lit) {
						names[lit] = v.Names[i].Name
					}
				}
			}
		}
		ast.Inspect(f.tree, func(n ast.Node) bool {
			lit, ok := n.(*ast.CompositeLit)
			if !ok || !isKind(lit) {
				return true
			}
			declared++
			switch name := names[lit]; {
			case name == "":
				t.Errorf("%s makes a pipeline.Kind that is no package variable of its own", f.path)
			case !listed[f.tree.Name.Name+"."+name]:
				t.Errorf("%s declares %s, which stages.go does not list", f.path, name)
			}
			return true
		})
	}
	if declared != len(listed) {
		t.Errorf("%d kinds are declared, %d are listed", declared, len(listed))
	}
}

func isKind(lit *ast.CompositeLit) bool {
	s, ok := lit.Type.(*ast.SelectorExpr)
	if !ok || s.Sel.Name != "Kind" {
		return false
	}
	x, ok := s.X.(*ast.Ident)
	return ok && x.Name == "pipeline"
}
