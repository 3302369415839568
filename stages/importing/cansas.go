package importing

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/text/encoding/charmap"
)

// isXML says whether a text is XML.
func isXML(text []byte) bool {
	text = bytes.TrimLeft(text, " \t\r\n")
	return bytes.HasPrefix(text, []byte("<?xml")) || bytes.HasPrefix(text, []byte("<SASroot")) || bytes.HasPrefix(text, []byte("<!--"))
}

// The elements of a point that are read, in the order of the columns, with the names that they get.
var (
	sasData  = [...]sasColumn{{"Q", "q"}, {"I", "I"}, {"Idev", "u_I"}, {"Qdev", "sigma_q"}, {"dQw", "dQw"}, {"dQl", "dQl"}, {"Qmean", "Qmean"}, {"Shadowfactor", "Shadowfactor"}}
	sasTrans = [...]sasColumn{{"Lambda", "wavelength"}, {"T", "transmittance"}, {"Tdev", "u_transmittance"}}
)

type sasColumn struct{ element, name string }

// EachCanSAS reads the curves of a canSAS 1D file, version 1.0 or 1.1 (urn:cansas1d:1.1; elements and cardinalities by its schema, cansas1d.xsd): each SASdata of each
// SASentry, with Q, I, Idev, Qdev, dQw, dQl, Qmean and Shadowfactor as far as there are any; with transmission, its SAStransmission_spectrum in their stead. Title, Run,
// sample, instrument and process become the header: each element by its name, or, where several have one name, by its path. Elements of other name spaces are left out.
//
// Errors are *LineError: XML that is broken or another document, a point without Q or I, a unit that changes within a column, a number that cannot be read, no data, and
// what yield returns.
func EachCanSAS(data []byte, transmission bool, yield func(*Text) error) error {
	data, notes, err := plainText(data)
	if err != nil {
		return err
	}
	if bytes.IndexByte(data, '\r') >= 0 && bytes.IndexByte(data, '\n') < 0 {
		data = bytes.ReplaceAll(data, []byte("\r"), []byte("\n")) // the decoder counts lines by LF alone
	}
	r := &sasReader{transmission: transmission, notes: notes, yield: yield, lines: bytes.Count(data, []byte("\n")) + 1}
	r.dec = xml.NewDecoder(bytes.NewReader(data))
	r.dec.CharsetReader = sasCharset
	if err := r.document(); err != nil {
		return err
	}
	if r.given == 0 {
		what := "SASdata"
		if transmission {
			what = "SAStransmission_spectrum"
		}
		return &LineError{0, "a canSAS file without " + what, "at least one", "look at the file, or at the names of columns in the study"}
	}
	return nil
}

// sasCharset reads what the head of an XML file says of its encoding. UTF-16 was converted before.
func sasCharset(name string, in io.Reader) (io.Reader, error) {
	switch strings.ToLower(name) {
	case "utf-16", "utf-16le", "utf-16be", "us-ascii", "ascii":
		return in, nil
	case "iso-8859-1", "latin1", "windows-1252", "cp1252":
		return charmap.Windows1252.NewDecoder().Reader(in), nil
	}
	return nil, fmt.Errorf("the encoding %q", name)
}

type sasReader struct {
	dec          *xml.Decoder
	transmission bool
	notes        []Note
	yield        func(*Text) error
	space        string // name space of the root
	lines        int
	given        int
}

func (r *sasReader) line() int {
	line, _ := r.dec.InputPos()
	return line
}

// next gives the next token of use: elements of the document's name space, and text.
func (r *sasReader) next() (xml.Token, error) {
	for {
		t, err := r.dec.Token()
		var syntax *xml.SyntaxError
		switch {
		case errors.As(err, &syntax):
			return nil, &LineError{syntax.Line, "XML that is broken: " + syntax.Msg, "a whole file", "copy it again"}
		case err == io.EOF:
			return nil, &LineError{r.line(), "the end of the file within an element", "a whole file", "copy it again"}
		case err != nil:
			return nil, &LineError{r.line(), err.Error(), "UTF-8, UTF-16 or Latin-1", "save the file as UTF-8"}
		}
		switch t := t.(type) {
		case xml.StartElement:
			if r.space != "\x00" && t.Name.Space != r.space {
				if err := r.skip(); err != nil {
					return nil, err
				}
				continue
			}
			return t, nil
		case xml.EndElement, xml.CharData:
			return t, nil
		}
	}
}

// skip passes over an element whose start was read.
func (r *sasReader) skip() error {
	if err := r.dec.Skip(); err != nil {
		return &LineError{r.line(), "XML that is broken: " + err.Error(), "a whole file", "copy it again"}
	}
	return nil
}

// document reads the root and its entries.
func (r *sasReader) document() error {
	r.space = "\x00"
	for {
		t, err := r.next()
		if err != nil {
			return err
		}
		e, ok := t.(xml.StartElement)
		if !ok {
			continue
		}
		if e.Name.Local != "SASroot" {
			return &LineError{r.line(), "an XML document of <" + e.Name.Local + ">", "canSAS 1D (<SASroot>)", "export the curves as text or canSAS XML"}
		}
		r.space = e.Name.Space
		break
	}
	for {
		t, err := r.next()
		if err != nil {
			return err
		}
		switch t := t.(type) {
		case xml.EndElement:
			return nil
		case xml.StartElement:
			if t.Name.Local != "SASentry" {
				if err := r.discard(); err != nil {
					return err
				}
				continue
			}
			if err := r.entry(attribute(t, "name")); err != nil {
				return err
			}
		}
	}
}

// discard reads an element to its end.
func (r *sasReader) discard() error {
	for {
		t, err := r.next()
		if err != nil {
			return err
		}
		switch t.(type) {
		case xml.StartElement:
			if err := r.skip(); err != nil {
				return err
			}
		case xml.EndElement:
			return nil
		}
	}
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return strings.TrimSpace(a.Value)
		}
	}
	return ""
}

// sasFact is a statement of an entry.
type sasFact struct {
	path  []string
	value string
	line  int
}

// entry reads an entry and hands on its curves once its header, which stands behind them, is known.
func (r *sasReader) entry(name string) error {
	var facts []sasFact
	var curves []*Text
	other := 0
	for {
		t, err := r.next()
		if err != nil {
			return err
		}
		e, start := t.(xml.StartElement)
		if _, end := t.(xml.EndElement); end {
			break
		}
		if !start {
			continue
		}
		switch e.Name.Local {
		case "SASdata", "SAStransmission_spectrum":
			trans := e.Name.Local != "SASdata"
			columns := sasData[:]
			if trans {
				columns = sasTrans[:]
			}
			line := r.line()
			x, err := r.curve(columns)
			if err != nil {
				return err
			}
			if trans != r.transmission {
				other++
				continue
			}
			if n := attribute(e, "name"); n != "" {
				x.Names = append(x.Names, Name{n, line})
			}
			curves = append(curves, x)
		default:
			if facts, err = r.facts(e, nil, facts); err != nil {
				return err
			}
		}
	}
	if other > 0 && !r.transmission {
		r.notes = append(r.notes, Note{Text: "transmission spectra left out: " + itoa(other) + "; `columns: {wavelength: Lambda, transmittance: T}` reads them", Minor: true})
	}
	pairs := sasPairs(facts)
	for _, x := range curves {
		var names []Name
		for _, key := range [...]string{"ID", "Title"} {
			for _, p := range pairs {
				if p.Key == key {
					names = append(names, Name{p.Value, p.Line})
				}
			}
		}
		if name != "" {
			names = append(names, Name{name, x.FirstLine})
		}
		x.Names = append(names, x.Names...)
		x.Pairs, x.Lines, x.Separator = pairs, r.lines, "canSAS 1D"
		x.Notes = append(r.notes, x.Notes...)
		r.notes = nil
		r.given++
		if err := r.yield(x); err != nil {
			return err
		}
	}
	return nil
}

// facts reads an element that describes, with those inside it: each that holds text is a statement, a number with its unit behind it.
func (r *sasReader) facts(e xml.StartElement, path []string, facts []sasFact) ([]sasFact, error) {
	path = append(slices.Clone(path), e.Name.Local)
	if len(path) > 20 {
		return nil, &LineError{r.line(), "elements within elements, twenty deep", "fewer", "look at the file"}
	}
	var text strings.Builder
	line := r.line()
	inner := false
	for {
		t, err := r.next()
		if err != nil {
			return nil, err
		}
		switch t := t.(type) {
		case xml.CharData:
			text.Write(t)
		case xml.StartElement:
			inner = true
			if facts, err = r.facts(t, path, facts); err != nil {
				return nil, err
			}
		case xml.EndElement:
			value := strings.Join(strings.Fields(text.String()), " ")
			if inner || value == "" {
				return facts, nil
			}
			if n := attribute(e, "name"); n != "" && e.Name.Local == "term" {
				path[len(path)-1] = n
			}
			if u := attribute(e, "unit"); u == "A" {
				value += " Å" // as the format writes it
			} else if u != "" && u != "none" {
				value += " " + u
			}
			return append(facts, sasFact{path, value, line}), nil
		}
	}
}

// sasPairs names statements by their last element, or, where several of an entry have that, by as much of their path as tells them apart; what then still is
// alike is counted.
func sasPairs(facts []sasFact) []Pair {
	var out []Pair
	seen := map[string]int{}
	last := map[string]int{}
	for _, f := range facts {
		last[f.path[len(f.path)-1]]++
	}
	for _, f := range facts {
		key := f.path[len(f.path)-1]
		if last[key] > 1 && len(f.path) > 1 {
			key = strings.Join(f.path[len(f.path)-2:], "/")
		}
		if seen[key]++; seen[key] > 1 {
			key += " " + strconv.Itoa(seen[key])
		}
		out = append(out, Pair{key, f.value, f.line})
	}
	return out
}
