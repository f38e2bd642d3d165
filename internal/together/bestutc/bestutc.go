// Package bestutc is the time that several chronometers make between them, by
// their own ratings.
//
// Error is dial minus UTC in seconds, positive fast; an offset is UTC less the
// instant of the common clock.
package bestutc

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/clock"
	"timeball/internal/timescale"
	"timeball/internal/together/rounds"
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

// Estimate is the time that several chronometers make between them.
type Estimate struct {
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
// error that wraps rounds.ErrAlone if none can be used.
func Combine(at time.Time, clues []Clue) (Estimate, error) {
	if len(clues) > rounds.MaxInstruments {
		return Estimate{}, fmt.Errorf("%w: %d chronometers; %d is the most", rounds.ErrBook, len(clues), rounds.MaxInstruments)
	}
	e := Estimate{At: at.UTC()}
	var in []int
	for i, c := range clues {
		v, err := c.voice()
		if err != nil {
			return Estimate{}, err
		}
		e.Voices = append(e.Voices, v)
		if v.Reason == "" {
			in = append(in, i)
		}
	}
	if len(in) == 0 {
		return Estimate{}, fmt.Errorf("%w: no chronometer that can be believed; take the time by another way", rounds.ErrAlone)
	}
	for i := range e.Voices {
		if others := without(in, i); len(others) > 0 {
			mean, variance, _ := e.mean(others)
			v := &e.Voices[i]
			v.AsideS, v.AsideSD = v.OffsetS-mean, math.Sqrt(v.SD*v.SD+variance)
		}
	}
	in = e.ask(in)
	e.UTC = timescale.AddDays(e.At, e.OffsetS/clock.DaySeconds)
	e.Words = e.words(len(in))
	return e, nil
}

// voice returns the clue as it is used.
func (c Clue) voice() (Voice, error) {
	v := Voice{Name: c.Name, OffsetS: c.DialS - c.ErrorS, SD: math.Hypot(c.ErrorSD, c.DialSD), Reason: c.Doubted}
	if math.IsNaN(v.OffsetS) || math.Abs(v.OffsetS) > rounds.MostS || !(v.SD > 0) || v.SD > rounds.MostS || c.ErrorSD < 0 || c.DialSD < 0 {
		return Voice{}, fmt.Errorf("%w: no. %s says %g s with a standard deviation of %g s; give finite numbers and a doubt above nought", rounds.ErrBook, c.Name, v.OffsetS, v.SD)
	}
	return v, nil
}

// ask sets what the voices in say together, and returns those that were used.
func (e *Estimate) ask(in []int) []int {
	mean, variance, chi2 := e.mean(in)
	e.Chi2, e.DF, e.P, e.Birge, e.Agreement = chi2, len(in)-1, 1, 1, Agree
	if e.DF == 0 {
		e.Agreement = Alone
	} else {
		e.P = distuv.ChiSquared{K: float64(e.DF)}.Survival(chi2)
		e.Birge = math.Sqrt(chi2 / float64(e.DF))
	}
	if e.P < 0.05 {
		e.Agreement = Disagree
		if odd := e.odd(in); odd >= 0 {
			e.Agreement = OneAside
			e.Voices[odd].Reason = "it disagrees with the others, which agree"
			in = without(in, odd)
			mean, variance, chi2 = e.mean(in)
			e.Birge = math.Sqrt(chi2 / float64(len(in)-1))
		}
	}
	sd := math.Sqrt(variance)
	e.OffsetS, e.OffsetSD, e.Lo95, e.Hi95 = mean, sd, mean-z95*sd, mean+z95*sd
	if e.Agreement == Disagree {
		e.reach(in)
	}
	for _, i := range in {
		v := &e.Voices[i]
		v.Weight = variance / (v.SD * v.SD)
	}
	return in
}

// reach widens the interval to every one of the voices in: any of them may be
// the right one, and only beyond the outermost can UTC lie outside.
func (e *Estimate) reach(in []int) {
	e.Lo95, e.Hi95 = math.Inf(1), math.Inf(-1)
	for _, i := range in {
		v := e.Voices[i]
		e.Lo95, e.Hi95 = math.Min(e.Lo95, v.OffsetS-z90*v.SD), math.Max(e.Hi95, v.OffsetS+z90*v.SD)
	}
	e.OffsetSD = math.Max(e.OffsetSD*e.Birge, (e.Hi95-e.Lo95)/2/z95)
}

// z95 and z90 are the 97.5% and the 95% point of the normal law.
const (
	z95 = 1.959963984540054
	z90 = 1.6448536269514722
)

// mean returns the inverse-variance mean of the voices in, its variance, and
// χ² about it.
func (e *Estimate) mean(in []int) (mean, variance, chi2 float64) {
	total := 0.0
	for _, i := range in {
		v := e.Voices[i]
		total += 1 / (v.SD * v.SD)
		mean += v.OffsetS / (v.SD * v.SD)
	}
	mean /= total
	for _, i := range in {
		v := e.Voices[i]
		z := (v.OffsetS - mean) / v.SD
		chi2 += z * z
	}
	return mean, 1 / total, chi2
}

// odd returns the one without which the others agree, -1 if there is none or
// more than one such.
func (e *Estimate) odd(in []int) int {
	if len(in) < 3 {
		return -1
	}
	odd := -1
	for _, i := range in {
		others := without(in, i)
		_, _, chi2 := e.mean(others)
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

func (e *Estimate) words(used int) []string {
	half := math.Max(e.Hi95-e.OffsetS, e.OffsetS-e.Lo95)
	from := fmt.Sprintf("%d chronometers", used)
	if used == 1 {
		from = "one chronometer"
	}
	lines := []string{fmt.Sprintf("UTC is %s, %s s, by %s.", e.UTC.Format("2006-01-02 15:04:05.0"), clock.DialError(e.OffsetS).HalfWidth(half), from)}
	for _, v := range e.Voices {
		if v.Reason != "" && v.AsideSD > 0 {
			aside := clock.DialError(v.AsideS) // an early UTC of its own means that it is slower than thought
			lines = append(lines, fmt.Sprintf("No. %s is set aside: by the others it is %s %s more than its rating says (%s).",
				v.Name, aside.Words(z95*v.AsideSD), aside.HalfWidth(z95*v.AsideSD), v.Reason))
		} else if v.Reason != "" {
			lines = append(lines, fmt.Sprintf("No. %s is set aside: %s.", v.Name, v.Reason))
		}
	}
	switch e.Agreement {
	case Alone:
		lines = append(lines, "Nothing stands beside it that would show a fault of its own.")
	case Agree:
		lines = append(lines, fmt.Sprintf("They agree as well as their ratings promise (χ² %.1f on %d).", e.Chi2, e.DF))
	case Disagree:
		lines = append(lines, fmt.Sprintf("They disagree by more than their ratings allow (χ² %.1f on %d) and none can be accused; the doubt reaches to each of them.", e.Chi2, e.DF))
	}
	return lines
}
