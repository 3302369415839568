package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"fascicle/pipeline"
)

// valuesJSON writes all numbers, one a line, sorted by sample, series, stage, item and name. Numbers are shortest decimals; what is
// not known is null.
func (m *model) valuesJSON() ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	head := func(key, text string) {
		b.WriteString(key)
		_ = enc.Encode(strings.ToValidUTF8(text, "\uFFFD")) // text cannot fail
		b.Truncate(b.Len() - 1)
	}
	head(`{"study":`, m.Title)
	head(",\n\"program\":", pipeline.Program)
	b.WriteString(",\n\"values\":[")
	for i, v := range m.values {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteByte('\n')
		if v.Parts == nil {
			v.Parts = map[string]float64{}
		}
		if v.Flags == nil {
			v.Flags = []string{}
		}
		if err := enc.Encode(v); err != nil {
			return nil, fmt.Errorf("report: value %s: %w", v.Address(), err)
		}
		b.Truncate(b.Len() - 1)
	}
	b.WriteString("\n]}\n")
	return b.Bytes(), nil
}
