package importing

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
)

// Limits of images: what a page may hold, and how many pages a file.
const (
	mostPixels = 1 << 26
	mostPages  = 10_000
)

// Tags of TIFF 6.0 (Aldus, 1992), section 8 and parts 2: sections 14, 15, 19; and of its technical note 2 (2002), Deflate and predictors. From memory.
const (
	tagWidth        = 256
	tagHeight       = 257
	tagBits         = 258
	tagCompression  = 259
	tagPhotometric  = 262
	tagFillOrder    = 266
	tagDescription  = 270
	tagStripOffsets = 273
	tagSamples      = 277
	tagRowsPerStrip = 278
	tagStripBytes   = 279
	tagXResolution  = 282
	tagYResolution  = 283
	tagPlanar       = 284
	tagResUnit      = 296
	tagDateTime     = 306
	tagPredictor    = 317
	tagTileWidth    = 322
	tagTileHeight   = 323
	tagTileOffsets  = 324
	tagTileBytes    = 325
	tagFormat       = 339
)

// isTIFF tells a TIFF file by its first bytes, a large one (BigTIFF) among them.
func isTIFF(data []byte) bool {
	if len(data) < 8 {
		return false
	}
	switch string(data[:4]) {
	case "II*\x00", "MM\x00*", "II+\x00", "MM\x00+":
		return true
	}
	return false
}

// Picture is one plane of a page of an image file.
type Picture struct {
	Page          int       // from 1
	Channel       string    // "red", "green", "blue", "sample 4"; "" where a page has one
	Width, Height int       // in pixels
	Pixels        []float64 // row by row from the top left
	Valid         []bool    // nil: all pixels are numbers
	PixelWidth    float64   // nm; 0: the file does not say it
	PixelHeight   float64
	ScaleBy       string // who says it: "OME-XML", "resolution"
	Pairs         []Pair // what the file says of itself
	Notes         []Note
}

// tiffError places an error: TIFF files have no lines.
func tiffError(page int, found, expected, remedy string) error {
	if page > 0 {
		found = fmt.Sprintf("page %d: %s", page, found)
	}
	return &LineError{0, found, expected, remedy}
}

// EachTIFF reads the pages of a TIFF file, a plane at a time: 8, 16, 32 or 64 bits whole or floating, signed or not, in strips or tiles, plain or packed by LZW, Deflate or
// PackBits, with either predictor, of either byte order.
//
// Errors are *LineError: a file that breaks off or points outside itself, what is not read (colour maps, JPEG, other bits), and sizes beyond the limits.
func EachTIFF(data []byte, yield func(*Picture) error) error {
	f := tiffFile{data: data, order: binary.LittleEndian}
	if !isTIFF(data) {
		return tiffError(0, "no TIFF file", "II or MM and the number 42 at its beginning", "correct `layout`, or `files`")
	}
	if data[0] == 'M' {
		f.order = binary.BigEndian
	}
	if f.order.Uint16(data[2:]) == 43 {
		return tiffError(0, "a BigTIFF file", "TIFF of less than 4 GB", "save it as TIFF")
	}
	seen := map[uint32]bool{}
	at := f.order.Uint32(data[4:])
	for page := 1; at != 0; page++ {
		if page > mostPages {
			return tiffError(0, "more than "+itoa(mostPages)+" pages", "fewer", "part the file")
		}
		if seen[at] {
			return tiffError(page, "a page that comes again", "pages in a row", "copy the file again")
		}
		seen[at] = true
		d, next, err := f.directory(at, page)
		if err != nil {
			return err
		}
		if err := d.read(yield); err != nil {
			return err
		}
		at = next
	}
	if len(seen) == 0 {
		return tiffError(0, "a TIFF file without a page", "at least one", "copy it again")
	}
	return nil
}

type tiffFile struct {
	data  []byte
	order binary.ByteOrder
	ome   [2]float64 // size of a pixel in nm by OME-XML, which the first page holds
}

// tiffPage is the directory of a page.
type tiffPage struct {
	*tiffFile
	page    int
	entries map[int]tiffEntry
}

type tiffEntry struct {
	kind  uint16
	count int
	bytes []byte // of all values
}

var tiffSizes = [...]int{1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}

// directory reads the entries of a page and where the next one is.
func (f *tiffFile) directory(at uint32, page int) (*tiffPage, uint32, error) {
	off := int(at)
	cut := func() (*tiffPage, uint32, error) {
		return nil, 0, tiffError(page, "a directory beyond the end of the file", "a whole file", "copy it again")
	}
	if off > len(f.data)-2 {
		return cut()
	}
	n := int(f.order.Uint16(f.data[off:]))
	end := off + 2 + 12*n
	if end > len(f.data)-4 {
		return cut()
	}
	d := &tiffPage{tiffFile: f, page: page, entries: map[int]tiffEntry{}}
	for i := range n {
		e := f.data[off+2+12*i:]
		tag, kind, count := int(f.order.Uint16(e)), f.order.Uint16(e[2:]), int(f.order.Uint32(e[4:]))
		if int(kind) >= len(tiffSizes) || tiffSizes[kind] == 0 {
			continue // values of a later sort: tags with them are none that are read here
		}
		size := tiffSizes[kind] * count
		bytes := e[8:12]
		if size > 4 {
			from := int(f.order.Uint32(e[8:]))
			if from > len(f.data) || size > len(f.data)-from {
				return nil, 0, tiffError(page, fmt.Sprintf("tag %d beyond the end of the file", tag), "a whole file", "copy it again")
			}
			bytes = f.data[from:]
		}
		d.entries[tag] = tiffEntry{kind, count, bytes[:size]}
	}
	return d, f.order.Uint32(f.data[end:]), nil
}

// number gives value i of a tag; other where it is not there.
func (d *tiffPage) number(tag, i, other int) int {
	e, ok := d.entries[tag]
	if !ok || i >= e.count {
		return other
	}
	switch e.kind {
	case 1, 7:
		return int(e.bytes[i])
	case 3:
		return int(d.order.Uint16(e.bytes[2*i:]))
	case 4, 13:
		return int(d.order.Uint32(e.bytes[4*i:]))
	}
	return other
}

// count is how many values a tag has.
func (d *tiffPage) count(tag int) int { return d.entries[tag].count }

// ratio gives a rational value; 0 where there is none.
func (d *tiffPage) ratio(tag int) float64 {
	e, ok := d.entries[tag]
	if !ok || e.kind != 5 || e.count < 1 {
		return 0
	}
	den := d.order.Uint32(e.bytes[4:])
	if den == 0 {
		return 0
	}
	return float64(d.order.Uint32(e.bytes)) / float64(den)
}

func (d *tiffPage) text(tag int) string {
	e := d.entries[tag]
	if e.kind != 2 {
		return ""
	}
	s, _, _ := strings.Cut(string(e.bytes), "\x00")
	return strings.TrimSpace(strings.ToValidUTF8(s, "\uFFFD"))
}

// sample is how a page writes its numbers.
type sampleForm struct {
	bits, format int // 1 whole, 2 signed, 3 floating
	samples      int // a pixel
	planar       bool
	predictor    int
	packing      int
	inverted     bool // 0 is white
}

// form checks what a page says of its numbers.
func (d *tiffPage) form() (s sampleForm, err error) {
	s = sampleForm{bits: d.number(tagBits, 0, 1), format: d.number(tagFormat, 0, 1), samples: d.number(tagSamples, 0, 1), planar: d.number(tagPlanar, 0, 1) == 2,
		predictor: d.number(tagPredictor, 0, 1), packing: d.number(tagCompression, 0, 1), inverted: d.number(tagPhotometric, 0, 1) == 0}
	if s.format == 4 {
		s.format = 1 // not said: whole numbers
	}
	refuse := func(found, expected string) error {
		return tiffError(d.page, found, expected, "export it as plain greyscale TIFF")
	}
	for i := range s.samples {
		if s.samples <= 64 && (d.number(tagBits, i, s.bits) != s.bits || d.number(tagFormat, i, s.format) != s.format && d.number(tagFormat, i, 4) != 4) {
			return s, refuse("samples of different sorts in a pixel", "equal ones")
		}
	}
	switch {
	case s.samples < 1 || s.samples > 64:
		return s, refuse(count(s.samples, "sample")+" a pixel", "1 to 64")
	case s.format == 1 && s.bits != 8 && s.bits != 16 && s.bits != 32, s.format == 2 && s.bits != 8 && s.bits != 16 && s.bits != 32, s.format == 3 && s.bits != 32 && s.bits != 64, s.format < 1 || s.format > 3:
		return s, refuse(fmt.Sprintf("numbers of %d bits in format %d", s.bits, s.format), "8, 16 or 32 bits whole (1, 2), or 32 or 64 floating (3)")
	case d.number(tagPhotometric, 0, 1) == 3:
		return s, refuse("colours by a map", "brightness")
	case d.number(tagPhotometric, 0, 1) == 6:
		return s, refuse("colours in luminance and chrominance", "brightness")
	case d.number(tagFillOrder, 0, 1) != 1:
		return s, refuse("bits in reverse order", "the usual one")
	case s.predictor < 1 || s.predictor > 3 || s.predictor == 3 && s.format != 3 || s.predictor == 2 && s.format == 3:
		return s, refuse(fmt.Sprintf("predictor %d of numbers in format %d", s.predictor, s.format), "1, 2 of whole numbers, or 3 of floating ones")
	}
	switch s.packing {
	case 1, 5, 8, 32946, 32773:
	default:
		return s, refuse(fmt.Sprintf("compression %d", s.packing), "none, LZW, Deflate or PackBits")
	}
	return s, nil
}

// read gives the planes of a page.
func (d *tiffPage) read(yield func(*Picture) error) error {
	s, err := d.form()
	if err != nil {
		return err
	}
	w, h := d.number(tagWidth, 0, 0), d.number(tagHeight, 0, 0)
	if w < 1 || h < 1 || w > mostPixels || h > mostPixels || w*h*s.samples > mostPixels {
		return tiffError(d.page, fmt.Sprintf("an image of %d × %d pixels with %s each", w, h, count(s.samples, "sample")), "1 to "+itoa(mostPixels)+" numbers a page", "part the image")
	}
	bytes := w * h * s.samples * s.bits / 8
	if bytes > freeUnpacked+mostRatio*len(d.data) {
		return tiffError(d.page, fmt.Sprintf("an image of %d bytes in a file of %d", bytes, len(d.data)), "at most 400 times its size", "look at the file")
	}
	planes := make([][]float64, s.samples)
	for k := range planes {
		planes[k] = make([]float64, w*h)
	}
	if err := d.chunks(s, w, h, planes); err != nil {
		return err
	}
	base := Picture{Page: d.page, Width: w, Height: h}
	d.describe(&base)
	d.scale(&base)
	for k, p := range planes {
		pic := base
		pic.Pixels, pic.Notes = p, append([]Note(nil), base.Notes...)
		if s.samples > 1 {
			pic.Channel = "sample " + itoa(k+1)
			if d.number(tagPhotometric, 0, 1) == 2 && k < 3 {
				pic.Channel = [3]string{"red", "green", "blue"}[k]
			}
		}
		if s.inverted && s.format == 1 {
			for i := range p {
				p[i] = math.Exp2(float64(s.bits)) - 1 - p[i]
			}
			pic.Notes = append(pic.Notes, Note{Text: "the file writes white as 0: the numbers are turned round", Minor: true})
		}
		if s.format == 3 {
			dropNaN(&pic)
		}
		if err := yield(&pic); err != nil {
			return err
		}
	}
	return nil
}

// dropNaN makes pixels without a finite number ones without a number.
func dropNaN(p *Picture) {
	n := 0
	for i, v := range p.Pixels {
		if v-v == 0 {
			continue
		}
		if p.Valid == nil {
			p.Valid = allTrue(len(p.Pixels))
		}
		p.Pixels[i], p.Valid[i] = 0, false
		n++
	}
	if n > 0 {
		p.Notes = append(p.Notes, Note{Text: count(n, "pixel") + " without a finite number"})
	}
}
