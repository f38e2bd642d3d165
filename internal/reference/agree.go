package reference

import (
	"math"
	"slices"
)

// interval is where one server says the offset lies.
type interval struct{ midS, halfS float64 }

func (v interval) low() float64  { return v.midS - v.halfS }
func (v interval) high() float64 { return v.midS + v.halfS }

// contradicts reports whether two intervals have no point in common.
func (v interval) contradicts(w interval) bool {
	return v.high() < w.low() || w.high() < v.low()
}

// agree returns the interval in which most of the servers say the offset lies
// (RFC 5905, 11.2.1): with as few wrong ones as possible, f of m < m/2, from
// the lowest to the highest point that m − f intervals share, so that at most
// f of their middles lie outside. It returns false if they disagree.
//
// Beyond the RFC it also takes what m − f intervals have in common while the
// other f contradict it, wherever their middles lie: a near server is not
// contradicted by far ones that know less.
//
// The truth lies inside if most of the servers are right and each wrong one
// contradicts the right ones; one that is wrong by less than the intervals are
// wide cannot be told from a right one.
func agree(said []interval) (interval, bool) {
	for f := 0; 2*f < len(said); f++ {
		low, high, ok := shared(said, len(said)-f)
		if !ok {
			continue
		}
		in := interval{midS: low + (high-low)/2, halfS: (high - low) / 2}
		outside, against := 0, 0
		for _, v := range said {
			if v.midS < low || v.midS > high {
				outside++
			}
			if v.high() < low || high < v.low() {
				against++
			}
		}
		if outside <= f || against == f {
			return in, true
		}
	}
	return interval{}, false
}

// shared returns the lowest and the highest point that at least n of the
// intervals have in common.
func shared(said []interval, n int) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range said {
		for _, point := range []float64{v.low(), v.high()} {
			around := 0
			for _, w := range said {
				if w.low() <= point && point <= w.high() {
					around++
				}
			}
			if around >= n {
				low, high = min(low, point), max(high, point)
			}
		}
	}
	return low, high, low < high
}

// middle is the median of what the servers say, s: what is shown, without a
// bound, while they disagree.
func middle(said []interval) float64 {
	mids := make([]float64, len(said))
	for i, v := range said {
		mids[i] = v.midS
	}
	slices.Sort(mids)
	n := len(mids)
	return mids[(n-1)/2]/2 + mids[n/2]/2
}
