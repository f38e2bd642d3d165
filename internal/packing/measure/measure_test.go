package measure_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/packing/measure"
)

// The international yard and pound agreement of 1959, and 1 psi = 6.894757 kPa
// (NIST SP 811, appendix B).
func TestFactors(t *testing.T) {
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"30 in, mm", (30 * measure.Inch).MM(), 762},
		{"8 lb, kg", (8 * measure.Pound).Kg(), 3.62873896},
		{"1 psi, kPa", measure.PSI.KPa(), 6.894757293},
		{"g, in/s²", measure.Gravity / float64(measure.Inch), 386.0886},
		{"1 lb/ft³, kg/m³", float64(measure.PoundPerCubicFoot), 16.01846337},
	} {
		if math.Abs(c.got-c.want) > 1e-7*c.want {
			t.Errorf("%s: %.10g, want %.10g", c.what, c.got, c.want)
		}
	}
}

func TestParse(t *testing.T) {
	for words, kg := range map[string]float64{"3.6kg": 3.6, "3600 g": 3.6, "8lb": 3.62873896, "128 oz": 3.62873896, "3,6 KG": 3.6, ".5kg": 0.5} {
		got, err := measure.ParseMass(words)
		if err != nil || math.Abs(got.Kg()-kg) > 1e-12 {
			t.Errorf("%s: %v, %v", words, got, err)
		}
	}
	for _, words := range []string{"230x230x200mm", "23 x 23 x 20 cm", "230mm×230mm×200mm", "230X23cm X 200 mm"} {
		got, err := measure.ParseSize(words)
		if words == "230X23cm X 200 mm" { // each its own unit
			if err != nil || math.Abs(got.Width.MM()-230) > 1e-9 {
				t.Errorf("%s: %v, %v", words, got, err)
			}
			continue
		}
		if err != nil || math.Abs(got.Length.MM()-230) > 1e-9 || math.Abs(got.Height.MM()-200) > 1e-9 {
			t.Errorf("%s: %v, %v", words, got, err)
		}
	}
	for words, said := range map[string]string{
		"3600": "has no unit", "": "write a number and its unit", "kg": "write a number", "-3kg": "less than nothing", "0kg": "not more than nothing",
		"NaNkg": "write a number", "1e3kg": "not known here", "3,600kg": "thousands or as a decimal comma", "3.6stone": "not known here", "0x10kg": "not known here",
		"99999999999999kg": "of this world", "3.6 kg kg": "not known here",
	} {
		if got, err := measure.ParseMass(words); !errors.Is(err, measure.ErrMeasure) || !strings.Contains(err.Error(), said) {
			t.Errorf("%q: %v, %v", words, got, err)
		}
	}
	for words, said := range map[string]string{"230x200mm": "not length x width x height", "230x230x200": "has no unit", "230x-1x200mm": "less than nothing", "xxmm": "write a number"} {
		if got, err := measure.ParseSize(words); !errors.Is(err, measure.ErrMeasure) || !strings.Contains(err.Error(), said) {
			t.Errorf("%q: %v, %v", words, got, err)
		}
	}
}

// What is cut never comes out smaller than it must be, and not a step larger.
func TestCutLength(t *testing.T) {
	for l, want := range map[measure.Length]string{140 * measure.Millimetre: "140 mm", 0.1401: "141 mm", 5 * measure.Inch: "127 mm"} {
		if got := measure.Metric.CutLength(l); got != want {
			t.Errorf("%g: %s, want %s", l, got, want)
		}
	}
	for l, want := range map[measure.Length]string{5 * measure.Inch: "5 in", 5.01 * measure.Inch: "5.125 in"} {
		if got := measure.US.CutLength(l); got != want {
			t.Errorf("%g: %s, want %s", l, got, want)
		}
	}
}

func TestWordsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := measure.Size{Length: measure.Length(rapid.Float64Range(0.05, 2).Draw(t, "l")), Width: 0.2, Height: 0.3}
		for _, u := range []measure.System{measure.Metric, measure.US} {
			got, err := measure.ParseSize(u.Size(s))
			if err != nil || got.Length < s.Length-2e-9 || got.Length > s.Length+measure.Inch/8 {
				t.Fatalf("%s: %v, %v", u.Size(s), got, err)
			}
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, words := range []string{"3.6kg", "230x230x200mm", "9 in", "1.5pcf", "−3kg", "3,600kg"} {
		f.Add(words)
	}
	f.Fuzz(func(t *testing.T, words string) {
		m, err := measure.ParseMass(words)
		l, err2 := measure.ParseLength(words)
		s, err3 := measure.ParseSize(words)
		if err == nil && !(m > 0 && m < 1e9) || err2 == nil && !(l > 0 && l < 1e9) || err3 == nil && !s.Known() {
			t.Fatalf("%q: %v %v %v", words, m, l, s)
		}
	})
}
