package reference

import (
	"fmt"
	"math"
	"strings"
)

// BoundWords writes a bound, s, as it is printed: "±4 ms", "±0.13 s", never less
// than a tenth of a millisecond.
func BoundWords(s float64) string { return "±" + size(s) }

func size(s float64) string {
	switch ms := 1000 * s; {
	case ms < 0.95:
		return fmt.Sprintf("%.1f ms", max(0.1, ms))
	case ms < 99.5:
		return fmt.Sprintf("%.0f ms", ms)
	case s < 9.95:
		return fmt.Sprintf("%.2f s", s)
	}
	return fmt.Sprintf("%.0f s", s)
}

// ClockWords says how far the clock of the computer is from UTC, which is
// offsetS less that clock, known within boundS.
func ClockWords(offsetS, boundS float64) string {
	switch {
	case math.Abs(offsetS) <= boundS:
		return "right within the bound"
	case offsetS > 0:
		return size(offsetS) + " behind UTC"
	}
	return size(-offsetS) + " ahead of UTC"
}

// Verdict says whether a source agrees with the others, and if it is not used
// why.
func (s Source) Verdict() string {
	switch {
	case s.Trouble != "":
		return s.Trouble
	case s.False:
		return "disagrees with the others"
	case s.Used:
		return "agrees"
	}
	return "not used"
}

// SameSource reports whether two readings came from the same, however long ago
// the servers of the one or the other agreed.
func SameSource(a, b string) bool {
	of := func(source string) string {
		if strings.HasSuffix(source, " ago") {
			for _, word := range []string{" agreed ", " heard "} {
				if before, _, found := strings.Cut(source, word); found {
					return before + word
				}
			}
		}
		return source
	}
	return of(a) == of(b)
}

// Standing says how well UTC is known: "±4 ms · three servers agree".
func (r Reading) Standing() string {
	if !r.Known {
		return r.Source + ", its bound not known"
	}
	return BoundWords(r.BoundS) + " · " + r.Source
}
