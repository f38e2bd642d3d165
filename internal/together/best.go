package together

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// Clue is what one chronometer says of the time.
type Clue struct {
	Name string `json:"name"`
	// DialS is its dial less the instant at which it was read, s, by the same
	// clock for all: a ship's watch, or the navigator's own idea of UTC.
	DialS  float64 `json:"dial_s"`
	DialSD float64 `json:"dial_sd"` // of the reading, s
	// ErrorS is its error by its own rating at that instant, s.
	ErrorS  float64 `json:"error_s"`
	ErrorSD float64 `json:"error_sd"`
	// Doubted is why it is not to be believed, such as a jump that a
	// comparison book has shown; empty if it is.
	Doubted string `json:"doubted,omitempty"`
}

// Voice is a clue as it was used.
type Voice struct {
	Name    string  `json:"name"`
	OffsetS float64 `json:"offset_s"` // UTC less the instant, by this one alone
	SD      float64 `json:"offset_sd"`
	Weight  float64 `json:"weight"`      // 0 if set aside
	AsideS  float64 `json:"departure_s"` // its offset less that of the others together
	AsideSD float64 `json:"departure_sd"`
	Reason  string  `json:"set_aside,omitempty"`
}

// Agreement says how well the instruments agree.
type Agreement string

// The kinds of agreement.
const (
	Alone    Agreement = "one alone"
	Agree    Agreement = "they agree"
	OneAside Agreement = "one disagrees and is set aside"
	Disagree Agreement = "they disagree"
)

// BestUTC is the time that several chronometers make between them.
type BestUTC struct {
	At        time.Time `json:"at"`  // the instant of the common clock
	UTC       time.Time `json:"utc"` // what it was in truth
	OffsetS   float64   `json:"offset_s"`
	OffsetSD  float64   `json:"offset_sd"`
	Lo95      float64   `json:"lo95_s"`
	Hi95      float64   `json:"hi95_s"`
	Chi2      float64   `json:"chi2"` // of all that were asked, about their mean
	DF        int       `json:"df"`
	P         float64   `json:"p"`
	Birge     float64   `json:"birge_ratio"` // √(Chi2/DF) of those used
	Agreement Agreement `json:"agreement"`
	Voices    []Voice   `json:"voices"`
	Words     []string  `json:"words"`
}

// Combine returns UTC from what several chronometers say at the instant at,
// each weighted by its inverse variance. Where they do not agree (χ², 5%), the
// one that disagrees with all the others, which agree, is set aside; if no
// single one does, the interval reaches to every one of them, and the standard
// deviation is widened by the Birge ratio at least. A fault of about three of
// an instrument's own standard deviations hides among the others: the interval
// then holds in 7 to 8 of 10 cases only, and no test can help it. It returns an
// error that wraps ErrAlone if none can be used.
func Combine(at time.Time, clues []Clue) (BestUTC, error) {
	if len(clues) > MaxInstruments {
		return BestUTC{}, fmt.Errorf("%w: %d chronometers; %d is the most", ErrBook, len(clues), MaxInstruments)
	}
	b := BestUTC{At: at.UTC()}
	var in []int
	for i, c := range clues {
		v := Voice{Name: c.Name, OffsetS: c.DialS - c.ErrorS, SD: math.Hypot(c.ErrorSD, c.DialSD), Reason: c.Doubted}
		if math.IsNaN(v.OffsetS) || math.Abs(v.OffsetS) > mostS || !(v.SD > 0) || v.SD > mostS || c.ErrorSD < 0 || c.DialSD < 0 {
			return BestUTC{}, fmt.Errorf("%w: no. %s says %g s with a standard deviation of %g s; give finite numbers and a doubt above nought", ErrBook, c.Name, v.OffsetS, v.SD)
		}
		if v.Reason == "" {
			in = append(in, i)
		}
		b.Voices = append(b.Voices, v)
	}
	if len(in) == 0 {
		return BestUTC{}, fmt.Errorf("%w: no chronometer that can be believed; take the time by another way", ErrAlone)
	}
	for i := range b.Voices {
		others := without(in, i)
		if len(others) > 0 {
			mean, variance, _ := b.mean(others)
			v := &b.Voices[i]
			v.AsideS, v.AsideSD = v.OffsetS-mean, math.Sqrt(v.SD*v.SD+variance)
		}
	}
	mean, variance, chi2 := b.mean(in)
	b.Chi2, b.DF, b.P, b.Birge, b.Agreement = chi2, len(in)-1, 1, 1, Agree
	if b.DF == 0 {
		b.Agreement = Alone
	} else {
		b.P = distuv.ChiSquared{K: float64(b.DF)}.Survival(chi2)
		b.Birge = math.Sqrt(chi2 / float64(b.DF))
	}
	sd := math.Sqrt(variance)
	lo, hi := mean-z95*sd, mean+z95*sd
	if b.P < 0.05 {
		if odd := b.odd(in); odd >= 0 {
			b.Agreement = OneAside
			v := &b.Voices[odd]
			v.Reason = "it disagrees with the others, which agree"
			in = without(in, odd)
			mean, variance, chi2 = b.mean(in)
			sd = math.Sqrt(variance)
			b.Birge = math.Sqrt(chi2 / float64(len(in)-1))
			lo, hi = mean-z95*sd, mean+z95*sd
		} else {
			b.Agreement = Disagree
			lo, hi = math.Inf(1), math.Inf(-1)
			for _, i := range in {
				// Any of them may be the right one, and only beyond the outermost
				// can UTC lie outside.
				v := b.Voices[i]
				lo, hi = math.Min(lo, v.OffsetS-z90*v.SD), math.Max(hi, v.OffsetS+z90*v.SD)
			}
			sd = math.Max(sd*b.Birge, (hi-lo)/2/z95)
		}
	}
	for _, i := range in {
		v := &b.Voices[i]
		v.Weight = variance / (v.SD * v.SD)
	}
	b.OffsetS, b.OffsetSD, b.Lo95, b.Hi95 = mean, sd, lo, hi
	b.UTC = timescale.AddDays(b.At, mean/clock.DaySeconds)
	b.Words = b.words(len(in))
	return b, nil
}

// z95 and z90 are the 97.5% and the 95% point of the normal law.
const (
	z95 = 1.959963984540054
	z90 = 1.6448536269514722
)

// mean returns the inverse-variance mean of the voices in, its variance, and
// χ² about it.
func (b *BestUTC) mean(in []int) (mean, variance, chi2 float64) {
	total := 0.0
	for _, i := range in {
		v := b.Voices[i]
		total += 1 / (v.SD * v.SD)
		mean += v.OffsetS / (v.SD * v.SD)
	}
	mean /= total
	for _, i := range in {
		v := b.Voices[i]
		z := (v.OffsetS - mean) / v.SD
		chi2 += z * z
	}
	return mean, 1 / total, chi2
}

// odd returns the one without which the others agree, -1 if there is none or
// more than one such.
func (b *BestUTC) odd(in []int) int {
	if len(in) < 3 {
		return -1
	}
	odd := -1
	for _, i := range in {
		others := without(in, i)
		_, _, chi2 := b.mean(others)
		if chi2 <= (distuv.ChiSquared{K: float64(len(others) - 1)}).Quantile(0.95) {
			if odd >= 0 {
				return -1
			}
			odd = i
		}
	}
	return odd
}

func without(in []int, i int) []int {
	return slices.DeleteFunc(slices.Clone(in), func(j int) bool { return j == i })
}

func (b *BestUTC) words(used int) []string {
	half := math.Max(b.Hi95-b.OffsetS, b.OffsetS-b.Lo95)
	e := clock.DialError(b.OffsetS)
	from := fmt.Sprintf("%d chronometers", used)
	if used == 1 {
		from = "one chronometer"
	}
	lines := []string{fmt.Sprintf("UTC is %s, %s s, by %s.", b.UTC.Format("2006-01-02 15:04:05.0"), e.HalfWidth(half), from)}
	for _, v := range b.Voices {
		if v.Reason != "" && v.AsideSD > 0 {
			aside := clock.DialError(v.AsideS) // an early UTC of its own means that it is slower than thought
			lines = append(lines, fmt.Sprintf("No. %s is set aside: by the others it is %s %s more than its rating says (%s).",
				v.Name, aside.Words(z95*v.AsideSD), aside.HalfWidth(z95*v.AsideSD), v.Reason))
		} else if v.Reason != "" {
			lines = append(lines, fmt.Sprintf("No. %s is set aside: %s.", v.Name, v.Reason))
		}
	}
	switch b.Agreement {
	case Alone:
		lines = append(lines, "Nothing stands beside it that would show a fault of its own.")
	case Agree:
		lines = append(lines, fmt.Sprintf("They agree as well as their ratings promise (χ² %.1f on %d).", b.Chi2, b.DF))
	case Disagree:
		lines = append(lines, fmt.Sprintf("They disagree by more than their ratings allow (χ² %.1f on %d) and none can be accused; the doubt reaches to each of them.", b.Chi2, b.DF))
	}
	return lines
}
