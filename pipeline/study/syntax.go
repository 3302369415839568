package study

import (
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// syntax explains why the YAML parser refused the text. Its own messages name the line where a construct began, and no
// column; so the text is gone through once more for what usually is the matter.
func (r *reader) syntax(err error) {
	msg := yamlWhere.ReplaceAllString(strings.TrimPrefix(err.Error(), "yaml: "), "")
	if strings.Contains(msg, "exceeded max depth") {
		r.add(r.stopped(), fmt.Sprintf("nesting more than %d deep", maxDepth), "a study file, which is seldom 8 deep", "check the brackets and the indentation here")
		return
	}
	l := &linter{src: r.src, text: r.src.text}
	l.run()
	switch {
	case l.found != "":
		r.add(l.pos, l.found, l.expected, l.remedy)
	case l.suspect.Value != "":
		r.add(l.suspect.Pos, quoteShort(l.suspect.Value), "`key: value`", "put a space behind the colon")
	default:
		r.wrap(r.stopped(), "text that YAML cannot read", "YAML: `key: value`, lists in [ ], maps in { }",
			"check brackets, quotes, colons and indentation here and in the line above; put text with special characters in quotes",
			fmt.Errorf("the parser says: %s", msg))
	}
}

var yamlWhere = regexp.MustCompile(`^line \d+: `)

// stopped returns the place of the word at which the parser gave up. It is found by feeding the text byte by byte: the
// parser looks at most four characters ahead of what it is about to judge.
func (r *reader) stopped() Pos {
	drip := &dripReader{text: r.src.text}
	dec := yaml.NewDecoder(drip)
	for {
		if _, err := decode(dec); err != nil {
			break
		}
	}
	i := drip.n
	for k := 0; k < 4 && i > 0; k++ {
		_, n := utf8.DecodeLastRuneInString(r.src.text[:i])
		i -= n
	}
	const white = " \t\r\n"
	if i >= len(r.src.text) || strings.IndexByte(white, r.src.text[i]) >= 0 {
		i = max(len(strings.TrimRight(r.src.text[:i], white))-1, 0)
	}
	return r.src.at(strings.LastIndexAny(r.src.text[:i], white) + 1)
}

// dripReader gives one byte a read.
type dripReader struct {
	text string
	n    int
}

func (d *dripReader) Read(p []byte) (int, error) {
	if d.n >= len(d.text) {
		return 0, io.EOF
	}
	if len(p) == 0 {
		return 0, nil
	}
	p[0] = d.text[d.n]
	d.n++
	return 1, nil
}
