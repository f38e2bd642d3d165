package observe

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/clock"
)

// Equation is the personal equation applied to taps.
type Equation struct {
	LagS     float64 // how late a tap comes, s, negative early
	SDS      float64 // one sd of what is left once LagS is applied, s, however many taps are made
	ScatterS float64 // sd of one tap about LagS, s; 0 not known
	Measured bool    // of this observer, not the literature's
}

const (
	// Taps to a steady beat come early by 30 to 50 ms, less in the trained:
	// Aschersleben & Prinz (1995), Aschersleben (2002).
	usualLagS = -0.035
	usualSDS  = 0.040
	// One tap at half-second beats scatters by 20 to 40 ms: Repp (2005).
	usualScatterS = 0.030
	// The trained come down to 2% of the beat: Repp (2005), from memory.
	leastScatterS = 0.010
	// Successive taps are correlated: from memory, no source at hand.
	usualCorrelation = 0.4

	// unseenS is what an exercise on the same device cannot see, wanderS the
	// wandering of a person from day to day, 10 to 15 ms: both from memory, no
	// source at hand.
	unseenS = 0.015
	wanderS = 0.0125
	// largestWanderS is the larger figure, for rates.
	largestWanderS = 0.015

	// The literature's scatter counts as this many degrees of freedom, so that an
	// observer outside it is soon heard; a measured one as an exercise of 20 taps.
	usualFreedom    = 6.0
	measuredFreedom = 20.0

	fewestExercise = 12
)

// Usual returns the literature's personal equation, for an observer never
// measured. It is the same for all spacings of the marks: between them the
// observer follows the half-second beat.
func Usual() Equation {
	return Equation{LagS: usualLagS, SDS: usualSDS, ScatterS: usualScatterS}
}

// SteadyS returns the part of an sd of an Equation, s, that stays the same from
// day to day: comparing more often does not make it less.
func SteadyS(sdS float64) float64 { return math.Sqrt(max(0, sdS*sdS-wanderS*wanderS)) }

// MeanSDS returns the sd, in s, of the mean of n taps of scatter scatterS whose
// successive ones are correlated, 0 ≤ correlation < 1: they count as
// n(1-a)/(1+a) independent taps, and at least as one. n below 1 gives +Inf.
func MeanSDS(scatterS float64, n int, correlation float64) float64 {
	if n < 1 {
		return math.Inf(1)
	}
	return scatterS / math.Sqrt(counting(n, correlation))
}

// counting returns how many independent taps n correlated ones are worth.
func counting(n int, correlation float64) float64 {
	return max(1, float64(n)*(1-correlation)/(1+correlation))
}

// scatter returns the sd of one tap from the squares of n residuals about their
// mean, drawn toward that of eq, and the degrees of freedom it then has.
func scatter(squares float64, n int, correlation float64, eq Equation) (s, freedom float64) {
	before, freedom := usualScatterS, usualFreedom
	if eq.ScatterS > 0 {
		before = max(eq.ScatterS, leastScatterS)
		if eq.Measured {
			freedom = measuredFreedom
		}
	}
	// Correlated taps lie nearer to their own mean: the squares lack n over
	// counting of their expectation, not one.
	of := max(0, float64(n)-float64(n)/counting(n, correlation))
	return math.Sqrt((freedom*before*before + squares) / (freedom + of)), freedom + of
}

// widening returns the factor by which an sd of so many degrees of freedom is
// widened so that 1.96 of it covers 95% (Student).
func widening(freedom float64) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}
	return t.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
}

// RateWander returns the sd, in s/d, that the wandering of one observer from
// day to day puts into a rate between two comparisons elapsed apart; a constant
// personal equation puts none. It returns 0, false if elapsed is not positive.
func RateWander(elapsed time.Duration) (clock.Rate, bool) {
	if elapsed <= 0 {
		return 0, false
	}
	return clock.Rate(math.Sqrt2 * largestWanderS / elapsed.Hours() * 24), true
}

// Measured is an observer's personal equation from one exercise.
type Measured struct {
	LagS        float64 // how late a tap comes, s, negative early
	SDS         float64 // one sd of LagS, s, the correlation of successive taps counted
	ScatterS    float64 // sd of one tap, s
	Used        int
	Dropped     []int   // indices of the taps not used
	Correlation float64 // of successive taps, drawn toward the usual one
}

// Measure returns the personal equation from an exercise of beats spacingS
// apart, 0.4 to 2 s, with lagsS the time of each tap less that of the nearest
// beat, in s and in order. It fails with ErrTaps, ErrTooFew (12 are the fewest)
// or ErrIrregular, each with what to do.
func Measure(spacingS float64, lagsS []float64) (Measured, error) {
	if !(spacingS >= 0.4 && spacingS <= 2) {
		return Measured{}, fmt.Errorf("%w: beats %g s apart; choose 0.4 to 2 s, such as 0.5", ErrTaps, spacingS)
	}
	if len(lagsS) > mostTaps {
		return Measured{}, fmt.Errorf("%w: %d of them; %d are the most", ErrTaps, len(lagsS), mostTaps)
	}
	for i, lag := range lagsS {
		if !(math.Abs(lag) <= spacingS) {
			return Measured{}, fmt.Errorf("%w: tap %d is %g s from its beat; give each against the nearest", ErrTaps, i+1, lag)
		}
	}
	if len(lagsS) < fewestExercise {
		return Measured{}, fmt.Errorf("%w: %d, and an exercise needs %d; go on tapping", ErrTooFew, len(lagsS), fewestExercise)
	}
	usual := Usual()
	g := gather(lagsS, spacingS, usual)
	m := Measured{}
	var kept []float64
	low, high := math.Inf(1), math.Inf(-1)
	for i, lag := range lagsS {
		d := wrap(lag-g.centre, spacingS)
		if math.Abs(d) > g.window {
			m.Dropped = append(m.Dropped, i)
			continue
		}
		kept = append(kept, d)
		low, high = min(low, d), max(high, d)
	}
	m.Used = len(kept)
	if 3*m.Used < 2*len(lagsS) || chanceOf(m.Used, len(lagsS), (high-low)/spacingS) > byChance {
		return Measured{}, fmt.Errorf("%w: only %d of %d keep with the beat; listen to a few beats first, then tap with each", ErrIrregular, m.Used, len(lagsS))
	}
	var mean, squares, products float64
	for _, d := range kept {
		mean += d / float64(m.Used)
	}
	for i := range kept {
		kept[i] -= mean
		squares += kept[i] * kept[i]
		if i > 0 {
			products += kept[i] * kept[i-1]
		}
	}
	m.LagS = wrap(g.centre+mean, spacingS)
	m.Correlation = correlation(products, squares, m.Used)
	var freedom float64
	m.ScatterS, freedom = scatter(squares, m.Used, m.Correlation, usual)
	m.SDS = widening(freedom) * MeanSDS(m.ScatterS, m.Used, m.Correlation)
	return m, nil
}

// correlation returns that of n successive taps from the sums of products and
// squares, its bias of -(1+4a)/n taken off (Kendall, Biometrika 41 (1954) 403)
// and drawn toward the usual one as if from 12 taps, in [0, 0.8].
func correlation(products, squares float64, n int) float64 {
	const before = 12
	if squares == 0 {
		return usualCorrelation
	}
	a := products / squares
	a += (1 + 4*a) / float64(n)
	return min(max((float64(n)*a+before*usualCorrelation)/float64(n+before), 0), 0.8)
}

// Equation returns the personal equation to apply on another day: what the
// exercise measured, with the wandering from day to day and what an exercise
// cannot see added to its doubt.
func (m Measured) Equation() Equation {
	return Equation{
		LagS:     m.LagS,
		SDS:      math.Hypot(m.SDS, math.Hypot(unseenS, wanderS)),
		ScatterS: m.ScatterS,
		Measured: true,
	}
}
