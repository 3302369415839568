// Package workbook reads the cells of a workbook (.xlsx, .xlsm; ECMA-376 part 1, chapter 18) as they are stored, not as they are
// displayed: every digit of a number, dates by their style, what formulas gave when the workbook was last computed. It computes nothing.
package workbook

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog/fault"
)

// largestPart is how many bytes a part of a workbook may have once unpacked: a sheet of 5,000 rows and 40 columns has 10 MB.
const largestPart = 256 << 20

const (
	formats = "a workbook in the XLSX format"
	saveAs  = "save it as XLSX in a spreadsheet program, without a password"
)

// A Book is an open workbook.
type Book struct {
	parts  map[string]*zip.File // by name in small letters: names of parts know no capitals
	sheets []tab
	base   serialBase
	stale  bool // what formulas gave is to be computed anew when the workbook is opened
	styles []Format
	texts  []string
}

// A tab is an entry in the list of sheets.
type tab struct {
	name, part string
	hidden     bool
}

// IsWorkbook tells from its first bytes whether a file is an archive, as workbooks are, or an old or encrypted workbook.
func IsWorkbook(data []byte) bool {
	return bytes.HasPrefix(data, []byte("PK\x03\x04")) || isCompound(data)
}

// isCompound tells a compound file: a workbook in the format before XLSX, or one with a password.
func isCompound(data []byte) bool {
	return bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"))
}

// Open reads what all sheets of a workbook share: list of sheets, styles and texts. The fault has no place.
func Open(data []byte) (*Book, *fault.Fault) {
	if isCompound(data) {
		return nil, &fault.Fault{Found: "a workbook in an old format, or one with a password", Expected: formats, Remedy: saveAs}
	}
	archive, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, &fault.Fault{Found: "no archive", Expected: formats, Remedy: saveAs, Err: err}
	}
	b := &Book{parts: make(map[string]*zip.File, len(archive.File))}
	for _, f := range archive.File {
		b.parts[strings.ToLower(strings.TrimPrefix(f.Name, "/"))] = f
	}
	main := b.mainPart()
	if !b.has(main) {
		found := "an archive without a workbook"
		if b.has("mimetype") {
			found = "an OpenDocument file, perhaps"
		}
		return nil, &fault.Fault{Found: found, Expected: formats, Remedy: saveAs}
	}
	if strings.HasSuffix(main, ".bin") {
		return nil, &fault.Fault{Found: "a binary workbook (XLSB)", Expected: formats, Remedy: saveAs}
	}
	if f := b.readMain(main); f != nil {
		return nil, f
	}
	return b, nil
}

// relation is an entry of a part that tells how parts belong together (ECMA-376 part 2, 6.5).
type relation struct {
	ID     string `xml:"Id,attr"`
	Type   string `xml:"Type,attr"`
	Target string `xml:"Target,attr"`
}

// relations reads the relations of a part; a part without any has none. Targets are resolved.
func (b *Book) relations(of string) ([]relation, *fault.Fault) {
	dir, file := path.Split(of)
	var doc struct {
		Relations []relation `xml:"Relationship"`
	}
	name := dir + "_rels/" + file + ".rels"
	if !b.has(name) {
		return nil, nil
	}
	if f := b.decode(name, &doc); f != nil {
		return nil, f
	}
	for i, r := range doc.Relations {
		if strings.HasPrefix(r.Target, "/") {
			doc.Relations[i].Target = r.Target[1:]
		} else {
			doc.Relations[i].Target = path.Join(dir, r.Target)
		}
	}
	return doc.Relations, nil
}

// mainPart is the part that lists the sheets.
func (b *Book) mainPart() string {
	relations, _ := b.relations("")
	for _, r := range relations {
		if strings.HasSuffix(r.Type, "/officeDocument") {
			return r.Target
		}
	}
	return "xl/workbook.xml"
}

func (b *Book) readMain(main string) *fault.Fault {
	var doc struct {
		Properties struct {
			Date1904 string `xml:"date1904,attr"`
		} `xml:"workbookPr"`
		Sheets []struct {
			Name  string `xml:"name,attr"`
			State string `xml:"state,attr"`
			ID    string `xml:"id,attr"` // of the relation
		} `xml:"sheets>sheet"`
		Calculation struct {
			OnLoad string `xml:"fullCalcOnLoad,attr"`
		} `xml:"calcPr"`
	}
	if f := b.decode(main, &doc); f != nil {
		return f
	}
	relations, f := b.relations(main)
	if f != nil {
		return f
	}
	if truth(doc.Properties.Date1904) {
		b.base = base1904
	}
	b.stale = truth(doc.Calculation.OnLoad)
	for _, s := range doc.Sheets {
		i := slices.IndexFunc(relations, func(r relation) bool { return r.ID == s.ID })
		if i < 0 || !strings.HasSuffix(relations[i].Type, "/worksheet") {
			continue // sheets of charts and macros
		}
		b.sheets = append(b.sheets, tab{name: s.Name, part: relations[i].Target, hidden: s.State == "hidden" || s.State == "veryHidden"})
	}
	if len(b.sheets) == 0 {
		return &fault.Fault{Found: "a workbook without a sheet of cells", Expected: "at least one", Remedy: "save it again"}
	}
	for _, r := range relations {
		switch {
		case strings.HasSuffix(r.Type, "/styles"):
			f = b.readStyles(r.Target)
		case strings.HasSuffix(r.Type, "/sharedStrings"):
			f = b.readTexts(r.Target)
		}
		if f != nil {
			return f
		}
	}
	return nil
}

// Sheets gives the names of the sheets of cells in the order of their tabs.
func (b *Book) Sheets() []string {
	names := make([]string, len(b.sheets))
	for i, s := range b.sheets {
		names[i] = s.name
	}
	return names
}

// Sheet reads a sheet by its name; "" is the first. The fault about an unknown name lists the sheets.
func (b *Book) Sheet(name string) (*Sheet, *fault.Fault) {
	i := 0
	if name != "" {
		i = slices.IndexFunc(b.sheets, func(s tab) bool { return s.name == name })
	}
	if i < 0 {
		found, remedy := fault.Unknown("sheet", name, b.Sheets())
		if remedy == "" {
			remedy = "correct the name"
		}
		return nil, &fault.Fault{Found: found, Expected: "one of the workbook's " + strconv.Itoa(len(b.sheets)), Remedy: remedy}
	}
	return b.readSheet(b.sheets[i])
}

// truth reads a boolean attribute.
func truth(s string) bool { return s == "1" || s == "true" }

func (b *Book) has(name string) bool { return b.parts[strings.ToLower(name)] != nil }

// open opens a part.
func (b *Book) open(name string) (io.ReadCloser, *fault.Fault) {
	part := b.parts[strings.ToLower(name)]
	if part == nil {
		return nil, broken(name, errors.New("is missing"))
	}
	r, err := part.Open()
	if err != nil {
		return nil, broken(name, err)
	}
	return struct {
		io.Reader
		io.Closer
	}{&limited{r: r, left: largestPart}, r}, nil
}

// decode reads a small part as a whole.
func (b *Book) decode(name string, into any) *fault.Fault {
	r, f := b.open(name)
	if f != nil {
		return f
	}
	defer r.Close()
	if err := xml.NewDecoder(r).Decode(into); err != nil {
		return broken(name, err)
	}
	return nil
}

func broken(part string, err error) *fault.Fault {
	return &fault.Fault{Found: "a damaged workbook", Expected: formats, Remedy: "save it again", Err: errors.New(part + ": " + err.Error())}
}

// limited refuses what unpacks to more than largestPart.
type limited struct {
	r    io.Reader
	left int
}

var errTooLarge = errors.New("more than " + strconv.Itoa(largestPart>>20) + " MB")

func (l *limited) Read(p []byte) (int, error) {
	if l.left <= 0 {
		return 0, errTooLarge
	}
	n, err := l.r.Read(p[:min(len(p), l.left)])
	l.left -= n
	return n, err
}
