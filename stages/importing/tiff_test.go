package importing

import (
	"bytes"
	"compress/zlib"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"fascicle/pipeline"

	"pgregory.net/rapid"
)

// Images of 70 × 9 pixels written by Pillow 9.4.0 with libtiff: Image.fromarray(a).save(f, "TIFF", compression=…, tiffinfo={317: predictor}), then zlib.compress. The numbers are those of
// the formulas in foreignPixel, computed with NumPy 1.24.2.
func TestForeignTIFF(t *testing.T) {
	for _, c := range []struct{ name, mode, data string }{
		{"L, tiff_lzw, predictor None", "L", "eNrz9NRi4GFiYGhgYFmyuCqw6B4Lt5d7yWPWMwJS0/pfuXnvMLA1VLzaK76hoSvLfa20gqGjyZPpcRaOyUwrX9odKWk5znpFaO6Mj7wTeFYsrQ78pKwiHeRd9kAiXHva6WfGlmvuFVvPO//CxEpjzYJSX/07DQ9nJvxalLyb6fBmJtGQ81XsHWktWSfXMQoLneMMvVwjpKc5T3iNuoVLbvKmm2/Ndufue1y86+57890vbmxrCNo09+HEj70CazNtj6gkRzlm3WLi8jxucujrER6Jqf1ZbNorNCz1Fa7yXJ9Q0Dz73PMvVrZ684NXX3v9zdp2JcuZ7gjTeCcnz51qO/Iaj7YKb8pteMrey63+VFrxlricRMCpbc1X7FxMFk/LbRCYM/Pyq6+/bfe9rz/8+NPPv3b7Mw0eeYunM4iIdzWftEmcyzAhT09A1XBaBbPjjxMuU4/N/CDI8ThRKVo6QSNEva/lZE1h48IJ61kPbqhR5jy0YY8x7+ENf5wFjyza8SNgxvEILVnuJ4pB6XIJL1qMJ7Z2rmlU6DASaFXsKFLoVOrYZKh4YpMVW9OCF15ibQtfdKl1LXpxyqxv8Usut0lLXnpNmK7GOSljtjrnpYr5GsxZPlNUPVNuLD37quTJinOrFvWsXq11a9f6NTpMZ7boeifd2aHnvejNHn6uTwc26kyJZnc3uNIt7GXY/VnuxKac1XpntvN8drho0msccNW0tzjBcYECAycDAyMzAyMDA4MbEDNC2UBRBiYomwOImaFsViBmg7JBWJCRBa5GDEmvOFScGZjKZJDUgwAA7vvxdA=="},
		{"L, tiff_lzw, predictor 2", "L", "eNrz9NRiKGFgYGhgYNlgobCKk7X5wIMLM2KUJDmFDideqJji4sXd4Zp04ceSNFuZzhOJTgFb6lyl+06oBK5MqXDWmnhGVWinyTxtbjGfpZtmPrmVbTyj93mIlcqvDqd5ZzJNuFjeTbdWu/z8y625VlOFdUJWh+5cKsbEwMXAwMjMwAi01Q2IGaFsTiBmgrI5gJgZymYFYjYoG4QFGVngasSQ9IpDxbOBWAZJvS2UzcQAAQAKWzFy"},
		{"I;16, tiff_adobe_deflate, predictor 2", "I;16", "eNrz9NRicGBgYKiYc/acpyCDggCL4be4/3IfD25W5RFltnx+TP/MFeYdq9k5fjLMfMW46gpzyWr2GYH8G1bLPWA8JWGsz8XAwMjMwAg0wQ2IGaFsTiBmgrIFgJgZyuYAYjYoG4QFGVng4mJIesWh4hZALIOk3hbKZmKAAABMIxoD"},
		{"I, tiff_lzw, predictor 2", "I", "eNrz9NRiOMLAwNCgI5l//OcBJUYGx4UCK3zkpLnbnZUCJZY46fL3uDz6uOJMmLV0v7tKkKRKk6/8FI8nn1b6TIvWnu4t+sFC51iuwRzv50Enn9wrt5t3LsP4lyhTr+vk1cumWKXKdfovu6Ql8qrXb2nomlDFU7dis9bHrY7INv2t2nUweXPI1Km3dRfdTd8RnWc2e+m+p+Kht/W2W299977uQHxBuGnoa/b6ww/yZ+xxMxZVD3m48cacZf66vWeS32j1TEvXnnf62eZfujxGTNwMDIzMDIxAX7gBMSOUzQnETFC2AhAzQ9msQMwGZYOwICMLmOYAYjEkveJQ8T1ALIOk3hbKZgLiYCQ2CAAAJWlbkw=="},
		{"F, tiff_adobe_deflate, predictor 3", "F", "eNrz9NRiuMHAwFAxZ+sFQ75DBjwOgc0SEtUMbH5NSmlsR3RvWDA49x0+xfnqXtNE5RIn2VXTFIQElS4f6aycLBrZ9SeR2aCZv97v4731jtpbzbSyJSNczsTLndn/f2XZYY4NZ/OWRD/OU8g6kbdFaM9qkV2JX+R+9lqt3rpJ6q0Kv3bLFeXdF/eZ72LYfTHyyyYjiWiPrCW/HcIWz36Rmjph85/NF03fTLr6QqU8bOMx3sdXxB6uvpi4YdkvF2nNid0pJiC9hQobpEOZvnso7v4xSSpzFffui0v/yBj6196dI8DAzcDAyMzACPSZGxAzQtmcQMwEZSsAMTOUzQHEbFA2CAsyssDFxZD0ikPFzwOxDJJ6WyibGYiDkdggAABSg2by"},
		{"F, tiff_lzw, predictor 3", "F", "eNrz9NRiiGBkYGhgYD/AwMDGyd7iqHBhRoqZLH+HY6L2ByaGBgcBNxdGjidlFhwTPFKCDByEfNWneKUG7XTgitWrdkkLtlxyLdd8jl+ioEf2Pw6nxiOLBHZeecrwYYmNjMh2ZsaGhibXxYIrvlR5hk84rR104KnY3vgNETk8HCW/FNMWOC0y8RZg/Ji/I/qluVWo0dyArqOPA3etqdsYvvbkyWl31MR5Ezf55Vz47cp2k/f4mS7+M4s/PZ5+xk5vyqxUs/mBe0P1F3L/Y/jZfiWrNOCPn7R46vzHawumsIXnbr+dVh655u616eUXQh5b2ap0blz9pKjg170Q+XjbG7cWcsseD1979e6z8t1vvj5aWs0hY7nPXuVp84ZPhyw/HP/p+ff9j+pf/+2XBW+e8fZ5BAu///c/bXveBP9jkH/s/Zj5oID1a9bd/LseVTAJyKj8O6BbPMHB0eCMKc/BCa+1Tk8VmOPycYECAzcDAyMzAzBgGdyAmBHK5gRiJihbAYiZoWxWIGaDskFYkJEFTHMAsRiSXnGouD+QkEFSbwtlMwNxMBIbBAC1YaAg"},
		{"L, packbits, predictor None", "L", "eNrz9NRi6GBiYHBlUPXKn7LzHoduUPmcg88ETKPql5x8J2Gb1L7m4jcF16z+LTeZNXyLpu95yG0QWjX/yEthi9im5Wc+Sjukdq2/8lPZI3fS9jts2q54ZQNKZ+1/wmccUbvo+Bsx64TWVee/yDln9G66zqjmXTB1131OveCKuYeeC5q54pWNblh66r2kXXLH2kvfFd2yJ2y9xaLpVzxj7yMew7DqBUdfiVjGNa84+0nG0RWvbFr3hqu/VDzzJu+4y64TWDb7wFN+k8i6xSfeitsktq2+8FXeJbNv8w0mdR9XvLKF03Y/4NIPqZx3+IWQeUzjstMfpOxTOtdd/qHknjNx221WLf+Smfse8xqFu+KVrVl47LWoVXzLynOfZZ3SezZewxUhrnhliY4uV8KRSUx0uRKOTGKii4GTgYGRmYGRgYHBDYgZoWygKAMTlM0BxMxQNmsDAwMblA3CgowscDViSHrFoeL1wBQug6QeBADWTzQy"},
	} {
		t.Run(c.name, func(t *testing.T) {
			packed, err := base64.StdEncoding.DecodeString(c.data)
			if err != nil {
				t.Fatal(err)
			}
			z, err := zlib.NewReader(bytes.NewReader(packed))
			if err != nil {
				t.Fatal(err)
			}
			data, err := io.ReadAll(z)
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			err = EachTIFF(data, func(p *Picture) error {
				n++
				if p.Width != 70 || p.Height != 9 {
					t.Fatalf("%d × %d", p.Width, p.Height)
				}
				for i, v := range p.Pixels {
					if want := foreignPixel(c.mode, i%70, i/70); v != want {
						t.Fatalf("pixel %d, %d: %v, want %v", i%70, i/70, v, want)
					}
				}
				return nil
			})
			if err != nil || n != 1 {
				t.Fatalf("%d pages, %v", n, err)
			}
			for k := range data { // a file that ends early is refused, or does not need what is missing
				if err := EachTIFF(data[:k], func(*Picture) error { return nil }); err != nil && strings.ContainsAny(err.Error(), "\n") {
					t.Fatalf("%d bytes: %v", k, err)
				}
			}
		})
	}
}

func foreignPixel(mode string, x, y int) float64 {
	switch mode {
	case "L":
		return float64((x*37 + y*11) % 251)
	case "I;16":
		return float64((x*997 + y*257) % 65536)
	case "I":
		return float64((x-3)*70000 - y)
	}
	return float64(float32(x)/8 - float32(y)*1.5)
}

// byteOrder writes numbers at places and at ends.
type byteOrder interface {
	binary.ByteOrder
	binary.AppendByteOrder
}

// tiffShape is how writeTIFF writes a page.
type tiffShape struct {
	order                                    byteOrder
	w, h, samples, bits, format, planar      int
	packing, predictor, tileW, tileH, perRow int
	extra                                    []tiffField
}

type tiffField struct {
	tag, kind int
	values    []uint32
	text      string
}

// writeTIFF writes pages as TIFF 6.0 describes them, independently of the reader. value gives a number as it lies in memory.
func writeTIFF(pages []tiffShape, value func(page, sample, x, y int) uint64) []byte {
	order := pages[0].order
	out := []byte("II")
	if order.String() == "BigEndian" {
		out = []byte("MM")
	}
	u16 := func(b []byte, v int) []byte { return order.AppendUint16(b, uint16(v)) }
	u32 := func(b []byte, v uint32) []byte { return order.AppendUint32(b, v) }
	out = u32(u16(out, 42), 0)
	link := 4
	for page, s := range pages {
		cw, ch := s.w, s.perRow
		if s.tileW > 0 {
			cw, ch = s.tileW, s.tileH
		}
		groups, each := 1, s.samples
		if s.planar == 2 {
			groups, each = s.samples, 1
		}
		var offsets, sizes []uint32
		for g := range groups {
			for y0 := 0; y0 < s.h; y0 += ch {
				for x0 := 0; x0 < s.w; x0 += cw {
					rows := ch
					if s.tileW == 0 {
						rows = min(ch, s.h-y0)
					}
					var chunk []byte
					for y := y0; y < y0+rows; y++ {
						var row []uint64
						for x := x0; x < x0+cw; x++ {
							for k := range each {
								v := uint64(0)
								if x < s.w && y < s.h {
									v = value(page, g+k, x, y)
								}
								row = append(row, v)
							}
						}
						chunk = append(chunk, rowBytes(s, row, each)...)
					}
					switch s.packing {
					case 8:
						var b bytes.Buffer
						z := zlib.NewWriter(&b)
						z.Write(chunk)
						z.Close()
						chunk = b.Bytes()
					case 32773:
						var b []byte
						for i := 0; i < len(chunk); i += 100 {
							part := chunk[i:min(len(chunk), i+100)]
							b = append(append(b, byte(len(part)-1)), part...)
						}
						chunk = b
					}
					offsets, sizes = append(offsets, uint32(len(out))), append(sizes, uint32(len(chunk)))
					out = append(out, chunk...)
				}
			}
		}
		fields := []tiffField{{tagWidth, 4, []uint32{uint32(s.w)}, ""}, {tagHeight, 4, []uint32{uint32(s.h)}, ""}, {tagCompression, 3, []uint32{uint32(s.packing)}, ""}, {tagPhotometric, 3, []uint32{1}, ""},
			{tagSamples, 3, []uint32{uint32(s.samples)}, ""}, {tagPlanar, 3, []uint32{uint32(s.planar)}, ""}, {tagPredictor, 3, []uint32{uint32(s.predictor)}, ""}}
		many := func(tag, v int) {
			f := tiffField{tag: tag, kind: 3}
			for range s.samples {
				f.values = append(f.values, uint32(v))
			}
			fields = append(fields, f)
		}
		many(tagBits, s.bits)
		many(tagFormat, s.format)
		if s.tileW > 0 {
			fields = append(fields, tiffField{tagTileWidth, 3, []uint32{uint32(s.tileW)}, ""}, tiffField{tagTileHeight, 3, []uint32{uint32(s.tileH)}, ""}, tiffField{tagTileOffsets, 4, offsets, ""}, tiffField{tagTileBytes, 4, sizes, ""})
		} else {
			fields = append(fields, tiffField{tagRowsPerStrip, 4, []uint32{uint32(s.perRow)}, ""}, tiffField{tagStripOffsets, 4, offsets, ""}, tiffField{tagStripBytes, 4, sizes, ""})
		}
		fields = append(fields, s.extra...)
		var dir []byte
		dir = u16(dir, len(fields))
		for _, f := range fields {
			var b []byte
			n := len(f.values)
			switch f.kind {
			case 2:
				b = append([]byte(f.text), 0)
				n = len(b)
			case 3:
				for _, v := range f.values {
					b = u16(b, int(v))
				}
			case 5:
				n /= 2
				fallthrough
			default:
				for _, v := range f.values {
					b = u32(b, v)
				}
			}
			dir = u32(u16(u16(dir, f.tag), f.kind), uint32(n))
			if len(b) > 4 {
				dir = u32(dir, uint32(len(out)))
				out = append(out, b...)
			} else {
				dir = append(dir, append(b, 0, 0, 0, 0)[:4]...)
			}
		}
		order.PutUint32(out[link:], uint32(len(out)))
		out = append(out, dir...)
		link = len(out)
		out = u32(out, 0)
	}
	return out
}

// rowBytes writes a row with its predictor.
func rowBytes(s tiffShape, row []uint64, each int) []byte {
	size := s.bits / 8
	if s.predictor == 3 {
		n := len(row)
		b := make([]byte, n*size)
		for i, v := range row {
			for k := range size {
				b[k*n+i] = byte(v >> (8 * (size - 1 - k)))
			}
		}
		for i := len(b) - 1; i >= each; i-- {
			b[i] -= b[i-each]
		}
		return b
	}
	if s.predictor == 2 {
		for i := len(row) - 1; i >= each; i-- {
			row[i] -= row[i-each]
		}
	}
	var b []byte
	for _, v := range row {
		switch size {
		case 1:
			b = append(b, byte(v))
		case 2:
			b = s.order.AppendUint16(b, uint16(v))
		case 4:
			b = s.order.AppendUint32(b, uint32(v))
		default:
			b = s.order.AppendUint64(b, v)
		}
	}
	return b
}

// What is written in any shape is read as it was.
func TestTIFFShapes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := tiffShape{order: rapid.SampledFrom([]byteOrder{binary.LittleEndian, binary.BigEndian}).Draw(t, "order"), w: rapid.IntRange(1, 40).Draw(t, "w"), h: rapid.IntRange(1, 20).Draw(t, "h"),
			samples: rapid.IntRange(1, 4).Draw(t, "samples"), planar: rapid.IntRange(1, 2).Draw(t, "planar"), packing: rapid.SampledFrom([]int{1, 8, 32773}).Draw(t, "packing"), predictor: 1}
		kind := rapid.SampledFrom([][2]int{{8, 1}, {16, 1}, {32, 1}, {8, 2}, {16, 2}, {32, 2}, {32, 3}, {64, 3}}).Draw(t, "numbers")
		s.bits, s.format = kind[0], kind[1]
		if rapid.Bool().Draw(t, "predicted") {
			s.predictor = map[int]int{1: 2, 2: 2, 3: 3}[s.format]
		}
		if rapid.Bool().Draw(t, "tiled") {
			s.tileW, s.tileH = 16*rapid.IntRange(1, 2).Draw(t, "tw"), 16
		} else {
			s.perRow = rapid.IntRange(1, s.h).Draw(t, "rows")
		}
		pages := []tiffShape{s, s}
		bits := func(page, k, x, y int) uint64 {
			v := uint64(page*7919+k*104729+x*1299709+y*15485863+1) * 0x9E3779B97F4A7C15
			switch {
			case s.format == 3 && s.bits == 32:
				return uint64(math.Float32bits(float32(int32(v>>32)) / 7))
			case s.format == 3:
				return math.Float64bits(float64(int64(v)) / 7)
			}
			return v >> (64 - s.bits)
		}
		data := writeTIFF(pages, bits)
		planes := 0
		err := EachTIFF(data, func(p *Picture) error {
			page, k := planes/s.samples, planes%s.samples
			planes++
			if p.Page != page+1 || p.Width != s.w || p.Height != s.h || p.Valid != nil {
				t.Fatalf("%+v", p)
			}
			for i, got := range p.Pixels {
				b := bits(page, k, i%s.w, i/s.w)
				want := float64(b)
				switch {
				case s.format == 3 && s.bits == 32:
					want = float64(math.Float32frombits(uint32(b)))
				case s.format == 3:
					want = math.Float64frombits(b)
				case s.format == 2:
					want = float64(int64(b<<(64-s.bits)) >> (64 - s.bits))
				}
				if got != want {
					t.Fatalf("page %d, plane %d, pixel %d: %v, want %v", page, k, i, got, want)
				}
			}
			return nil
		})
		if err != nil || planes != 2*s.samples {
			t.Fatalf("%d planes, %v", planes, err)
		}
	})
}

func grey(w, h int, extra ...tiffField) tiffShape {
	return tiffShape{order: binary.LittleEndian, w: w, h: h, samples: 1, planar: 1, bits: 16, format: 1, packing: 1, predictor: 1, perRow: h, extra: extra}
}

// Images as items: pages, scale, and what the file says of itself.
func TestImageItems(t *testing.T) {
	value := func(page, _, x, y int) uint64 { return uint64(100*page + 10*y + x) }
	set := setting{layout: "image", columns: []string{"counts = 1"}, u: []string{"counts = poisson"}}
	data := string(writeTIFF([]tiffShape{grey(2, 2)}, value))
	expectBook(t, set, data, "counts: 0 1 10 11 | u_counts: 1 1 3.16228 3.31662")
	pages := string(writeTIFF([]tiffShape{grey(2, 1, tiffField{tag: tagDescription, kind: 2, text: "gain=3\nwidth=99"}), grey(2, 1)}, value))
	expectBook(t, setting{layout: "image", columns: []string{"counts = 1"}, curves: "<page>"}, pages, "page=1 | counts: 0 1", "page=2 | counts: 100 101")
	expectBook(t, setting{layout: "image", columns: []string{"counts = 1"}, header: []string{"gain = gain", "w = width"}}, string(writeTIFF([]tiffShape{grey(2, 1, tiffField{tag: tagDescription, kind: 2, text: "gain=3\nwidth=99"})}, value)), "gain=3 | w=2 | counts: 0 1")
	expectBookError(t, setting{columns: xy}, data, "set `layout: image`")
	expectBookError(t, set, "1 2\n2 3\n3 4\n", "no TIFF file")

	cm := []tiffField{{tagXResolution, 5, []uint32{100000, 1}, ""}, {tagYResolution, 5, []uint32{100000, 1}, ""}, {tagResUnit, 3, []uint32{3}, ""}}
	dots := []tiffField{{tagXResolution, 5, []uint32{72, 1}, ""}, {tagYResolution, 5, []uint32{72, 1}, ""}, {tagResUnit, 3, []uint32{2}, ""}}
	ome := tiffField{tag: tagDescription, kind: 2, text: `<?xml version="1.0"?><OME><Image><Pixels SizeX="2" PhysicalSizeX="0.11" PhysicalSizeXUnit="µm" PhysicalSizeY="0.22"/></Image></OME>`}
	for _, c := range []struct {
		name, scale string
		extra       []tiffField
		want        string
	}{
		{"resolution", "", cm, "size=100 nm | counts: 0 1"},
		{"OME-XML before resolution", "", append([]tiffField{ome}, cm...), "size=110 nm | counts: 0 1"},
		{"setting", "0.2 um", dots, "size=200 nm | counts: 0 1 ! the resolution, 72 dots an inch, is one of screens or printers: it is not taken for the scale"},
		{"setting against resolution", "0.2 um", cm, "size=200 nm | counts: 0 1 ! page 1: pixels of 100 × 100 nm by the file's resolution, where `scale` says 200 nm, which is taken"},
	} {
		t.Run(c.name, func(t *testing.T) {
			data := string(writeTIFF([]tiffShape{grey(2, 1, c.extra...)}, value))
			expectBook(t, setting{layout: "image", columns: []string{"counts = 1"}, header: []string{"size = pixel_width"}, scale: c.scale}, data, c.want)
		})
	}
	expectBookError(t, setting{layout: "image", columns: []string{"counts = 1"}, scale: "0.2 um"}, string(writeTIFF([]tiffShape{grey(2, 1, ome)}, value)), "pixels of 110 × 220 nm by the file's OME-XML; expected 200 nm")
	if form := (setting{layout: "image", columns: []string{"counts = 1"}}).settings(t).OutputForm(); form != pipeline.Image {
		t.Errorf("form %v", form)
	}
}

// Files that ask for more than they hold, or for what is not read, are refused.
func TestTIFFErrors(t *testing.T) {
	value := func(int, int, int, int) uint64 { return 7 }
	with := func(change func(*tiffShape)) string {
		s := grey(4, 4)
		change(&s)
		return string(writeTIFF([]tiffShape{s}, value))
	}
	good := with(func(*tiffShape) {})
	huge := []byte(good)
	patch := func(tag int, v uint32) {
		at := int(binary.LittleEndian.Uint32(huge[4:]))
		for i := range int(binary.LittleEndian.Uint16(huge[at:])) {
			if e := huge[at+2+12*i:]; int(binary.LittleEndian.Uint16(e)) == tag {
				binary.LittleEndian.PutUint32(e[8:], v)
			}
		}
	}
	patch(tagWidth, 60000)
	patch(tagHeight, 1000)
	loop := []byte(good)
	copy(loop[len(loop)-4:], loop[4:8])
	for _, c := range []struct{ name, data, want string }{
		{"10 GB of nothing", string(huge), "an image of 120000000 bytes in a file of"},
		{"loop", string(loop), "page 2: a page that comes again"},
		{"big", "II+\x00\x08\x00\x00\x00\x00\x00\x00\x00", "a BigTIFF file"},
		{"no page", "II*\x00\x00\x00\x00\x00", "a TIFF file without a page"},
		{"beyond", "II*\x00\xff\xff\xff\x7f", "a directory beyond the end"},
		{"JPEG", with(func(s *tiffShape) { s.packing = 7 }), "compression 7"},
		{"bits", with(func(s *tiffShape) { s.bits, s.format = 64, 1 }), "numbers of 64 bits in format 1"},
		{"odd predictor", with(func(s *tiffShape) { s.predictor = 3 }), "predictor 3 of numbers in format 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			expectBookError(t, setting{layout: "image", columns: []string{"counts = 1"}}, c.data, c.want)
		})
	}
}

func FuzzEachTIFF(f *testing.F) {
	value := func(_, k, x, y int) uint64 { return uint64(k + x*y) }
	for _, packing := range []int{1, 5, 8, 32773} {
		s := grey(3, 2)
		s.packing = packing
		f.Add(writeTIFF([]tiffShape{s}, value))
		s.tileW, s.tileH, s.predictor, s.bits = 16, 16, 2, 8
		f.Add(writeTIFF([]tiffShape{s, s}, value))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		err := EachTIFF(data, func(p *Picture) error {
			if len(p.Pixels) != p.Width*p.Height || p.Valid != nil && len(p.Valid) != len(p.Pixels) {
				return fmt.Errorf("bug: %d pixels of %d × %d", len(p.Pixels), p.Width, p.Height)
			}
			return nil
		})
		if err != nil && (strings.HasPrefix(err.Error(), "bug") || strings.ContainsAny(err.Error(), "\n\r")) {
			t.Fatal(err)
		}
	})
}
