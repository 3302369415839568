package table

import (
	"fmt"
	"math"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/endian"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/arrow/memory"
)

// unitKey is the key of a field's metadata under which its unit is kept.
const unitKey = "unit"

// Encode checks the table and gives its canonical bytes (see the package
// comment). The table is not changed. The error is that of [Table.Check].
func Encode(t *Table) ([]byte, error) {
	if endian.NativeEndian != endian.LittleEndian {
		return nil, fmt.Errorf("table: this processor is big-endian; canonical bytes are written on little-endian processors only")
	}
	if err := t.Check(); err != nil {
		return nil, err
	}
	n := t.Len()
	fields := make([]arrow.Field, len(t.Columns))
	columns := make([]arrow.Array, len(t.Columns))
	size := 512 // of the schema and of the messages' heads: a guess that saves growing
	for i := range t.Columns {
		c := &t.Columns[i]
		fields[i] = arrow.Field{Name: c.Name, Nullable: true}
		if c.Unit != "" {
			fields[i].Metadata = arrow.NewMetadata([]string{unitKey}, []string{c.Unit})
		}
		bitmap, nulls := c.bitmap()
		switch c.Type {
		case Float:
			fields[i].Type = arrow.PrimitiveTypes.Float64
			values := memory.NewBufferBytes(arrow.Float64Traits.CastToBytes(c.canonicalFloats()))
			columns[i] = array.NewFloat64Data(array.NewData(fields[i].Type, n, []*memory.Buffer{bitmap, values}, nil, nulls, 0))
		case Int:
			fields[i].Type = arrow.PrimitiveTypes.Int64
			values := memory.NewBufferBytes(arrow.Int64Traits.CastToBytes(c.canonicalInts()))
			columns[i] = array.NewInt64Data(array.NewData(fields[i].Type, n, []*memory.Buffer{bitmap, values}, nil, nulls, 0))
		case Text:
			fields[i].Type = dictionaryType
			indices, dictionary, length, err := c.dictionary()
			if err != nil {
				return nil, err
			}
			values := memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(indices))
			columns[i] = array.NewDictionaryData(array.NewDataWithDictionary(dictionaryType, n, []*memory.Buffer{bitmap, values}, nulls, 0, dictionary))
			size += 512 + length
		}
		size += 256 + len(c.Name) + len(c.Unit) + 8*n + n/8 + 64
	}
	metadata := t.metadata(&size)
	schema := arrow.NewSchema(fields, &metadata)

	out := writer{make([]byte, 0, size)}
	w := ipc.NewWriter(&out, ipc.WithSchema(schema))
	if err := w.Write(array.NewRecord(schema, columns, int64(n))); err != nil {
		return nil, fmt.Errorf("table: cannot encode: %w", err)
	}
	if err := w.Close(); err != nil {
		return nil, fmt.Errorf("table: cannot encode: %w", err)
	}
	return out.b, nil
}

// dictionaryType of text columns. Arrow's types are immutable.
var dictionaryType = &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}

// writer is bytes.Buffer without its reading half, so that the guess of the
// size is the only allocation in the usual case.
type writer struct{ b []byte }

func (w *writer) Write(p []byte) (int, error) {
	w.b = append(w.b, p...)
	return len(p), nil
}

func (t *Table) metadata(size *int) arrow.Metadata {
	keys := sortedKeys(t.Header)
	values := make([]string, len(keys))
	for i, key := range keys {
		values[i] = t.Header[key]
		*size += 48 + len(key) + len(values[i])
	}
	return arrow.NewMetadata(keys, values)
}

// bitmap packs Valid into bits, lowest first; nil when nothing is missing.
func (c *Column) bitmap() (*memory.Buffer, int) {
	nulls := 0
	for _, ok := range c.Valid {
		if !ok {
			nulls++
		}
	}
	if nulls == 0 {
		return nil, 0
	}
	packed := make([]byte, (len(c.Valid)+7)/8)
	for i, ok := range c.Valid {
		if ok {
			packed[i/8] |= 1 << (i % 8)
		}
	}
	return memory.NewBufferBytes(packed), nulls
}

// canonicalFloats has 0 for -0 and under nulls. It copies only if it must.
func (c *Column) canonicalFloats() []float64 {
	v, copied := c.Floats, false
	set := func(i int) {
		if !copied {
			v, copied = append([]float64(nil), v...), true
		}
		v[i] = 0
	}
	const minusZero = 1 << 63
	for i, x := range c.Floats {
		if math.Float64bits(x) == minusZero {
			set(i)
		}
	}
	for i, ok := range c.Valid {
		if !ok && math.Float64bits(v[i]) != 0 {
			set(i)
		}
	}
	return v
}

func (c *Column) canonicalInts() []int64 {
	v, copied := c.Ints, false
	for i, ok := range c.Valid {
		if ok || v[i] == 0 {
			continue
		}
		if !copied {
			v, copied = append([]int64(nil), v...), true
		}
		v[i] = 0
	}
	return v
}

// dictionary numbers the different texts by first appearance. Length is the
// number of bytes of all of them, which Arrow counts in 31 bits.
func (c *Column) dictionary() (indices []int32, words *array.Data, length int, err error) {
	indices = make([]int32, len(c.Texts))
	number := make(map[string]int32, 8)
	var list []string
	for i, s := range c.Texts {
		if c.IsNull(i) {
			continue
		}
		k, ok := number[s]
		if !ok {
			k = int32(len(list))
			number[s] = k
			list = append(list, s)
			length += len(s)
		}
		indices[i] = k
	}
	if length > math.MaxInt32 || len(list) > math.MaxInt32-1 {
		return nil, nil, 0, fmt.Errorf("table: column %q: its different texts have %d bytes; expected at most 2147483647; split the table", c.Name, length)
	}
	offsets := make([]int32, len(list)+1)
	joined := make([]byte, 0, length)
	for i, s := range list {
		joined = append(joined, s...)
		offsets[i+1] = int32(len(joined))
	}
	words = array.NewData(arrow.BinaryTypes.String, len(list), []*memory.Buffer{
		nil,
		memory.NewBufferBytes(arrow.Int32Traits.CastToBytes(offsets)),
		memory.NewBufferBytes(joined),
	}, nil, 0, 0)
	return indices, words, length, nil
}
