package picture

import (
	"image"
	"image/color"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// lightOf returns the linear light of a coded value, white being 1, by the
// formula of IEC 61966-2-1, 5.2.
func lightOf(code float64) float64 {
	if code /= 255; code <= 0.04045 {
		return code / 12.92
	}
	return math.Pow((code+0.055)/1.055, 2.4)
}

func TestLight(t *testing.T) {
	for c, l := range light {
		if want := 65535 * lightOf(float64(c)); math.Abs(float64(l)-want) > 0.5 {
			t.Errorf("the light of %d is %d, want %.1f", c, l, want)
		}
		if int(coded[l]) != c {
			t.Errorf("%d comes back as %d", c, coded[l])
		}
	}
	for l := range coded {
		c := float64(coded[l])
		lo, hi := 65535*lightOf(c-0.5), 65535*lightOf(c+0.5)
		if v := float64(l); c > 0 && v < lo-1e-9 || c < 255 && v > hi+1e-9 {
			t.Fatalf("light %d is coded %v, which stands for %.2f to %.2f", l, c, lo, hi)
		}
	}
	// Half the light of white is coded 188: 255*(1.055*0.5^(1/2.4) - 0.055) = 187.5.
	if coded[32768] != 188 {
		t.Errorf("half the light is coded %d", coded[32768])
	}
}

func TestFit(t *testing.T) {
	for _, c := range []struct{ w, h, side, toW, toH int }{
		{4000, 3000, 1600, 1600, 1200}, {3000, 4000, 1600, 1200, 1600}, {1600, 1600, 1600, 1600, 1600}, {1601, 10, 1600, 1600, 10},
		{640, 480, 1600, 640, 480}, {65535, 1, 1600, 1600, 1}, {1, 65535, 1600, 1, 1600}, {7, 5, 3, 3, 2},
	} {
		if w, h := fit(c.w, c.h, c.side); w != c.toW || h != c.toH {
			t.Errorf("%d by %d becomes %d by %d, want %d by %d", c.w, c.h, w, h, c.toW, c.toH)
		}
	}
}

// TestReduceAgainstIntegral compares every pixel with the integral of light
// over the area it covers, taken in floating point from the definition.
func TestReduceAgainstIntegral(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.IntRange(1, 40).Draw(t, "w"), rapid.IntRange(1, 40).Draw(t, "h")
		side := rapid.IntRange(1, 45).Draw(t, "side")
		pix := rapid.SliceOfN(rapid.Byte(), w*h, w*h).Draw(t, "pix")
		// The picture is a part of a larger one, as frames of a GIF are.
		m := image.NewGray(image.Rect(3, 5, 3+w, 5+h))
		copy(m.Pix, pix)
		out := reduce(m, 1, side)
		ow, oh := out.Rect.Dx(), out.Rect.Dy()
		overlap := func(i, n, of, x int) float64 { // of pixel x with part i of n, in pixels
			from, to := float64(i)*float64(of)/float64(n), float64(i+1)*float64(of)/float64(n)
			return max(0, min(to, float64(x+1))-max(from, float64(x)))
		}
		for j := range oh {
			for i := range ow {
				var sum, area float64
				for y := range h {
					for x := range w {
						a := overlap(i, ow, w, x) * overlap(j, oh, h, y)
						sum, area = sum+a*lightOf(float64(pix[y*w+x])), area+a
					}
				}
				got := out.RGBAAt(i, j)
				// Half a step of the code written and half a part in 65535 of the light read.
				lo, hi := lightOf(float64(got.R)-0.5)-1e-5, lightOf(float64(got.R)+0.5)+1e-5
				if mean := sum / area; (got.R > 0 && mean < lo) || (got.R < 255 && mean > hi) || got.G != got.R || got.B != got.R || got.A != 255 {
					t.Fatalf("%dx%d to %dx%d at %d,%d: %v, which stands for %.5f to %.5f, want %.5f", w, h, ow, oh, i, j, got, lo, hi, mean)
				}
			}
		}
	})
}

// pattern is a grey picture given by a function.
func pattern(w, h int, f func(x, y int) uint8) *image.YCbCr {
	m := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for i := range m.Cb {
		m.Cb[i], m.Cr[i] = 128, 128
	}
	for y := range h {
		for x := range w {
			m.Y[m.YOffset(x, y)] = f(x, y)
		}
	}
	return m
}

// TestNoFalsePattern reduces patterns finer than can be shown. A ruling of one
// pixel, as fine as one can be, leaves at most half a pixel of it in any run
// of pixels, so that over a width of s pixels the mean strays from the half by
// at most 1/(2s) whatever its phase; picking pixels would stray by 1/2 and
// show bars that are not there.
func TestNoFalsePattern(t *testing.T) {
	bar := func(on bool) uint8 {
		if on {
			return 255
		}
		return 0
	}
	for _, c := range []struct {
		name   string
		w, h   int
		f      func(x, y int) uint8
		strays float64 // of the light, at most
	}{
		{"ruling upright, 4 to 1", 640, 480, func(x, _ int) uint8 { return bar(x%2 == 0) }, 0},
		{"ruling across, 4 to 1", 640, 480, func(_, y int) uint8 { return bar(y%2 == 0) }, 0},
		{"chequers, 4 to 1", 640, 480, func(x, y int) uint8 { return bar((x+y)%2 == 0) }, 0},
		{"ruling, 4.83 to 1", 773, 515, func(x, _ int) uint8 { return bar(x%2 == 0) }, 160 / 773.0 / 2},
		{"ruling, 7.3 to 1", 1168, 20, func(x, _ int) uint8 { return bar(x%2 == 0) }, 160 / 1168.0 / 2},
		{"chequers, 4.83 to 1", 773, 515, func(x, y int) uint8 { return bar((x+y)%2 == 0) }, 160 / 773.0 / 2 * 160 / 773.0},
	} {
		out := reduce(pattern(c.w, c.h, c.f), 1, 160)
		var sum float64
		for y := range out.Rect.Dy() {
			for x := range out.Rect.Dx() {
				v := out.RGBAAt(x, y).R
				sum += lightOf(float64(v))
				// One code is 0.0042 of the light at the half.
				if d := lightOf(float64(v)) - 0.5; math.Abs(d) > c.strays+0.0042 {
					t.Fatalf("%s: at %d,%d the light is %.3f, want 0.5 within %.3f", c.name, x, y, 0.5+d, c.strays)
				}
			}
		}
		if mean := sum / float64(out.Rect.Dx()*out.Rect.Dy()); math.Abs(mean-0.5) > 0.0042 {
			t.Errorf("%s: the mean light is %.4f, want 0.5", c.name, mean)
		}
	}
}

// TestReduceTellsKindsAlike reduces the same colours from every kind of
// picture that the decoders return.
func TestReduceTellsKindsAlike(t *testing.T) {
	at := func(x, y int) color.RGBA { return color.RGBA{uint8(x * 9), uint8(y * 11), uint8((x + y) * 5), 255} }
	grey := func(x, y int) color.Gray { return color.Gray{uint8(x*7 + y)} }
	const w, h = 25, 20
	r := image.Rect(0, 0, w, h)
	set := func(m interface {
		image.Image
		Set(x, y int, c color.Color)
	}, greys bool) image.Image {
		for y := range h {
			for x := range w {
				if greys {
					m.Set(x, y, grey(x, y))
				} else {
					m.Set(x, y, at(x, y))
				}
			}
		}
		return m
	}
	want := map[bool]*image.RGBA{}
	for _, greys := range []bool{false, true} {
		want[greys] = reduce(set(image.NewRGBA(r), greys), 1, 9)
	}
	var palette color.Palette
	for i := range 256 {
		palette = append(palette, color.Gray{uint8(i)})
	}
	for name, c := range map[string]struct {
		m     image.Image
		greys bool
	}{
		"NRGBA":    {set(image.NewNRGBA(r), false), false},
		"RGBA64":   {set(image.NewRGBA64(r), false), false},
		"NRGBA64":  {set(image.NewNRGBA64(r), false), false},
		"CMYK":     {set(image.NewCMYK(r), false), false},
		"Gray":     {set(image.NewGray(r), true), true},
		"Gray16":   {set(image.NewGray16(r), true), true},
		"Paletted": {set(image.NewPaletted(r, palette), true), true},
		"YCbCr":    {pattern(w, h, func(x, y int) uint8 { return grey(x, y).Y }), true},
	} {
		out := reduce(c.m, 1, 9)
		for i, v := range out.Pix {
			// CMYK divides by the ink that is missing, which costs a step.
			if d := int(v) - int(want[c.greys].Pix[i]); d > 1 || d < -1 || d != 0 && name != "CMYK" {
				t.Errorf("%s: byte %d is %d, want %d", name, i, v, want[c.greys].Pix[i])
				break
			}
		}
	}
}

// TestHeld foretells what the decoders hold.
func TestHeld(t *testing.T) {
	frame := func(sof byte, parts string) []byte {
		return append([]byte{sof, 8, 0, 0, 0, 0, byte(len(parts) / 3)}, parts...)
	}
	for _, c := range []struct {
		name string
		head jpegHead
		f    []byte
		want int64
	}{
		{"4:2:0", jpegHead{width: 8000, height: 5008}, frame(markSOF0, "\x01\x22\x00\x02\x11\x01\x03\x11\x01"), 8000 * 5008 * 3 / 2},
		{"4:4:4", jpegHead{width: 8000, height: 5000}, frame(markSOF0, "\x01\x11\x00\x02\x11\x01\x03\x11\x01"), 8000 * 5000 * 3},
		{"4:2:0, progressive", jpegHead{width: 8000, height: 5008}, frame(markSOF2, "\x01\x22\x00\x02\x11\x01\x03\x11\x01"), 8000 * 5008 * 15 / 2},
		{"grey", jpegHead{width: 1001, height: 799}, frame(markSOF0, "\x01\x22\x00"), 1008 * 800},
		{"RGB", jpegHead{width: 80, height: 80, adobe: true}, frame(markSOF0, "\x01\x11\x00\x02\x11\x01\x03\x11\x01"), 80 * 80 * 7},
		{"RGB by its names", jpegHead{width: 80, height: 80}, frame(markSOF0, "R\x11\x00G\x11\x01B\x11\x01"), 80 * 80 * 7},
		{"CMYK", jpegHead{width: 80, height: 80, adobe: true}, frame(markSOF0, "\x01\x11\x00\x02\x11\x01\x03\x11\x01\x04\x11\x00"), 80 * 80 * 8},
	} {
		if got := c.head.held(c.f); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
	}
}
