package study

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"strings"

	"gopkg.in/yaml.v3"

	"fascicle/catalog/fault"
)

// reader carries what all parts of reading share.
type reader struct {
	file   string
	raw    []byte // as given
	src    *source
	faults fault.List
	more   int // faults beyond maxFaults

	cursor   Pos // of the last call of offset
	cursorAt int
}

// Read reads a study file. It returns either a study or at least one fault, in the order of the file; file is the name
// that faults bear. No input makes it panic.
//
// Faults of YAML itself are reported alone; faults of the study's form are all reported at once.
func Read(file string, data []byte) (*Study, fault.List) {
	r := &reader{file: file, raw: data, src: newSource(bytes.TrimPrefix(data, []byte("\uFEFF")))}
	st := r.read()
	if len(r.faults) == 0 && st != nil {
		st.File, st.SHA256, st.src = file, sha256.Sum256(data), r.src
		return st, nil
	}
	r.faults.Sort()
	if r.more > 0 {
		r.faults = append(r.faults, &fault.Fault{File: file, Found: fmt.Sprintf("%d faults more", r.more),
			Remedy: "correct those above first"})
	}
	return nil, r.faults
}

func (r *reader) read() *Study {
	if !r.guard() {
		return nil
	}
	doc, ok := r.parse()
	if !ok {
		return nil
	}
	root := r.tree(doc, 1)
	if len(r.faults) > 0 {
		return nil
	}
	return r.study(root)
}

// add records a fault at a place.
func (r *reader) add(p Pos, found, expected, remedy string) { r.wrap(p, found, expected, remedy, nil) }

// wrap records a fault at a place with the error that it comes from.
func (r *reader) wrap(p Pos, found, expected, remedy string, err error) {
	if len(r.faults) >= maxFaults {
		r.more++
		return
	}
	r.faults = append(r.faults, &fault.Fault{File: r.file, Line: p.Line, Col: p.Col,
		Found: found, Expected: expected, Remedy: remedy, Err: err})
}

// located records an error of a parser that does not know the place. A fault says itself what was found; what it leaves
// out, and any other error, gets the words given here.
func (r *reader) located(p Pos, err error, found, expected, remedy string) {
	var f *fault.Fault
	if !errors.As(err, &f) {
		r.wrap(p, found, expected, remedy, err)
		return
	}
	r.wrap(p, cmp.Or(f.Found, found), cmp.Or(f.Expected, expected), cmp.Or(f.Remedy, remedy), f.Err)
}

// parse hands the text to the YAML parser and returns the root of its one document.
func (r *reader) parse() (*yaml.Node, bool) {
	dec := yaml.NewDecoder(strings.NewReader(r.src.text))
	doc, err := decode(dec)
	switch {
	case errors.Is(err, io.EOF), err == nil && (len(doc.Content) == 0 || isNull(doc.Content[0])):
		r.add(Pos{}, "an empty study file", "at least study, samples and graph",
			"begin with a line such as `study: Title of the study`")
		return nil, false
	case err != nil:
		r.syntax(err)
		return nil, false
	}
	switch next, err := decode(dec); {
	case errors.Is(err, io.EOF):
	case err != nil:
		r.syntax(err)
		return nil, false
	default:
		p := Pos{next.Line, next.Column}
		if n := r.separator(doc); n > 0 {
			p = Pos{n, 1}
		}
		r.add(p, "a second document", "one document in a study file",
			"delete the line `---`, or move what follows into a study of its own")
		return nil, false
	}
	return doc.Content[0], true
}

// separator returns the line of the --- that begins the second document, 0 when it is not found. A first document may
// itself open with one.
func (r *reader) separator(first *yaml.Node) int {
	for n := first.Content[0].Line + 1; n <= r.src.lines(); n++ {
		if l := r.src.line(n); l == "---" || strings.HasPrefix(l, "--- ") {
			return n
		}
	}
	return 0
}

// decode reads one document. The parser reports faults of its own making by panicking: none of them may reach a user.
func decode(dec *yaml.Decoder) (doc *yaml.Node, err error) {
	defer func() {
		if p := recover(); p != nil {
			doc, err = nil, fmt.Errorf("yaml: %v", p)
		}
	}()
	doc = new(yaml.Node)
	err = dec.Decode(doc)
	return doc, err
}

func isNull(n *yaml.Node) bool {
	return n.Kind == yaml.ScalarNode && n.Value == "" && n.Style&quotedStyles == 0
}
