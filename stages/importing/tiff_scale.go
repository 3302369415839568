package importing

import (
	"encoding/xml"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"fascicle/catalog"
)

// describe takes what a page says of itself in words: its description, a statement a line, and its date.
func (d *tiffPage) describe(p *Picture) {
	p.Pairs = append(p.Pairs, Pair{Key: "width", Value: itoa(p.Width)}, Pair{Key: "height", Value: itoa(p.Height)})
	if s := d.text(tagDateTime); s != "" {
		if len(s) == 19 && s[4] == ':' && s[7] == ':' { // 2031:03:04 15:04:05
			s = s[:4] + "-" + s[5:7] + "-" + s[8:]
		}
		p.Pairs = append(p.Pairs, Pair{Key: "DateTime", Value: s})
	}
	text := d.text(tagDescription)
	if strings.HasPrefix(strings.TrimSpace(text), "<") {
		return // XML: see scale
	}
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		key, value, ok := strings.Cut(line, "=")
		if !ok {
			key, value, ok = strings.Cut(line, ":")
		}
		if key = strings.TrimSpace(key); ok && key != "" && len(p.Pairs) < 1000 && !slices.Contains([]string{"width", "height", "pixel_width", "pixel_height"}, key) {
			p.Pairs = append(p.Pairs, Pair{Key: key, Value: strings.TrimSpace(value)})
		}
	}
}

// scale finds how large a pixel is: by OME-XML (Goldberg et al., Genome Biol. 6 (2005) R47, from memory) in the description of this page or an earlier one, else by the resolution of
// TIFF 6.0. Resolutions of screens and printers say nothing of a sample.
func (d *tiffPage) scale(p *Picture) {
	if w, h, ok := omeScale(d.text(tagDescription)); ok {
		d.ome = [2]float64{w, h}
	}
	if d.ome[0] > 0 {
		p.PixelWidth, p.PixelHeight, p.ScaleBy = d.ome[0], d.ome[1], "OME-XML"
		return
	}
	unit := map[int]float64{2: 25.4e6, 3: 1e7}[d.number(tagResUnit, 0, 2)] // nm
	x, y := d.ratio(tagXResolution), d.ratio(tagYResolution)
	if unit == 0 || !(x > 0) || !(y > 0) {
		return
	}
	if perInch := x * 25.4e6 / unit; slices.ContainsFunc([]float64{72, 75, 96, 100, 120, 144, 150, 200, 300, 600, 1200}, func(r float64) bool { return math.Abs(perInch-r) < 0.51 }) {
		p.Notes = append(p.Notes, Note{Text: fmt.Sprintf("the resolution, %.4g dots an inch, is one of screens or printers: it is not taken for the scale", perInch), Minor: true})
		return
	}
	p.PixelWidth, p.PixelHeight, p.ScaleBy = unit/x, unit/y, "resolution"
}

// omeScale reads the size of a pixel in nm from OME-XML.
func omeScale(text string) (w, h float64, ok bool) {
	if !strings.HasPrefix(strings.TrimSpace(text), "<") || !strings.Contains(text, "PhysicalSizeX") || len(text) > 16<<20 {
		return 0, 0, false
	}
	dec := xml.NewDecoder(strings.NewReader(text))
	for {
		token, err := dec.Token()
		if err != nil {
			return 0, 0, false
		}
		e, isStart := token.(xml.StartElement)
		if !isStart || e.Name.Local != "Pixels" {
			continue
		}
		at := map[string]string{}
		for _, a := range e.Attr {
			at[a.Name.Local] = a.Value
		}
		size := func(axis string) float64 {
			unit := at["PhysicalSize"+axis+"Unit"]
			if unit == "" {
				unit = "µm"
			}
			v, err := strconv.ParseFloat(at["PhysicalSize"+axis], 64)
			u, err2 := catalog.ParseUnit(unit)
			if err != nil || err2 != nil {
				return 0
			}
			conv, err := catalog.Convert(u, catalog.Canonical(u.Dim(), false))
			if err != nil || catalog.Canonical(u.Dim(), false).Code() != "nm" || !(v > 0) || v-v != 0 {
				return 0
			}
			return conv.Delta(v)
		}
		w, h = size("X"), size("Y")
		return w, h, w > 0 && h > 0
	}
}

// image says that the files are images, a page or plane an item.
func (s *importSettings) image() bool { return s.Layout == string(ImageLayout) }

// eachPicture reads the planes of an image file as texts of one column.
func (s *importSettings) eachPicture(data []byte, yield func(*Text) error) error {
	return EachTIFF(data, func(p *Picture) error {
		t := &Text{FirstLine: 1, LastLine: len(p.Pixels), Columns: [][]float64{p.Pixels}, Valid: [][]bool{p.Valid}, Pairs: p.Pairs, Notes: p.Notes, layout: ImageLayout, Separator: "TIFF"}
		t.Names = []Name{{strings.TrimSpace(itoa(p.Page) + " " + p.Channel), 0}}
		if err := s.setScale(p, t); err != nil {
			return err
		}
		return yield(t)
	})
}

// setScale holds the study's scale against the file's, and writes it among the statements of the image.
func (s *importSettings) setScale(p *Picture, t *Text) error {
	w, h := p.PixelWidth, p.PixelHeight
	if s.Scale != "" {
		n, err := catalog.ParseNumber(s.Scale)
		if err != nil {
			return err
		}
		nm, err := catalog.ParseUnit("nm")
		if err != nil {
			return err
		}
		in, err := n.In(nm)
		if err != nil {
			return err
		}
		half := in.Value / n.Value * lastDigit(s.Scale) / 2
		if w > 0 && (math.Abs(in.Value-w) > half+0.0005*w || math.Abs(in.Value-h) > half+0.0005*h) {
			said := fmt.Sprintf("page %d: pixels of %.6g × %.6g nm by the file's %s", p.Page, w, h, p.ScaleBy)
			if p.ScaleBy == "OME-XML" {
				return &LineError{0, said, fmt.Sprintf("%.6g nm as `scale` says", in.Value), "leave `scale` out, or correct it"}
			}
			t.Notes = append(t.Notes, Note{Text: said + fmt.Sprintf(", where `scale` says %.6g nm, which is taken", in.Value)})
		}
		w, h = in.Value, in.Value
	}
	if w > 0 {
		for _, v := range []struct {
			key  string
			size float64
		}{{"pixel_width", w}, {"pixel_height", h}} {
			t.Pairs = append(t.Pairs, Pair{Key: v.key, Value: strconv.FormatFloat(v.size, 'g', -1, 64) + " nm"})
		}
	}
	return nil
}

// checkImage holds what the study says of images.
func (s *importSettings) checkImage() error {
	if s.Scale != "" {
		if !s.image() {
			return fmt.Errorf("scale: it is of images: set `layout: image`")
		}
		n, err := catalog.ParseNumber(s.Scale)
		if err != nil {
			return fmt.Errorf("scale: %w", err)
		}
		nm, err := catalog.ParseUnit("nm")
		if err == nil {
			n, err = n.In(nm)
		}
		if err != nil {
			return fmt.Errorf("scale: %w", err)
		}
		if !(n.Value > 0) {
			return fmt.Errorf("scale: found %s; expected the width of a pixel, above 0", s.Scale)
		}
	}
	if s.image() && len(s.Columns) != 1 {
		return fmt.Errorf("columns: an image has one: name it and its unit, as in `columns: {counts: 1}`")
	}
	return nil
}
