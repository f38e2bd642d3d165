package stability_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/stability"
)

// Set 2 of NIST SP 1065 (2008), p. 108, at m = 10: the 95% interval from the
// edf of D. Howe, D. Allan, J. Barnes (1981), section 5.4 there, recomputed
// independently in double precision to seven figures.
func TestIntervalOfThousandPointSet(t *testing.T) {
	x := phase(t, thousand())
	sigma, _, _ := stability.Deviation(stability.Allan, x, 1, 10)
	edf, ok := stability.SimpleEDF(stability.WhiteFM, len(x), 10)
	if !ok || !near(edf, 146.1768, 1e-6) {
		t.Errorf("edf %.7g, %t, want 146.1768", edf, ok)
	}
	lo, hi, ok := stability.Interval(sigma, edf, 0.95)
	if !ok || !near(lo, 0.08219488, 1e-6) || !near(hi, 0.1034536, 1e-6) {
		t.Errorf("interval %.7g … %.7g, %t, want 0.08219488 … 0.1034536", lo, hi, ok)
	}
}

// Critical values of chi-squared at 2.5% and 97.5%: NIST/SEMATECH e-Handbook
// of Statistical Methods, table 1.3.6.7.4, three decimals.
func TestIntervalOfTable(t *testing.T) {
	for _, tt := range []struct{ edf, lower, upper float64 }{
		{4, 0.484, 11.143},
		{10, 3.247, 20.483},
		{12, 4.404, 23.337},
	} {
		lo, hi, ok := stability.Interval(1, tt.edf, 0.95)
		if !ok {
			t.Fatalf("edf %g refused", tt.edf)
		}
		if chi2 := tt.edf / (lo * lo); math.Abs(chi2-tt.upper) > 6e-4 {
			t.Errorf("edf %g: upper %.4f, want %.3f", tt.edf, chi2, tt.upper)
		}
		if chi2 := tt.edf / (hi * hi); math.Abs(chi2-tt.lower) > 6e-4 {
			t.Errorf("edf %g: lower %.4f, want %.3f", tt.edf, chi2, tt.lower)
		}
	}
}

// For many degrees of freedom √χ² is nearly normal with standard deviation
// 1/√2 (R. Fisher's approximation), so that the interval is 1 ± z/√(2 edf).
func TestIntervalOfMany(t *testing.T) {
	for _, edf := range []float64{1e4, 1e6, 1e8} {
		lo, hi, ok := stability.Interval(1, edf, 0.95)
		half := 1.959964 / math.Sqrt(2*edf)
		if !ok || !near(1-lo, half, 0.02) || !near(hi-1, half, 0.02) {
			t.Errorf("edf %g: %.8f … %.8f, %t, want 1 ± %.8f", edf, lo, hi, ok, half)
		}
	}
}

func TestIntervalRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range [][3]float64{
		{-1, 10, 0.95}, {nan, 10, 0.95}, {inf, 10, 0.95}, {1, 0, 0.95}, {1, -1, 0.95}, {1, nan, 0.95},
		{1, inf, 0.95}, {1, 10, 0}, {1, 10, 1}, {1, 10, nan}, {1e300, 1e-3, 0.95}, {1, 1e-300, 0.95},
	} {
		if lo, hi, ok := stability.Interval(tt[0], tt[1], tt[2]); ok || lo != 0 || hi != 0 {
			t.Errorf("%v: %g … %g", tt, lo, hi)
		}
	}
}

func TestIntervalProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sigma := rapid.Float64Range(0, 100).Draw(t, "sigma")
		edf := rapid.Float64Range(0.5, 1e5).Draw(t, "edf")
		level := rapid.Float64Range(0.01, 0.99).Draw(t, "level")
		lo, hi, ok := stability.Interval(sigma, edf, level)
		wideLo, wideHi, wideOK := stability.Interval(sigma, edf, (1+level)/2)
		if !ok || !wideOK || lo > hi || wideLo > lo || wideHi < hi {
			t.Fatalf("%g … %g inside %g … %g, %t %t", lo, hi, wideLo, wideHi, ok, wideOK)
		}
	})
}

func TestSimpleEDFRefuses(t *testing.T) {
	for noise := stability.UnknownNoise; noise <= stability.RandomWalkFM+1; noise++ {
		for _, tt := range [][2]int{{0, 0}, {10, 0}, {10, -1}, {10, 5}, {2, 1}, {5, math.MaxInt}} {
			if edf, ok := stability.SimpleEDF(noise, tt[0], tt[1]); ok || edf != 0 {
				t.Errorf("noise %d, n = %d, m = %d: %g", noise, tt[0], tt[1], edf)
			}
		}
	}
	if _, ok := stability.SimpleEDF(stability.UnknownNoise, 100, 1); ok {
		t.Error("edf of an unknown noise")
	}
	for noise := stability.WhitePM; noise <= stability.RandomWalkFM; noise++ {
		for n := 3; n < 60; n++ {
			for m := 1; 2*m < n; m++ {
				edf, ok := stability.SimpleEDF(noise, n, m)
				if math.IsNaN(edf) || math.IsInf(edf, 0) || ok != (edf > 0) {
					t.Errorf("noise %d, n = %d, m = %d: %g, %t", noise, n, m, edf, ok)
				}
			}
		}
	}
}
