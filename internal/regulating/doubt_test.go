package regulating

import (
	"math"
	"testing"

	"timeball/internal/statespace"
)

// TestRateDoubt holds the recursion against closed forms of the clock model:
// with no wandering, and readings only, the sd of a least-squares slope (any
// textbook of regression; .015430 for 8 readings of 0.1); with daily scatter
// only, σw/√T; and fine readings of a long record, √(σw σr), the steady state
// of the Kalman–Bucy filter.
func TestRateDoubt(t *testing.T) {
	for _, v := range []struct {
		what      string
		got, want float64
		tol       float64
	}{
		{"readings only, 8", RateDoubt(8, 1, statespace.Noise{}, 0.1), .015430, 5e-7},
		{"readings only, 31", RateDoubt(31, 1, statespace.Noise{}, 0.1), .002008, 5e-7},
		{"daily scatter over 7 d", RateDoubt(8, 1, statespace.Noise{SigmaW: 0.2}, 1e-6), 0.2 / math.Sqrt(7), 1e-6},
		{"two ends, 7 d", RateDoubt(2, 7, statespace.Noise{}, 0.1), 0.1 * math.Sqrt2 / 7, 1e-9},
		{"steady state .2/.02, hourly", RateDoubt(4000, 1.0/24, statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}, 0.001), math.Sqrt(0.2 * 0.02), 1e-4},
		{"steady state .3/.05, hourly", RateDoubt(4000, 1.0/24, statespace.Noise{SigmaW: 0.3, SigmaR: 0.05}, 0.001), math.Sqrt(0.3 * 0.05), 3e-4},
	} {
		if math.Abs(v.got-v.want) > v.tol {
			t.Errorf("%s: %.6f, want %.6f", v.what, v.got, v.want)
		}
	}
	for _, n := range []int{-1, 0, 1} {
		if !math.IsInf(RateDoubt(n, 1, statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}, 0.1), 1) {
			t.Errorf("%d comparisons tell a rate", n)
		}
	}
}

// bestDoubts is the least sd of the rate now, s/d, from n daily comparisons, as
// worked out from the clock model of Zucca and Tavella (2005) apart from this
// package, to four decimals. The simple ways are reckoned here from its
// covariances, without a filter.
// The last two columns are a least-squares line and the two ends, for .2/.02
// and 0.1 s.
var bestDoubts = []struct {
	n    int
	want [6]float64
}{
	{5, [6]float64{.0609, .1081, .1643, .1410, .1093, .1086}},
	{8, [6]float64{.0444, .0837, .1367, .0958, .0862, .0840}},
	{11, [6]float64{.0384, .0738, .1282, .0804, .0772, .0744}},
	{15, [6]float64{.0350, .0681, .1247, .0721, .0728, .0695}},
	{21, [6]float64{.0332, .0651, .1236, .0680, .0723, .0687}},
	{31, [6]float64{.0326, .0640, .1235, .0665, .0772, .0732}},
	{61, [6]float64{.0325, .0639, .1235, .0663, .0982, .0931}},
}

func TestBestDoubts(t *testing.T) {
	q := statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}
	columns := []struct {
		q  statespace.Noise
		sd float64
	}{{statespace.Noise{SigmaW: 0.1, SigmaR: 0.01}, 0.1}, {q, 0.1}, {statespace.Noise{SigmaW: 0.3, SigmaR: 0.05}, 0.1}, {q, 0.3}}
	for _, row := range bestDoubts {
		for c, k := range columns {
			if got := RateDoubt(row.n, 1, k.q, k.sd); math.Abs(got-row.want[c]) > 5.1e-5 {
				t.Errorf("%d comparisons, %.2g/%.2g, %.1f s: %.5f, want %.4f", row.n, k.q.SigmaW, k.q.SigmaR, k.sd, got, row.want[c])
			}
		}
		line, ends := make([]float64, row.n), make([]float64, row.n)
		n := float64(row.n)
		for i := range line {
			line[i] = (float64(i) - (n-1)/2) * 12 / (n * (n*n - 1))
		}
		ends[0], ends[row.n-1] = -1/(n-1), 1/(n-1)
		for c, w := range [][]float64{line, ends} {
			got := linearDoubt(w, q, 0.1)
			if math.Abs(got-row.want[4+c]) > 5.1e-5 {
				t.Errorf("%d comparisons, simple way %d: %.5f, want %.4f", row.n, c, got, row.want[4+c])
			}
			if best := RateDoubt(row.n, 1, q, 0.1); got < best-1e-12 {
				t.Errorf("%d comparisons: a simple way, %.6f, beats the best, %.6f", row.n, got, best)
			}
		}
	}
}

// linearDoubt returns the sd of Σ w y as an estimate of the rate at the last of
// daily readings, for weights that give an unknown line its own slope.
func linearDoubt(w []float64, q statespace.Noise, sd float64) float64 {
	last := float64(len(w) - 1)
	v := q.SigmaR * q.SigmaR * last // of the rate itself
	for i := range w {
		s := float64(i)
		v += w[i]*w[i]*sd*sd - 2*w[i]*q.SigmaR*q.SigmaR*s*s/2
		for j := range w {
			v += w[i] * w[j] * q.Covariance(s, float64(j))
		}
	}
	return math.Sqrt(v)
}

// TestListenFor: the sd of a slope is that of a least-squares line (readings of
// 0.1 daily: 8 .015430, 11 .009535, 15 .005976, 61 .000727), and listening so
// long, and one beat less, lie on both sides of what was asked.
func TestListenFor(t *testing.T) {
	for n, want := range map[int]float64{8: .015430, 11: .009535, 15: .005976, 31: .002008, 61: .000727} {
		if got := SlopeDoubt(n, 1, 0.1); math.Abs(got-want) > 6e-7 {
			t.Errorf("slope of %d: %.6f, want %.6f", n, got, want)
		}
	}
	s := ListenFor(0.1, 0.5, 0.0005)
	n := int(math.Round(s/0.5)) + 1
	if at, less := SlopeDoubt(n, 0.5, 0.0005)*86400, SlopeDoubt(n-1, 0.5, 0.0005)*86400; at > 0.1 || less <= 0.1 {
		t.Errorf("%.1f s: %.4f with %d beats, %.4f with one less", s, at, n, less)
	}
	if s < 100 || s > 110 {
		t.Errorf("%.1f s for 0.1 s/d from half-second beats of 0.5 ms", s)
	}
	for _, bad := range [][3]float64{{0, .5, .001}, {math.NaN(), .5, .001}, {.1, 0, .001}, {.1, .5, -1}, {.1, .5, math.Inf(1)}} {
		if got := ListenFor(bad[0], bad[1], bad[2]); !math.IsInf(got, 1) {
			t.Errorf("ListenFor%v = %v", bad, got)
		}
	}
}
