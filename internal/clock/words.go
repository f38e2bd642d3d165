package clock

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// This file is the one place where an error, a rate and their doubt become
// words, so that page, paper and terminal say the same.

// Words returns the error in words, to the number of decimals that its 95%
// half width deserves: "fast 12.9 s", "slow 2 min 40.5 s".
func (e DialError) Words(half float64) string {
	return e.wordsTo(errorDecimals(half))
}

// String returns the error in words to a tenth of a second.
func (e DialError) String() string { return e.wordsTo(1) }

func (e DialError) wordsTo(decimals int) string {
	size, zero := seconds(math.Abs(float64(e)), decimals)
	switch {
	case zero:
		return "right to " + size
	case e > 0:
		return "fast " + size
	}
	return "slow " + size
}

// Words returns the rate in words, per day, to the number of decimals that its
// 95% half width deserves: "losing 0.83 s".
func (r Rate) Words(half float64) string {
	size := r.Size(half)
	switch {
	case strings.Trim(size, "0. s") == "":
		return "keeping time to " + size
	case r > 0:
		return "gaining " + size
	}
	return "losing " + size
}

// Size returns the rate without its direction, to the number of decimals that
// its 95% half width deserves: "0.83 s".
func (r Rate) Size(half float64) string {
	return strconv.FormatFloat(math.Abs(float64(r)), 'f', rateDecimals(half), 64) + " s"
}

// String returns the rate in words to a hundredth of a second a day.
func (r Rate) String() string { return r.Words(0.5) + " a day" }

// HalfWidth returns a 95% half width of an error as it is printed, "±0.2",
// never smaller than one unit of its last place.
func (e DialError) HalfWidth(half float64) string {
	return plusMinus(half, errorDecimals(half))
}

// HalfWidth returns a 95% half width of a rate as it is printed, "±0.03".
func (r Rate) HalfWidth(half float64) string {
	return plusMinus(half, rateDecimals(half))
}

// errorDecimals keeps tenths of a second, the last place an ear can tell,
// unless the doubt is finer or far coarser than that.
func errorDecimals(half float64) int {
	switch {
	case half < 0.095:
		return 2
	case half < 9.5:
		return 1
	}
	return 0
}

func rateDecimals(half float64) int {
	switch {
	case half < 0.0095:
		return 3
	case half < 0.995:
		return 2
	}
	return 1
}

func plusMinus(half float64, decimals int) string {
	unit := math.Pow(10, -float64(decimals))
	if half < unit {
		half = unit
	}
	if half >= 99.5 { // from here on in minutes
		text, _ := seconds(half, decimals)
		return "±" + text
	}
	return "±" + strconv.FormatFloat(half, 'f', decimals, 64)
}

// seconds writes a size of s seconds, from 100 s on in minutes and from 100
// minutes on in hours, and reports whether all its digits are nought.
func seconds(s float64, decimals int) (text string, zero bool) {
	scale := math.Pow(10, float64(decimals))
	units := math.Round(s * scale)
	whole := units / scale
	if whole < 100 {
		return strconv.FormatFloat(whole, 'f', decimals, 64) + " s", units == 0
	}
	minutes := math.Floor(whole / 60)
	rest := strconv.FormatFloat(whole-60*minutes, 'f', decimals, 64)
	if minutes < 100 {
		return fmt.Sprintf("%.0f min %s s", minutes, rest), false
	}
	hours := math.Floor(minutes / 60)
	return fmt.Sprintf("%.0f h %.0f min %s s", hours, minutes-60*hours, rest), false
}
