package importing

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"math"
)

// chunks reads all strips or tiles of a page.
func (d *tiffPage) chunks(s sampleForm, w, h int, planes [][]float64) error {
	cw, ch := w, min(d.number(tagRowsPerStrip, 0, h), h)
	offsets, sizes := tagStripOffsets, tagStripBytes
	if d.count(tagTileOffsets) > 0 {
		cw, ch = d.number(tagTileWidth, 0, 0), d.number(tagTileHeight, 0, 0)
		offsets, sizes = tagTileOffsets, tagTileBytes
	}
	each := s.samples // in a chunk's pixel
	if s.planar {
		each = 1
	}
	if cw < 1 || ch < 1 || cw > mostPixels || ch > mostPixels || cw*ch > mostPixels || cw*ch*each > mostPixels || cw > 2*w+4096 || ch > 2*h+4096 {
		return tiffError(d.page, fmt.Sprintf("strips or tiles of %d × %d pixels", cw, ch), "ones of the image's size", "copy the file again")
	}
	across, down := (w+cw-1)/cw, (h+ch-1)/ch
	n := across * down
	if s.planar {
		n *= s.samples
	}
	if d.count(offsets) != n || d.count(sizes) != n && s.packing != 1 {
		return tiffError(d.page, count(d.count(offsets), "strip or tile"), itoa(n)+", as its size says", "copy the file again")
	}
	c := tiffChunk{form: s, page: d, each: each, width: cw, bits: make([]uint64, cw*each), raw: make([]byte, cw*ch*each*s.bits/8)}
	for i := range n {
		plane, at := 0, i
		if s.planar {
			plane, at = i/(across*down), i%(across*down)
		}
		x0, y0 := at%across*cw, at/across*ch
		rows := ch
		if offsets == tagStripOffsets {
			rows = min(ch, h-y0) // tiles are whole, the last strip is not
		}
		want := cw * rows * each * s.bits / 8
		from, size := d.number(offsets, i, -1), d.number(sizes, i, want)
		if from < 0 || size < 0 || from > len(d.data) || size > len(d.data)-from {
			return tiffError(d.page, fmt.Sprintf("strip or tile %d beyond the end of the file", i+1), "a whole file", "copy it again")
		}
		if got, err := unpackTIFF(s.packing, d.data[from:from+size], c.raw[:want]); err != nil || got < want {
			what := fmt.Sprintf("strip or tile %d of %d bytes where %d are due", i+1, got, want)
			if err != nil {
				what = fmt.Sprintf("strip or tile %d that cannot be unpacked (%v)", i+1, err)
			}
			return tiffError(d.page, what, "a whole file", "copy it again")
		}
		for r := range min(rows, h-y0) {
			c.row(r)
			for k := range each {
				p := planes[plane+k][(y0+r)*w:]
				for x := range min(cw, w-x0) {
					p[x0+x] = c.value(x*each + k)
				}
			}
		}
	}
	return nil
}

// tiffChunk turns the bytes of a strip or tile into numbers.
type tiffChunk struct {
	form        sampleForm
	page        *tiffPage
	each, width int
	raw         []byte
	bits        []uint64 // of one row
}

// row reads the numbers of a row as they are in memory, and takes the predictor back.
func (c *tiffChunk) row(r int) {
	size := c.form.bits / 8
	n := c.width * c.each
	b := c.raw[r*n*size : (r+1)*n*size]
	order := c.page.order
	if c.form.predictor == 3 { // bytes parted by weight, the heaviest first, then differences of bytes
		for i := c.each; i < len(b); i++ {
			b[i] += b[i-c.each]
		}
		for i := range n {
			v := uint64(0)
			for k := range size {
				v = v<<8 | uint64(b[k*n+i])
			}
			c.bits[i] = v
		}
		return
	}
	for i := range n {
		switch size {
		case 1:
			c.bits[i] = uint64(b[i])
		case 2:
			c.bits[i] = uint64(order.Uint16(b[2*i:]))
		case 4:
			c.bits[i] = uint64(order.Uint32(b[4*i:]))
		default:
			c.bits[i] = order.Uint64(b[8*i:])
		}
	}
	if c.form.predictor == 2 {
		for i := c.each; i < n; i++ {
			c.bits[i] += c.bits[i-c.each] // what flows over is cut off by value
		}
	}
}

// value is number i of the row.
func (c *tiffChunk) value(i int) float64 {
	v := c.bits[i]
	switch {
	case c.form.format == 3 && c.form.bits == 32:
		return float64(math.Float32frombits(uint32(v)))
	case c.form.format == 3:
		return math.Float64frombits(v)
	case c.form.format == 1:
		return float64(v & (1<<c.form.bits - 1))
	}
	switch c.form.bits {
	case 8:
		return float64(int8(v))
	case 16:
		return float64(int16(v))
	}
	return float64(int32(v))
}

// unpackTIFF fills out and says how much of it; what is beyond it is left.
func unpackTIFF(packing int, in, out []byte) (int, error) {
	switch packing {
	case 1:
		return copy(out, in), nil
	case 5:
		return unpackLZW(in, out)
	case 32773:
		return unpackBits(in, out)
	}
	z, err := zlib.NewReader(bytes.NewReader(in))
	if err != nil {
		return 0, err
	}
	n, err := io.ReadFull(z, out)
	if err == io.ErrUnexpectedEOF || err == io.EOF {
		err = nil // told by n
	}
	return n, err
}

// unpackBits is PackBits (TIFF 6.0, section 9).
func unpackBits(in, out []byte) (int, error) {
	n := 0
	for i := 0; i < len(in) && n < len(out); {
		k := int(int8(in[i]))
		i++
		switch {
		case k >= 0:
			if i+k+1 > len(in) {
				return n, nil
			}
			n += copy(out[n:], in[i:i+k+1])
			i += k + 1
		case k != -128:
			if i >= len(in) {
				return n, nil
			}
			for range min(1-k, len(out)-n) {
				out[n] = in[i]
				n++
			}
			i++
		}
	}
	return n, nil
}

// unpackLZW is the LZW of TIFF 6.0, section 13: codes of 9 to 12 bits, the highest bit first, each width ending one code early.
func unpackLZW(in, out []byte) (int, error) {
	const clear, end = 256, 257
	var start, length [4096]int // where the text of a code first stands in out
	next, width, last := end+1, 9, -1
	acc, have, n := 0, 0, 0
	lastAt, lastLen := 0, 0
	for i := 0; n < len(out); {
		for have < width {
			if i >= len(in) {
				return n, nil
			}
			acc = acc<<8 | int(in[i])
			have += 8
			i++
		}
		code := acc >> (have - width)
		have -= width
		acc &= 1<<have - 1
		switch {
		case code == clear:
			next, width, last = end+1, 9, -1
			continue
		case code == end:
			return n, nil
		case code > next || code >= end+1 && last < 0 || code == next && last < 0:
			return n, fmt.Errorf("LZW code %d before it is defined", code)
		}
		at, size := n, 1
		switch {
		case code < clear:
			out[n] = byte(code)
			n++
		case code < next:
			size = length[code]
			for k := range size {
				if n == len(out) {
					return n, nil
				}
				out[n] = out[start[code]+k]
				n++
			}
		default: // the text before, and its first byte once more
			size = lastLen + 1
			for k := range size {
				if n == len(out) {
					return n, nil
				}
				out[n] = out[lastAt+k%lastLen]
				n++
			}
		}
		if last >= 0 && next < 4096 {
			start[next], length[next] = lastAt, lastLen+1 // whose last byte is the first of this one, which follows it
			next++
		}
		if next >= 1<<width-1 && width < 12 {
			width++
		}
		last, lastAt, lastLen = code, at, size
	}
	return n, nil
}
