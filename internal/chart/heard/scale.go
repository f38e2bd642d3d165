package heard

import (
	"math"
	"slices"
	"strconv"
)

// scale maps values from lo..hi to places from a..b.
type scale struct{ lo, hi, a, b float64 }

func (s scale) at(v float64) float64 { return s.a + (v-s.lo)/(s.hi-s.lo)*(s.b-s.a) }

func (s scale) holds(v float64) bool { return v >= s.lo && v <= s.hi }

// kept returns the place of v, or of the nearer end where it lies beyond.
func (s scale) kept(v float64) float64 { return s.at(max(s.lo, min(v, s.hi))) }

// scaled returns a scale from lo to hi, at least least wide and wide enough
// for float64 to tell its ticks apart.
func scaled(lo, hi, least float64) scale {
	least = max(least, 1e-6*max(math.Abs(lo), math.Abs(hi)))
	if short := least - (hi - lo); short > 0 {
		lo, hi = lo-short/2, hi+short/2
	}
	return scale{lo: lo, hi: hi}
}

// padded returns the scale with a share of its width added at both ends.
func (s scale) padded(share float64) scale {
	w := share * (s.hi - s.lo)
	s.lo, s.hi = s.lo-w, s.hi+w
	return s
}

// tick is a value on an axis with its words.
type tick struct {
	at    float64
	words string
}

// steps returns the step and its multiples in lo..hi, at most most of them:
// steps of 1, 2 or 5 times a power of ten, or those of among that are in reach.
func steps(lo, hi float64, most int, among ...float64) (float64, []float64) {
	least := (hi - lo) / float64(max(most, 2))
	if !(least > 0) || !usable(least) {
		return 1, nil
	}
	step := 0.0
	for _, a := range among {
		if a >= least {
			step = a
			break
		}
	}
	if step == 0 {
		ten := math.Pow(10, math.Floor(math.Log10(least)))
		for _, m := range []float64{1, 2, 5, 10} {
			if step = m * ten; step >= least*(1-1e-9) {
				break
			}
		}
	}
	var at []float64
	for k := math.Ceil(lo/step - 1e-9); k <= math.Floor(hi/step+1e-9) && len(at) < 100; k++ {
		at = append(at, k*step+0) // +0 turns -0 into 0
	}
	return step, at
}

// unit is how a span of seconds is said.
type unit struct {
	s    float64
	name string
}

var (
	microseconds = unit{1e-6, "µs"}
	milliseconds = unit{1e-3, "ms"}
	seconds      = unit{1, "s"}
	minutes      = unit{60, "min"}
	hours        = unit{3600, "h"}
)

// unitFor returns the unit in which a largest size of v seconds is read best.
func unitFor(v float64) unit {
	switch {
	case v < 0.95e-3:
		return microseconds
	case v < 0.95:
		return milliseconds
	}
	return seconds
}

// beatTicks returns the ticks of an axis of early and late, in seconds.
func beatTicks(y scale, most int, zero string) []tick {
	u := unitFor(max(math.Abs(y.lo), math.Abs(y.hi)))
	step, at := steps(y.lo/u.s, y.hi/u.s, most)
	return ticked(at, step, func(v float64) float64 { return v * u.s }, "late", zero, "early", u.name)
}

// rateTicks returns the ticks of an axis of rate, s a day.
func rateTicks(y scale, most int) []tick {
	step, at := steps(y.lo, y.hi, most)
	return ticked(at, step, func(v float64) float64 { return v }, "losing", "0", "gaining", "s")
}

func ticked(at []float64, step float64, back func(float64) float64, below, zero, above, name string) []tick {
	var out []tick
	for _, v := range at {
		words := zero
		switch size := figure(math.Abs(v), decimals(step)) + " " + name; {
		case v <= -step/2:
			words = below + " " + size
		case v >= step/2:
			words = above + " " + size
		}
		out = append(out, tick{back(v), words})
	}
	return out
}

// timeTicks returns the ticks of an axis of seconds, said in ms, s, min or h.
func timeTicks(x scale, most int) []tick {
	u, among := seconds, []float64{1, 2, 5, 10, 20, 30}
	switch longest := max(math.Abs(x.lo), math.Abs(x.hi)); {
	case longest > 3*3600:
		u, among = hours, []float64{1, 2, 3, 6, 12, 24, 48, 72, 96, 120}
	case longest > 180:
		u, among = minutes, []float64{1, 2, 5, 10, 15, 20, 30, 60}
	case longest < 3:
		among = nil
		if longest < 0.95 {
			u = milliseconds
		}
	}
	if (x.hi-x.lo)/u.s < float64(most)/2 {
		among = nil
	}
	step, at := steps(x.lo/u.s, x.hi/u.s, most, among...)
	var out []tick
	for _, v := range at {
		words := figure(v, decimals(step)) + " " + u.name
		switch {
		case v < 0:
			words = "" // before the beginning there is a tick and no number
		case v == 0:
			words = "0 " + u.name
		}
		out = append(out, tick{v * u.s, words})
	}
	return out
}

// decimals returns how many decimals tell multiples of step apart.
func decimals(step float64) int {
	return min(9, max(0, int(math.Ceil(-math.Log10(step)-1e-9))))
}

// figure returns v with the given decimals, and very large values in powers of ten.
func figure(v float64, digits int) string {
	if math.Abs(v) >= 1e7 {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

// digitsOf returns the decimals to which a value with the half interval pm is
// said: to the first figure of pm, or the second where the first is a one.
func digitsOf(pm float64) int {
	if !(pm > 0) {
		return 2
	}
	ten := math.Floor(math.Log10(pm))
	if pm/math.Pow(10, ten) < 1.95 {
		ten--
	}
	return min(9, max(0, int(-ten)))
}

// doubted returns v with its half interval, such as "3.50 s ±0.02".
func doubted(v, pm float64, name string) string {
	words := figure(v, digitsOf(pm)) + name
	if pm > 0 {
		words += " ±" + figure(pm, digitsOf(pm))
	}
	return words
}

// rateWords returns a rate in words, such as "gaining 3.50 s a day ±0.02".
func rateWords(perDay, pm float64) string {
	size := doubted(math.Abs(perDay), pm, " s a day")
	switch {
	case perDay > 0:
		return "gaining " + size
	case perDay < 0:
		return "losing " + size
	}
	return size
}

// spanWords returns a span of seconds to three figures, such as "14.2 ms".
func spanWords(s float64) string {
	u := unitFor(math.Abs(s))
	v := math.Abs(s) / u.s
	digits := 0
	switch {
	case v < 9.995:
		digits = 2
	case v < 99.95:
		digits = 1
	}
	if u == microseconds {
		digits = max(0, digits-1)
	}
	return figure(v, digits) + " " + u.name
}

// listened returns a length of listening in words, such as "12 min".
func listened(s float64) string {
	switch {
	case s >= 3*3600:
		return figure(s/3600, 1) + " h"
	case s > 180:
		return figure(s/60, 0) + " min"
	}
	return figure(s, 0) + " s"
}

// quantile returns the value below which the share q of sorted lies, between
// the two nearest (R. J. Hyndman and Y. Fan, Sample Quantiles in Statistical
// Packages (1996), definition 7). It panics if sorted is empty.
func quantile(sorted []float64, q float64) float64 {
	h := q * float64(len(sorted)-1)
	i := min(int(h), len(sorted)-1)
	j := min(i+1, len(sorted)-1)
	return sorted[i] + (h-float64(i))*(sorted[j]-sorted[i])
}

func sorted(v []float64) []float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v
}
