package packing_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"timeball/internal/packing"
	"timeball/internal/packing/measure"
)

func TestReadPoints(t *testing.T) {
	want := packing.Point{Drop: 24 * in, Thickness: 2 * in, Static: 0.35 * measure.PSI, PeakG: 46}
	for name, text := range map[string]string{
		"inches":         "# a supplier\ndrop_in,thickness_in,static_psi,peak_g\n24,2,0.35,46\n",
		"metric":         "drop_mm,thickness_mm,static_kpa,peak_g\n609.6,50.8,2.41316495,46\n",
		"any order":      "Peak_G, static_psi ,drop_mm,thickness_in\n46,.35,609.6,2\n",
		"decimal commas": "\xef\xbb\xbfdrop_in;thickness_in;static_psi;peak_g\r\n24;2;0,35;46,0\r\n",
		"tabs":           "drop_in\tthickness_in\tstatic_psi\tpeak_g\n24\t2\t0.35\t46\n",
	} {
		got, err := packing.ReadPoints(strings.NewReader(text))
		if err != nil || len(got) != 1 {
			t.Errorf("%s: %v, %v", name, got, err)
			continue
		}
		for _, v := range [][2]float64{{float64(got[0].Drop), float64(want.Drop)}, {float64(got[0].Thickness), float64(want.Thickness)}, {float64(got[0].Static), float64(want.Static)}, {got[0].PeakG, want.PeakG}} {
			if math.Abs(v[0]-v[1]) > 1e-6*v[1] {
				t.Errorf("%s: %+v", name, got[0])
			}
		}
	}
}

func TestReadPointsRefuses(t *testing.T) {
	const head = "drop_in,thickness_in,static_psi,peak_g\n"
	for _, c := range []struct{ text, said string }{
		{"", "the file is empty"},
		{"# nothing\n", "the file is empty"},
		{head, "a header and no points"},
		{"24,2,0.35,46\n", `column "24" is not known`},
		{"drop_in,thickness_in,static_psi\n24,2,1\n", "no column for the peak"},
		{"drop_in,drop_mm,thickness_in,static_psi,peak_g\n", "both drop_mm and drop_in"},
		{"drop_in,drop_in,thickness_in,static_psi,peak_g\n", "stands twice"},
		{head + "24,2,0.35\n", "line 2: wrong number of fields"},
		{head + "24,2,0.35,46\n24,2,-1,46\n", `line 3, column static_psi: "-1"`},
		{head + "24,2,NaN,46\n", `column static_psi: "NaN"`},
		{head + "24,2,0.35,Inf\n", `column peak_g: "Inf"`},
		{head + "24,0,0.35,46\n", `column thickness_in: "0"`},
		{head + "24,40,0.35,46\n", `"40" is not the thickness, more than nothing and at most 12`},
		{head + "600,2,0.35,46\n", "look at the unit"},
		{head + "24,2,0.35,\n", `column peak_g: ""`},
		{head + "24,2,\"0.35,46\n", "line 2"},
		{head + "24,2,0.35,46\x00\n", "no text in UTF-8"},
		{"PK\x03\x04\xff", "no text in UTF-8"},
	} {
		_, err := packing.ReadPoints(strings.NewReader(c.text))
		if !errors.Is(err, packing.ErrPoints) || !strings.Contains(err.Error(), c.said) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", c.text, err)
		}
	}
}

func TestMeasuredRefuses(t *testing.T) {
	p := packing.Point{Drop: 24 * in, Thickness: 2 * in, Static: 0.35 * measure.PSI, PeakG: 46}
	harder := p
	harder.Static, harder.PeakG = 0.7*measure.PSI, 10
	for _, c := range []struct {
		points []packing.Point
		said   string
	}{{nil, "there are no points"}, {[]packing.Point{p, p}, "all points are at one energy"}, {[]packing.Point{p, harder}, "falls as the energy rises"}} {
		if _, err := packing.Measured("x", c.points); !errors.Is(err, packing.ErrPoints) || !strings.Contains(err.Error(), c.said) {
			t.Errorf("%v", err)
		}
	}
}

func FuzzReadPoints(f *testing.F) {
	f.Add([]byte("drop_in,thickness_in,static_psi,peak_g\n24,2,0.35,46\n24,2,0.7,42.5\n"))
	f.Add([]byte("# c\ndrop_mm;thickness_mm;static_kpa;peak_g\n600;50;2,4;46\n762;75;5;40\n762;100;1e-9;1000\n"))
	f.Add([]byte("drop_in\tthickness_in\tstatic_psi\tpeak_g\n\"24\t2"))
	f.Fuzz(func(t *testing.T, text []byte) {
		points, err := packing.ReadPoints(strings.NewReader(string(text)))
		if err != nil {
			if points != nil || !errors.Is(err, packing.ErrPoints) {
				t.Fatalf("%v, %v", points, err)
			}
			return
		}
		c, err := packing.Measured("fuzzed", points)
		if err != nil {
			return
		}
		a := packing.Boxed(measure.Metric)
		a.Cushion = c
		p, err := packing.For(a)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range p.Cushionings {
			if math.IsNaN(k.PeakG) || math.IsNaN(k.StrainMost()) {
				t.Fatalf("%+v", k)
			}
		}
	})
}
