package pipeline

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"syscall"

	"fascicle/catalog"
	"fascicle/catalog/fault"
	"fascicle/pipeline/formula"
	"fascicle/pipeline/study"
)

// Program is the program's name and version, as it stands in values.json and reports. It is in no recipe key.
const Program = "fascicle 0.1.0"

// SheetStage is the stage whose items are the rows of the sheet.
const SheetStage = "samples"

// StudyFile is the name of a study's file in its folder.
const StudyFile = "study.yaml"

// Project is a study that was read and checked: its sheet, fields and graph. It does not change afterwards.
type Project struct {
	Dir   string
	Study *study.Study
	Sheet *catalog.Sheet

	text      []byte // the study file
	kinds     []*Kind
	constants map[string]constant
	fields    *fieldTable
	defs      *definitions
	rows      map[string]*sampleRow
	order     []*sampleRow // in the order of the sheet
	stages    []*stage     // in the order in which they run
	byName    map[string]*stage
	sampleID  int             // number of the field `sample`
	uncertain []bool          // by field number: a column of the sheet with an uncertainty in some row
	bearing   map[source]bool // outputs whose items are sources
	remarks   []string        // notes on the sheet
	shown     *Shown          // what the report is asked for
}

// FileSettings is what the settings of a kind that reads files also are.
type FileSettings interface {
	// FilesPattern is the pattern of the files that the stage reads.
	FilesPattern() string
	// Brings lists the fields that its items bring along, as far as the study says them.
	Brings() ([]Brought, error)
}

// Brought is a field that an import's items have: captured from a name, read from a header, or a constant of the stage.
type Brought struct {
	Name    string
	Sort    formula.Sort
	Unit    catalog.Unit
	HasUnit bool
	Where   string // "files", "curves", "header" or "fields"
	Value   string // of a constant
}

// Load reads and checks a study: its file, its sheet, and the graph of its stages against the kinds. It reads no raw file. dir is
// the study's folder, or the study file itself. Every fault is reported, not only the first.
func Load(dir string, kinds []*Kind) (*Project, fault.List) {
	file := filepath.Join(dir, StudyFile)
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		file, dir = dir, filepath.Dir(dir)
	}
	name := filepath.Base(file)
	var faults fault.List
	text, err := os.ReadFile(file)
	if err != nil {
		faults.Add(&fault.Fault{File: file, Found: reason(err), Expected: "the study file", Remedy: "name the folder that holds " + StudyFile + ", or begin with `fascicle demo DIR`"})
		return nil, faults
	}
	st, list := study.Read(name, text)
	if len(list) > 0 {
		return nil, list
	}
	sheet, list := readSheet(dir, name, st)
	if len(list) > 0 {
		return nil, list
	}
	p := &Project{Dir: dir, Study: st, Sheet: sheet, text: text, kinds: kinds,
		fields: &fieldTable{ids: map[string]int{}}, rows: map[string]*sampleRow{}, byName: map[string]*stage{}, remarks: sheetNotes(sheet)}
	l := &loader{Project: p, file: name}
	l.load()
	if len(l.faults) > 0 {
		l.faults.Sort()
		return nil, l.faults
	}
	return p, nil
}

// reason says in plain words why a file could not be had.
func reason(err error) string {
	switch {
	case errors.Is(err, os.ErrNotExist):
		return "no such file"
	case errors.Is(err, os.ErrPermission):
		return "permission denied"
	case errors.Is(err, syscall.EISDIR):
		return "a folder"
	}
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

// loader builds a project and collects faults on the way.
type loader struct {
	*Project
	file   string
	faults fault.List
	taken  map[string]string // names of constants, conditions and stages, and which of these they are
}

func (l *loader) fail(p study.Pos, found, expected, remedy string) {
	l.faults.Add(&fault.Fault{File: l.file, Line: p.Line, Col: p.Col, Found: found, Expected: expected, Remedy: remedy})
}

// failStage reports an error of a kind's own check at the setting that it names, or with these words at what decides most: the pattern of
// an import's files, else the kind.
func (l *loader) failStage(s *stage, err error, found, expected, remedy string) {
	var se *SettingError
	if errors.As(err, &se) {
		d := &decoder{file: l.file}
		d.failSetting(s.decl.Set, s.decl.Kind.Pos, se, "")
		l.faults = append(l.faults, d.faults...)
		return
	}
	if f, ok := err.(*fault.Fault); ok { // it says itself what it found, with nothing before it
		found, expected, remedy = f.Found, cmp.Or(f.Expected, expected), cmp.Or(f.Remedy, remedy)
	}
	at := s.decl.Kind.Pos
	if s.kind.Reads {
		at = s.settingPos("files")
	}
	l.fail(at, found, expected, remedy)
}

func (l *loader) load() {
	l.loadConstants()
	l.sheetFields()
	l.makeStages()
	l.bringFields()
	l.define()
	l.makeRows()
	l.connect()
	if l.sortStages() {
		l.bind()
		l.bindShown()
	}
	if len(l.faults) == 0 {
		l.findSources()
	}
}

func (l *loader) loadConstants() {
	l.constants = map[string]constant{}
	for _, c := range l.Study.Constants {
		if c.Value != nil {
			l.constants[c.Name.Value] = constant{c.Name.Value, *c.Value}
		}
		for _, k := range c.Keys {
			name := c.Name.Value + "." + k.Key.Value
			l.constants[name] = constant{name, k.Value}
		}
	}
}

func (l *loader) constantNames() []string {
	names := make([]string, 0, len(l.constants))
	for n := range l.constants {
		names = append(names, n)
	}
	sort.Strings(names)
	return names
}

// makeStages finds each stage's kind, without its settings yet.
func (l *loader) makeStages() {
	sheet := &stage{name: SheetStage, sheet: true}
	l.byName[SheetStage] = sheet
	l.stages = append(l.stages, sheet)
	var names []string
	for _, k := range l.kinds {
		names = append(names, k.Name)
	}
	for i := range l.Study.Graph {
		decl := &l.Study.Graph[i]
		if n := decl.Name.Value; n == "constants" || n == "sheet" {
			l.fail(decl.Name.Pos, fmt.Sprintf("a stage called %q", n), "another name: sources of uncertainty are called constants.NAME and sheet.COLUMN[SAMPLE]", "rename the stage")
		}
		s := &stage{name: decl.Name.Value, decl: decl}
		if len(decl.Items) == 0 {
			at := slices.IndexFunc(l.kinds, func(k *Kind) bool { return k.Name == decl.Kind.Value })
			if at < 0 {
				found, remedy := fault.Unknown("kind", decl.Kind.Value, names)
				if fault.Nearest(decl.Kind.Value, names) == "" {
					remedy = "`fascicle kinds` lists them" // too many to name here
				}
				l.fail(decl.Kind.Pos, found, "a kind", remedy)
				s.broken = true
			} else {
				s.kind = l.kinds[at]
			}
		}
		l.byName[s.name] = s
		l.stages = append(l.stages, s)
	}
}

// bringFields adds the fields that imports bring: they must be known before any expression is compiled.
func (l *loader) bringFields() {
	for _, s := range l.stages {
		if s.kind == nil || !s.kind.Reads {
			continue
		}
		// A first reading of the settings, without scopes: only what names fields is needed, faults come with the second.
		d := &decoder{file: l.file, stage: s.name, constants: l.constants, names: l.constantNames()}
		dst := s.kind.Settings()
		d.structure(reflectElem(dst), s.decl.Set, s.decl.Kind.Pos, "")
		fs, ok := dst.(FileSettings)
		if !ok {
			panic("pipeline: kind " + s.kind.Name + " reads files, but its settings are no FileSettings")
		}
		if len(d.faults) > 0 {
			continue // reported with the settings
		}
		brought, err := fs.Brings()
		if err != nil {
			l.failStage(s, err, err.Error(), "captures in angle brackets, such as <sample> or <ex [nm]>", "correct the pattern")
			s.broken = true
			continue
		}
		s.brings = brought
		for _, b := range brought {
			if b.Where == "files" {
				s.captured = append(s.captured, b.Name)
			}
		}
		for _, b := range brought {
			if !catalog.IsIdentifier(b.Name) || catalog.Reserved(b.Name) && b.Name != "sample" {
				l.fail(s.settingPos(b.Where), fmt.Sprintf("a field named %q", b.Name), "letters, digits and _, and none of the reserved words", "rename it")
				continue
			}
			ty := formula.Type{Sort: b.Sort, Unit: b.Unit}
			if what := l.taken[b.Name]; what != "" {
				l.fail(s.settingPos(b.Where), fmt.Sprintf("a field `%s`, which is also the name of a %s", b.Name, what), "one meaning for a name", "rename one of the two")
				continue
			}
			if id, ok := l.fields.id(b.Name); ok && b.Where == "fields" && l.fields.types[id].Sort == formula.Text {
				continue // a constant of the stage is what the column of that name is: a text that looks like a number
			}
			if id, same := l.fields.add(b.Name, ty); !same {
				have := l.fields.types[id]
				l.fail(s.settingPos(b.Where), fmt.Sprintf("the field `%s` as %s", b.Name, typeWord(ty)), typeWord(have)+", as it is elsewhere in this study", "rename it, or give both the same unit")
			}
		}
	}
}

func typeWord(t formula.Type) string {
	switch t.Sort {
	case formula.Number:
		if t.Unit.IsOne() {
			return "a pure number"
		}
		return "a number in " + unitWord(t.Unit)
	case formula.Date:
		return "a date"
	case formula.Bool:
		return "a yes or no"
	}
	return "a text"
}
