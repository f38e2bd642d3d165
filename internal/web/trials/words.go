package trials

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"timeball/internal/clock"
	"timeball/internal/trial"
	"timeball/internal/trial/programme"
)

// Told is a figure in words: what it came to, its 95% half width, and what
// follows them.
type Told struct{ Words, PlusMinus, After string }

// String returns the figure as one phrase.
func (t Told) String() string {
	return strings.Join(strings.Fields(t.Words+" "+t.PlusMinus+" "+t.After), " ")
}

// ways are the measures of which a figure has a direction, with what follows
// "gaining 0.5 s".
var ways = map[programme.Measure]string{
	programme.MeanRate: "a day", programme.DifferenceOfMeans: "a day more", programme.MiddleError: "a day more", programme.StepLessRange: "a day more",
	programme.PerDegree: "a day more for each °C", programme.PerDegreeAsked: "a day more for each °C", programme.Acceleration: "a day more, day by day",
}

// units are what follows a figure without a direction.
var units = map[string]string{"s/d": "s a day", "s": "s"}

// tell returns a value of a criterion, with its half width if it has one.
func tell(c programme.Criterion, v, half float64) Told {
	n := decimals(half, c.Unit)
	t := Told{PlusMinus: plusMinus(half, n)}
	after, directed := ways[c.Of]
	if !directed || c.Unit != c.Of.Unit() {
		t.Words = strings.Replace(strconv.FormatFloat(rounded(v, n), 'f', n, 64), "-", "−", 1)
		if t.After = units[c.Unit]; t.After == "" {
			t.After = c.Unit
		}
		return t
	}
	t.After = after
	size := strconv.FormatFloat(math.Abs(v), 'f', n, 64) + " s"
	switch {
	case strings.Trim(size, "0. s") == "" && c.Of == programme.MeanRate:
		t.Words = "keeping time to " + size
	case strings.Trim(size, "0. s") == "":
		t.Words = "the same to " + size
	default:
		t.Words = way(v) + " " + size
	}
	return t
}

func way(v float64) string {
	if v < 0 {
		return "losing"
	}
	return "gaining"
}

// rounded returns v to n decimals, without a minus before nought.
func rounded(v float64, n int) float64 {
	p := math.Pow(10, float64(n))
	return math.Round(v*p)/p + 0
}

// decimals returns how many decimals a half width deserves: those of clock, and
// more for the small figures of a change per degree or day.
func decimals(half float64, unit string) int {
	switch {
	case unit == "s" && half >= 9.5:
		return 0
	case half >= 0.995, unit == "s" && half >= 0.095:
		return 1
	case half >= 0.0095, unit == "s":
		return 2
	case half >= 0.00095 || !(half > 0):
		return 3
	}
	return 4
}

func plusMinus(half float64, n int) string {
	return "±" + strconv.FormatFloat(max(half, math.Pow(10, -float64(n))), 'f', n, 64)
}

// rate returns a rate in words, per day, with its half width.
func rate(v, half float64) Told {
	r := clock.Rate(v)
	return Told{r.Words(half), r.HalfWidth(half), "a day"}
}

// likely returns the 95% interval of a figure where it does not lie about the
// figure itself: the greatest of several is made greater by the scatter of the
// readings.
func likely(f trial.Figure) string {
	half := (f.Hi95 - f.Lo95) / 2
	if !(half > 0) || math.Abs(f.Value-(f.Lo95+f.Hi95)/2) <= 0.2*half {
		return ""
	}
	lo, hi := tell(f.Criterion, f.Lo95, half), tell(f.Criterion, f.Hi95, half)
	first, second := strings.TrimSuffix(lo.Words, " s"), hi.Words
	if way, size, ok := strings.Cut(second, " "); ok && strings.HasPrefix(first, way+" ") {
		if second = size; way == "losing" { // the smaller size first
			first, second = hi.Words[:len(hi.Words)-len(" s")], strings.TrimPrefix(lo.Words, "losing ")
		}
	}
	return fmt.Sprintf("the true one: %s to %s %s", first, second, hi.After)
}

// plain returns a limit as it was written, with a true minus.
func plain(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', -1, 64), "-", "−", 1)
}

// Limits returns the limits of a criterion in words, or nothing if it has none.
func Limits(c programme.Criterion) string {
	after, directed := ways[c.Of]
	unit := units[c.Unit]
	if unit == "" {
		unit = c.Unit
	}
	side := plain
	if directed && c.Unit == c.Of.Unit() {
		unit = "s " + after
		side = func(v float64) string {
			if v == 0 {
				return "nought"
			}
			return way(v) + " " + plain(math.Abs(v))
		}
	} else {
		directed = false
	}
	switch {
	case len(c.Classes) > 0:
		var all []string
		for _, class := range c.Classes {
			all = append(all, class.Name+" to "+plain(class.Most))
		}
		if directed {
			unit += " either way"
		}
		return strings.Join(all, ", ") + " " + unit
	case c.From != nil && c.To != nil && directed && *c.From == -*c.To:
		return "at most " + plain(*c.To) + " " + unit + " either way"
	case c.From != nil && c.To != nil:
		return side(*c.From) + " to " + side(*c.To) + " " + unit
	case c.To != nil && directed:
		return oneSide(*c.To < 0) + " " + side(*c.To) + " " + unit
	case c.From != nil && directed:
		return oneSide(*c.From > 0) + " " + side(*c.From) + " " + unit
	case c.To != nil:
		return "at most " + plain(*c.To) + " " + unit
	case c.From != nil:
		return "at least " + plain(*c.From) + " " + unit
	}
	return ""
}

// oneSide begins a limit on one side: beyond is whether nought lies outside it.
func oneSide(beyond bool) string {
	if beyond {
		return "at least"
	}
	return "no further than"
}

// inHundred returns a probability as so many in a hundred.
func inHundred(p float64) string {
	switch {
	case p > 0.995:
		return "more than 99 in 100"
	case p < 0.005:
		return "less than 1 in 100"
	}
	return fmt.Sprintf("%.0f in 100", 100*p)
}

// degrees returns a temperature to a tenth of a degree.
func degrees(c float64) string {
	return strings.Replace(strconv.FormatFloat(rounded(c, 1), 'f', 1, 64), "-", "−", 1) + " °C"
}

// asked returns a temperature of a programme as it was written.
func asked(c float64) string { return plain(c) + " °C" }
