package table

import "encoding/binary"

// The readers below walk the flatbuffers of an Arrow stream. Arrow's own reader
// trusts every offset and every length in them: bytes that were damaged on disk
// can make it recurse without end or ask for more memory than there is, neither
// of which can be recovered from. Here every step is checked against the message
// and nothing is allocated by a length that was read. It also spares the copy of
// each buffer. Format: FlatBuffers internals, "Tables" and "Vectors"; Arrow
// columnar format 1.4, Message.fbs and Schema.fbs (from memory).

// message is the flatbuffer of one message. Text is the same bytes, so that
// strings taken from it share one copy.
type message struct {
	b    []byte
	text string
	bad  bool // an offset or a length pointed outside
}

// object is the place of a flatbuffer table within its message; 0: there is none.
type object int

func (m *message) u16(at int) int {
	if at < 0 || at > len(m.b)-2 {
		m.bad = true
		return 0
	}
	return int(binary.LittleEndian.Uint16(m.b[at:]))
}

func (m *message) u32(at int) int {
	if at < 0 || at > len(m.b)-4 {
		m.bad = true
		return 0
	}
	return int(binary.LittleEndian.Uint32(m.b[at:]))
}

func (m *message) i64(at int) int64 {
	if at < 0 || at > len(m.b)-8 {
		m.bad = true
		return 0
	}
	return int64(binary.LittleEndian.Uint64(m.b[at:]))
}

// root is the outermost object.
func (m *message) root() object { return object(m.u32(0)) }

// slot is the place of field number k of an object; 0 when it has the default.
func (m *message) slot(o object, k int) int {
	if o == 0 {
		return 0
	}
	at := int(o)
	vtable := at - int(int32(m.u32(at)))
	if size := m.u16(vtable); 4+2*k+2 > size {
		return 0
	}
	offset := m.u16(vtable + 4 + 2*k)
	if offset == 0 {
		return 0
	}
	return at + offset
}

func (m *message) byteField(o object, k, missing int) int {
	at := m.slot(o, k)
	if at == 0 {
		return missing
	}
	if at < 0 || at >= len(m.b) {
		m.bad = true
		return missing
	}
	return int(m.b[at])
}

func (m *message) i16Field(o object, k, missing int) int {
	if at := m.slot(o, k); at != 0 {
		return int(int16(m.u16(at)))
	}
	return missing
}

func (m *message) i32Field(o object, k, missing int) int {
	if at := m.slot(o, k); at != 0 {
		return int(int32(m.u32(at)))
	}
	return missing
}

func (m *message) i64Field(o object, k int, missing int64) int64 {
	if at := m.slot(o, k); at != 0 {
		return m.i64(at)
	}
	return missing
}

// objectField follows the offset to an object inside another.
func (m *message) objectField(o object, k int) object {
	at := m.slot(o, k)
	if at == 0 {
		return 0
	}
	return object(at + m.u32(at))
}

// vector gives the place of the first element and the number of elements, each
// of the given width in bytes.
func (m *message) vector(o object, k, width int) (at, n int) {
	at = m.slot(o, k)
	if at == 0 {
		return 0, 0
	}
	at += m.u32(at)
	n = m.u32(at)
	at += 4
	if at < 0 || n < 0 || n > (len(m.b)-at)/width {
		m.bad = true
		return 0, 0
	}
	return at, n
}

// element follows the offset in element i of a vector of objects.
func (m *message) element(at, i int) object {
	at += 4 * i
	return object(at + m.u32(at))
}

func (m *message) stringField(o object, k int) string {
	at, n := m.vector(o, k, 1)
	return m.text[at : at+n]
}
