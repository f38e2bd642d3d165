package chart

import (
	"math"
	"strconv"
	"strings"
)

// scale maps values from lo..hi to places from a..b.
type scale struct{ lo, hi, a, b float64 }

func (s scale) at(v float64) float64 { return s.a + (v-s.lo)/(s.hi-s.lo)*(s.b-s.a) }

func (s scale) holds(v float64) bool { return v >= s.lo && v <= s.hi }

// fit returns the range of values a figure shows: all of core, and as much of
// soft as lies within reach heights of core on either side. The range is at
// least least wide.
func fit(core, soft []float64, reach, least float64) (lo, hi float64) {
	if len(core) == 0 {
		return -least / 2, least / 2
	}
	lo, hi = core[0], core[0]
	for _, v := range core {
		lo, hi = min(lo, v), max(hi, v)
	}
	lo, hi = widened(lo, hi, least)
	floor, ceiling := lo-reach*(hi-lo), hi+reach*(hi-lo)
	for _, v := range soft {
		if v >= floor && v <= ceiling {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return lo, hi
}

// widened returns lo and hi moved apart until they differ by least, and by
// enough for float64 to tell the ticks between them apart.
func widened(lo, hi, least float64) (float64, float64) {
	least = max(least, 1e-6*max(math.Abs(lo), math.Abs(hi)))
	if short := least - (hi - lo); short > 0 {
		lo, hi = lo-short/2, hi+short/2
	}
	return lo, hi
}

// padded returns the range with a share of its height added at both ends.
func padded(lo, hi, share float64) (float64, float64) {
	return lo - share*(hi-lo), hi + share*(hi-lo)
}

// timeSteps are the steps above 5 s that divide a minute, an hour and a day.
var timeSteps = [...]float64{10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800, 21600, 43200, 86400}

// ticks returns the step and the multiples of it in lo..hi, at most most of
// them (and most at least 2): steps of 1, 2 or 5 times a power of ten, and for
// a span in seconds above 5 s the steps that divide the minute, hour and day.
func ticks(lo, hi float64, most int, inSeconds bool) (step float64, at []float64) {
	least := (hi - lo) / float64(max(most, 2))
	if !(least > 0) || math.IsInf(least, 0) {
		return 1, nil
	}
	day := 1.0
	if inSeconds && least > 5 {
		for _, s := range timeSteps {
			if step = s; s >= least {
				break
			}
		}
		day = 86400
	}
	if step < least {
		ten := math.Pow(10, math.Floor(math.Log10(least/day)))
		for _, m := range []float64{1, 2, 5, 10} {
			if step = m * ten * day; step >= least*(1-1e-9) {
				break
			}
		}
	}
	first, last := math.Ceil(lo/step-1e-9), math.Floor(hi/step+1e-9)
	for k := first; k <= last && len(at) < 100; k++ {
		at = append(at, k*step+0) // +0 turns -0 into 0
	}
	return step, at
}

// logTicks returns round values in lo..hi for a logarithmic axis: 1 to 9, or 1,
// 2 and 5, times the powers of ten if at most most of them fit, else powers of ten.
func logTicks(lo, hi float64, most int) []float64 {
	first, last := int(math.Floor(math.Log10(lo))), int(math.Ceil(math.Log10(hi)))
	for _, of := range [][]float64{{1, 2, 3, 4, 5, 6, 7, 8, 9}, {1, 2, 5}, {1}} {
		for stride := 1; stride < 700; stride *= 2 {
			var at []float64
			for d := first; d <= last; d += stride {
				for _, m := range of {
					if v := m * math.Pow(10, float64(d)); v >= lo*(1-1e-9) && v <= hi*(1+1e-9) {
						at = append(at, v)
					}
				}
			}
			if len(at) <= max(most, 2) {
				return at
			}
			if len(of) > 1 {
				break
			}
		}
	}
	return nil
}

// decimals returns how many decimals tell multiples of step apart.
func decimals(step float64) int {
	return min(9, max(0, int(math.Ceil(-math.Log10(step)-1e-9))))
}

// tongue is how values on both sides of zero are said.
type tongue struct {
	below, zero, above string
	unit               string
	time               bool // long values are said in minutes, hours and days
}

var (
	sayError = tongue{"slow", "UTC", "fast", "s", true}
	sayRate  = tongue{"losing", "0", "gaining", "s", false}
)

// tick returns the words at a tick, given the step and the largest size on the axis.
func (t tongue) tick(v, step, largest float64) string {
	if math.Abs(v) < step/2 {
		return t.zero
	}
	return t.side(v) + " " + t.size(math.Abs(v), decimals(step), largest)
}

// value returns a value in words with the given decimals, or "" if it is not finite.
func (t tongue) value(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	size := t.size(math.Abs(v), digits, math.Abs(v))
	if strings.Trim(size, "0. "+t.unit) == "" {
		return size
	}
	return t.side(v) + " " + size
}

func (t tongue) side(v float64) string {
	if v < 0 {
		return t.below
	}
	return t.above
}

func (t tongue) size(v float64, digits int, largest float64) string {
	if !t.time || largest < 120 {
		return figure(v, digits) + " " + t.unit
	}
	ten := math.Pow(10, float64(digits))
	if v < 1e9 {
		v = math.Round(v*ten) / ten
	}
	var parts []string
	for _, u := range []struct {
		s    float64
		name string
	}{{86400, " d"}, {3600, " h"}, {60, " min"}} {
		if n := math.Floor(v / u.s); n > 0 {
			parts = append(parts, figure(n, 0)+u.name)
			v -= n * u.s
		}
	}
	if s := figure(v, digits); strings.Trim(s, "0.") != "" || len(parts) == 0 {
		parts = append(parts, s+" s")
	}
	if len(parts) > 3 { // beside days the seconds say nothing
		parts = parts[:2]
	}
	return strings.Join(parts, " ")
}

// figure returns v with the given decimals, and very large values in powers of ten.
func figure(v float64, digits int) string {
	if math.Abs(v) >= 1e7 {
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
	return strconv.FormatFloat(v, 'f', digits, 64)
}

func whole(n int) string { return strconv.Itoa(n) }

// plusMinus returns the half interval in words, or "" if there is none.
func plusMinus(half float64, digits int) string {
	if !(half > 0) || math.IsInf(half, 0) {
		return ""
	}
	return "±" + figure(half, digits)
}
