package picture

import (
	"image"
	"image/color"
	"math"
)

// light is the linear light of each coded value, white being 65535, and coded
// the coded value nearest to each light (IEC 61966-2-1, 5.2 and 5.3).
var light, coded = transfer()

func transfer() (light [256]uint16, coded [1 << 16]uint8) {
	const white = 1<<16 - 1
	linear := func(code float64) float64 {
		if code /= 255; code > 0.04045 {
			return white * math.Pow((code+0.055)/1.055, 2.4)
		}
		return white * code / 12.92
	}
	from := 0
	for c := range light {
		light[c] = uint16(math.Round(linear(float64(c))))
		for ; from <= white && (c == 255 || float64(from) < linear(float64(c)+0.5)); from++ {
			coded[from] = uint8(c)
		}
	}
	return light, coded
}

// fit returns the size of a picture whose longer side is at most side.
func fit(width, height, side int) (int, int) {
	long := max(width, height)
	if long <= side {
		return width, height
	}
	shorter := func(v int) int { return max(1, (v*side+long/2)/long) }
	return shorter(width), shorter(height)
}

// reduce returns a picture upright and opaque, its longer side at most side.
// Each pixel is the mean light of the area it covers, which is counted in
// whole parts of a pixel, so that no light is lost and every machine finds the
// same. One row of the picture is held in light at a time.
func reduce(m image.Image, orientation, side int) *image.RGBA {
	b := m.Bounds()
	width, height := b.Dx(), b.Dy()
	w, h := fit(width, height, side)
	t := turn{orientation, w, h}
	out := image.NewRGBA(t.bounds())
	spans := spansOf(width, w)
	row := make([]uint16, 3*width)
	across := make([]uint64, 3*w)
	sum := make([]uint64, 3*w)
	j := 0
	for y := range height {
		lightRow(row, m, b.Min.Y+y)
		addUp(across, row, spans, uint64(w))
		// Row y covers h parts of the height, an output row height parts.
		top, end := y*h, (j+1)*height
		bottom := top + h
		weigh(sum, across, min(bottom, end)-top)
		if bottom < end {
			continue
		}
		t.write(out, j, sum, uint64(width)*uint64(height))
		j++
		clear(sum)
		weigh(sum, across, bottom-end)
	}
	return out
}

// span is what an output pixel covers of a row: its first and last pixel, and
// how many parts of each; a pixel between has all its parts.
type span struct {
	first, last int
	head, tail  uint64
}

// spansOf returns the spans of n output pixels over width pixels, each of n
// parts.
func spansOf(width, n int) []span {
	spans := make([]span, n)
	for i := range spans {
		from, to := i*width, (i+1)*width
		s := span{first: from / n, last: (to - 1) / n}
		s.head, s.tail = uint64((s.first+1)*n-from), uint64(to-s.last*n)
		if s.first == s.last {
			s.tail = 0 // nothing is reduced, so that the pixel is whole
		}
		spans[i] = s
	}
	return spans
}

// addUp adds up the light of a row under each span.
func addUp(across []uint64, row []uint16, spans []span, parts uint64) {
	for i, s := range spans {
		var r, g, b uint64
		if s.last > s.first {
			between := row[3*s.first+3 : 3*s.last]
			for ; len(between) >= 3; between = between[3:] {
				r, g, b = r+uint64(between[0]), g+uint64(between[1]), b+uint64(between[2])
			}
		}
		p, q := row[3*s.first:3*s.first+3], row[3*s.last:3*s.last+3]
		across[3*i] = r*parts + uint64(p[0])*s.head + uint64(q[0])*s.tail
		across[3*i+1] = g*parts + uint64(p[1])*s.head + uint64(q[1])*s.tail
		across[3*i+2] = b*parts + uint64(p[2])*s.head + uint64(q[2])*s.tail
	}
}

// weigh adds parts times across to sum; 16 bits of light and twice 16 of size
// are well within 64.
func weigh(sum, across []uint64, parts int) {
	for i, v := range across {
		sum[i] += v * uint64(parts)
	}
}

// lightRow fills row with the light of red, green and blue in row y of m, on
// white paper where m is transparent.
func lightRow(row []uint16, m image.Image, y int) {
	b := m.Bounds()
	if m, ok := m.(*image.YCbCr); ok {
		lightRowYCbCr(row, m, y)
		return
	}
	// Every picture of the decoders tells its colours without an allocation.
	at, ok := m.(image.RGBA64Image)
	for x := range b.Dx() {
		var c color.RGBA64
		if ok {
			c = at.RGBA64At(b.Min.X+x, y)
		} else {
			c = color.RGBA64Model.Convert(m.At(b.Min.X+x, y)).(color.RGBA64)
		}
		paper := 0xffff - uint32(c.A)
		row[3*x] = light[min(uint32(c.R)+paper, 0xffff)>>8]
		row[3*x+1] = light[min(uint32(c.G)+paper, 0xffff)>>8]
		row[3*x+2] = light[min(uint32(c.B)+paper, 0xffff)>>8]
	}
}

// lightRowYCbCr is lightRow for what most JPEGs are.
func lightRowYCbCr(row []uint16, m *image.YCbCr, y int) {
	x0 := m.Rect.Min.X
	for x := range m.Rect.Dx() {
		c := m.COffset(x0+x, y)
		r, g, b := color.YCbCrToRGB(m.Y[m.YOffset(x0+x, y)], m.Cb[c], m.Cr[c])
		row[3*x], row[3*x+1], row[3*x+2] = light[r], light[g], light[b]
	}
}

// turn brings a picture of w by h pixels upright from the orientation in which
// it was stored.
type turn struct{ orientation, w, h int }

// bounds returns the bounds of the upright picture; orientations from 5 on lie
// on their side.
func (t turn) bounds() image.Rectangle {
	if t.orientation >= 5 {
		return image.Rect(0, 0, t.h, t.w)
	}
	return image.Rect(0, 0, t.w, t.h)
}

// at returns where the pixel in column x and row y comes to lie (CIPA
// DC-008-2023, 4.6.5, tag Orientation).
func (t turn) at(x, y int) (int, int) {
	right, bottom := t.w-1-x, t.h-1-y
	switch t.orientation {
	case 2:
		return right, y
	case 3:
		return right, bottom
	case 4:
		return x, bottom
	case 5:
		return y, x
	case 6:
		return bottom, x
	case 7:
		return bottom, right
	case 8:
		return y, right
	}
	return x, y
}

// write writes the row y of sums of light, each of parts, to where it belongs.
func (t turn) write(out *image.RGBA, y int, sums []uint64, parts uint64) {
	for x := range len(sums) / 3 {
		p := out.Pix[out.PixOffset(t.at(x, y)):]
		for i := range 3 {
			p[i] = coded[(sums[3*x+i]+parts/2)/parts]
		}
		p[3] = 0xff
	}
}
