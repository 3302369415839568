package table

import (
	"encoding/binary"
	"errors"
	"fmt"
	"unsafe"

	"github.com/apache/arrow/go/v17/arrow/endian"
)

// Numbers of Arrow's format (Message.fbs and Schema.fbs, from memory).
const (
	headerSchema     = 1
	headerDictionary = 2
	headerRecord     = 3

	typeInt   = 2
	typeFloat = 3
	typeUtf8  = 5

	precisionDouble = 2
)

var errDamaged = errors.New("table: these bytes are not a table as this program writes it, or they were damaged")

func damaged(format string, args ...any) error {
	return fmt.Errorf("%w: %s", errDamaged, fmt.Sprintf(format, args...))
}

// Decode reads what [Encode] wrote; encoding the result gives the same bytes.
// Columns of numbers share memory with b where its alignment allows, so b must
// not be changed while the table is in use. Bytes that are not a table give an
// error.
func Decode(b []byte) (*Table, error) {
	d := decoder{rest: b}
	if err := d.schema(); err != nil {
		return nil, err
	}
	words := make([][]string, len(d.table.Columns))
	for i := range d.table.Columns {
		if d.table.Columns[i].Type == Text {
			var err error
			if words[i], err = d.dictionary(d.ids[i]); err != nil {
				return nil, err
			}
		}
	}
	if err := d.record(words); err != nil {
		return nil, err
	}
	const end = "\xff\xff\xff\xff\x00\x00\x00\x00"
	if string(d.rest) != end {
		return nil, damaged("%d bytes where the end mark is due", len(d.rest))
	}
	if err := d.table.Check(); err != nil {
		return nil, damaged("%v", err)
	}
	return &d.table, nil
}

type decoder struct {
	rest  []byte
	table Table
	ids   []int64 // of the dictionary of each column of text
}

// next takes one message with its body. Layout: FF FF FF FF, length of the
// flatbuffer (int32), flatbuffer, body.
func (d *decoder) next(header int) (m *message, head object, body []byte, err error) {
	if len(d.rest) < 8 || binary.LittleEndian.Uint32(d.rest) != 0xffffffff {
		return nil, 0, nil, damaged("no message where one is due")
	}
	n := int(binary.LittleEndian.Uint32(d.rest[4:]))
	if n <= 0 || n > len(d.rest)-8 || n%8 != 0 {
		return nil, 0, nil, damaged("a message of %d bytes with %d left", n, len(d.rest)-8)
	}
	m = &message{b: d.rest[8 : 8+n]}
	root := m.root()
	kind, length := m.byteField(root, 1, 0), m.i64Field(root, 3, 0)
	head = m.objectField(root, 2)
	d.rest = d.rest[8+n:]
	switch {
	case m.bad || head == 0:
		return nil, 0, nil, damaged("a message whose head points outside it")
	case kind != header:
		return nil, 0, nil, damaged("a message of kind %d where kind %d is due", kind, header)
	case length < 0 || length > int64(len(d.rest)):
		return nil, 0, nil, damaged("a body of %d bytes with %d left", length, len(d.rest))
	}
	body, d.rest = d.rest[:length], d.rest[length:]
	return m, head, body, nil
}

func (d *decoder) schema() error {
	m, schema, body, err := d.next(headerSchema)
	if err != nil {
		return err
	}
	m.text = string(m.b)
	if len(body) != 0 || m.i16Field(schema, 0, 0) != 0 {
		return damaged("a schema with a body or with another order of bytes")
	}
	fields, n := m.vector(schema, 1, 4)
	if n > 0 {
		d.table.Columns = make([]Column, n)
		d.ids = make([]int64, n)
	}
	for i := range n {
		if err := d.field(m, m.element(fields, i), i); err != nil {
			return err
		}
	}
	pairs, n := m.vector(schema, 2, 4)
	if n > 0 {
		d.table.Header = make(map[string]string, n)
	}
	last := ""
	for i := range n {
		pair := m.element(pairs, i)
		key := m.stringField(pair, 0)
		if i > 0 && key <= last {
			return damaged("a header whose keys are out of order")
		}
		d.table.Header[key], last = m.stringField(pair, 1), key
	}
	if m.bad {
		return damaged("a schema that points outside itself")
	}
	return nil
}

func (d *decoder) field(m *message, field object, i int) error {
	c := &d.table.Columns[i]
	c.Name = m.stringField(field, 0)
	kind := m.objectField(field, 3)
	word := m.objectField(field, 4)
	switch m.byteField(field, 2, 0) {
	case typeFloat:
		c.Type = Float
		if word != 0 || m.i16Field(kind, 0, 0) != precisionDouble {
			return damaged("column %q: numbers that are not 64-bit", c.Name)
		}
	case typeInt:
		c.Type = Int
		if word != 0 || m.i32Field(kind, 0, 0) != 64 || m.byteField(kind, 1, 0) != 1 {
			return damaged("column %q: whole numbers that are not 64-bit and signed", c.Name)
		}
	case typeUtf8:
		c.Type = Text
		index := m.objectField(word, 1)
		if word == 0 || index != 0 && (m.i32Field(index, 0, 0) != 32 || m.byteField(index, 1, 0) != 1) {
			return damaged("column %q: text without a dictionary of 32-bit numbers", c.Name)
		}
		d.ids[i] = m.i64Field(word, 0, 0)
	default:
		return damaged("column %q: an unknown type", c.Name)
	}
	if _, children := m.vector(field, 5, 4); children != 0 {
		return damaged("column %q: columns inside it", c.Name)
	}
	pairs, n := m.vector(field, 6, 4)
	if n > 0 {
		pair := m.element(pairs, 0)
		c.Unit = m.stringField(pair, 1)
		if n > 1 || m.stringField(pair, 0) != unitKey || c.Unit == "" {
			return damaged("column %q: metadata other than its unit", c.Name)
		}
	}
	return nil
}

// batch walks nodes and buffers of a record batch in step.
type batch struct {
	m              *message
	body           []byte
	length         int
	nodes, buffers int   // place of the next one
	nNode, nBuffer int   // how many are left
	end            int64 // of the last buffer
}

func newBatch(m *message, record object, body []byte) (*batch, error) {
	b := &batch{m: m, body: body}
	length := m.i64Field(record, 0, 0)
	b.nodes, b.nNode = m.vector(record, 1, 16)
	b.buffers, b.nBuffer = m.vector(record, 2, 16)
	// Each row takes at least four bytes of each column, and there is no table of
	// rows without columns.
	if m.bad || record == 0 || m.objectField(record, 3) != 0 || length < 0 || length > int64(len(body)) {
		return nil, damaged("a batch of %d rows in %d bytes", length, len(body))
	}
	b.length = int(length)
	return b, nil
}

// node gives the number of missing entries of the next column.
func (b *batch) node() (nulls int, err error) {
	if b.nNode == 0 {
		return 0, damaged("more columns than the batch has")
	}
	length, missing := b.m.i64(b.nodes), b.m.i64(b.nodes+8)
	b.nodes, b.nNode = b.nodes+16, b.nNode-1
	if length != int64(b.length) || missing < 0 || missing > length {
		return 0, damaged("a column of %d rows, %d missing, in a batch of %d", length, missing, b.length)
	}
	return int(missing), nil
}

// buffer gives the next one, which must have at least size bytes, with its
// capacity cut so that nobody appends into its neighbour. Buffers do not overlap:
// otherwise a few bytes could stand for any number of long columns.
func (b *batch) buffer(size int) ([]byte, error) {
	if b.nBuffer == 0 {
		return nil, damaged("more buffers than the batch has")
	}
	offset, length := b.m.i64(b.buffers), b.m.i64(b.buffers+8)
	b.buffers, b.nBuffer = b.buffers+16, b.nBuffer-1
	if offset < b.end || length < int64(size) || offset > int64(len(b.body)) || length > int64(len(b.body))-offset {
		return nil, damaged("a buffer of %d bytes at %d in a body of %d; %d are due", length, offset, len(b.body), size)
	}
	b.end = offset + length
	return b.body[offset : offset+length : offset+length], nil
}

// valid unpacks the bitmap of a column; nil when nothing is missing.
func (b *batch) valid(nulls int) ([]bool, error) {
	size := 0
	if nulls > 0 {
		size = (b.length + 7) / 8
	}
	packed, err := b.buffer(size)
	if err != nil || nulls == 0 {
		return nil, err
	}
	valid := make([]bool, b.length)
	count := b.length
	for i := range valid {
		if packed[i/8]>>(i%8)&1 != 0 {
			valid[i] = true
			count--
		}
	}
	if count != nulls {
		return nil, damaged("%d entries marked as missing where %d are due", count, nulls)
	}
	return valid, nil
}

func (d *decoder) dictionary(id int64) ([]string, error) {
	m, head, body, err := d.next(headerDictionary)
	if err != nil {
		return nil, err
	}
	if got := m.i64Field(head, 0, 0); got != id || m.byteField(head, 2, 0) != 0 {
		return nil, damaged("dictionary %d where %d is due", got, id)
	}
	b, err := newBatch(m, m.objectField(head, 1), body)
	if err != nil {
		return nil, err
	}
	if nulls, err := b.node(); err != nil || nulls != 0 {
		return nil, damaged("a dictionary with missing words")
	}
	if _, err := b.valid(0); err != nil {
		return nil, err
	}
	size := 0
	if b.length > 0 {
		size = 4 * (b.length + 1)
	}
	offsets, err := b.buffer(size)
	if err != nil {
		return nil, err
	}
	letters, err := b.buffer(0)
	if err != nil {
		return nil, err
	}
	text := string(letters)
	words := make([]string, b.length)
	for i := range words {
		from, to := binary.LittleEndian.Uint32(offsets[4*i:]), binary.LittleEndian.Uint32(offsets[4*i+4:])
		if from > to || int64(to) > int64(len(text)) {
			return nil, damaged("a dictionary whose word %d ends before it starts", i+1)
		}
		words[i] = text[from:to]
	}
	return words, nil
}

func (d *decoder) record(words [][]string) error {
	m, head, body, err := d.next(headerRecord)
	if err != nil {
		return err
	}
	b, err := newBatch(m, head, body)
	if err != nil {
		return err
	}
	for i := range d.table.Columns {
		c := &d.table.Columns[i]
		nulls, err := b.node()
		if err != nil {
			return err
		}
		if c.Valid, err = b.valid(nulls); err != nil {
			return err
		}
		width := 8
		if c.Type == Text {
			width = 4
		}
		data, err := b.buffer(width * b.length)
		if err != nil {
			return err
		}
		data = data[:width*b.length]
		switch c.Type {
		case Float:
			c.Floats = view[float64](data)
		case Int:
			c.Ints = view[int64](data)
		case Text:
			if c.Texts, err = texts(view[int32](data), c, words[i]); err != nil {
				return err
			}
		}
	}
	if b.m.bad || b.nNode != 0 || b.nBuffer != 0 || b.length > 0 && len(d.table.Columns) == 0 {
		return damaged("a batch with columns that the schema does not name")
	}
	return nil
}

func texts(indices []int32, c *Column, words []string) ([]string, error) {
	list := make([]string, len(indices))
	for i, k := range indices {
		if c.IsNull(i) {
			continue
		}
		if k < 0 || int(k) >= len(words) {
			return nil, damaged("column %q, row %d: word %d of %d", c.Name, i+1, k, len(words))
		}
		list[i] = words[k]
	}
	return list, nil
}

// view reads little-endian numbers, in place where processor and alignment allow.
func view[T float64 | int64 | int32](b []byte) []T {
	var zero T
	width := int(unsafe.Sizeof(zero))
	n := len(b) / width
	if n == 0 {
		return []T{}
	}
	if endian.NativeEndian == endian.LittleEndian && uintptr(unsafe.Pointer(&b[0]))%unsafe.Alignof(zero) == 0 {
		return unsafe.Slice((*T)(unsafe.Pointer(&b[0])), n)
	}
	v := make([]T, n)
	if _, err := binary.Decode(b, binary.LittleEndian, v); err != nil {
		panic("table: " + err.Error()) // v is made to fit b
	}
	return v
}
