package stability

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Noise names one of the five power-law noises of a clock.
type Noise uint8

// The noises, from the quickest to the slowest: PM moves the error itself, FM
// moves the rate.
const (
	UnknownNoise Noise = iota
	WhitePM            // scatter of the readings
	FlickerPM
	WhiteFM // scatter of one day's rate
	FlickerFM
	RandomWalkFM // wandering of the rate
)

// SimpleEDF returns the equivalent degrees of freedom of the overlapping Allan
// variance of n phase points without gaps at averaging factor m, by the
// approximation for one pure noise. It returns ok = false unless m ≥ 1 and
// n > 2m, or where the approximation breaks down (flicker PM near n = 2m).
// Source: D. Howe, D. Allan, J. Barnes, Properties of signal sources and
// measurement methods, 35th Frequency Control Symposium (1981); NIST SP 1065
// (2008), section 5.4.
func SimpleEDF(noise Noise, n, m int) (edf float64, ok bool) {
	if m < 1 || m > n || n <= 2*m {
		return 0, false
	}
	N, M := float64(n), float64(m)
	switch noise {
	case WhitePM:
		edf = (N + 1) * (N - 2*M) / (2 * (N - M))
	case FlickerPM:
		edf = math.Exp(math.Sqrt(math.Log((N-1)/(2*M)) * math.Log((2*M+1)*(N-1)/4)))
	case WhiteFM:
		edf = (3*(N-1)/(2*M) - 2*(N-2)/N) * 4 * M * M / (4*M*M + 5)
	case FlickerFM:
		if m == 1 {
			edf = 2 * (N - 2) * (N - 2) / (2.3*N - 4.9)
		} else {
			edf = 5 * N * N / (4 * M * (N + 3*M))
		}
	case RandomWalkFM:
		edf = (N - 2) / M * ((N-1)*(N-1) - 3*M*(N-1) + 4*M*M) / ((N - 3) * (N - 3))
	}
	if !(edf > 0) || math.IsInf(edf, 1) {
		return 0, false
	}
	return edf, true
}

// Interval returns the ends of the central confidence interval, at the given
// level such as 0.95, of a true deviation estimated as sigma with edf
// equivalent degrees of freedom: sigma √(edf/χ²), in the unit of sigma. It
// returns ok = false for a negative sigma, an edf or level out of range, or
// ends that are not finite. Source: NIST SP 1065 (2008), section 5.3.
func Interval(sigma, edf, level float64) (lo, hi float64, ok bool) {
	if !(sigma >= 0) || !(edf > 0) || math.IsInf(edf, 1) || !(level > 0 && level < 1) {
		return 0, 0, false
	}
	chi2 := distuv.ChiSquared{K: edf}
	tail := (1 - level) / 2
	lo = sigma * math.Sqrt(edf/chi2.Quantile(1-tail))
	hi = sigma * math.Sqrt(edf/chi2.Quantile(tail))
	if !finite(lo) || !finite(hi) {
		return 0, 0, false
	}
	return lo, hi, true
}
