// Package observe reckons what a person's taps say of a dial, and how far that
// person's taps are to be trusted.
//
// An observer taps as the seconds hand passes chosen marks. A tap at UTC t on
// mark m gives the error m - t + lag (error is dial minus UTC, positive fast),
// where lag is the personal equation: how late the observer's taps come, in
// seconds, negative early. The marks alone tell the error to a multiple of their
// spacing; what is left comes from the error expected.
//
// Lag and scatter of taps to a steady beat: Aschersleben & Prinz, Perception &
// Psychophysics 57 (1995) 305; Aschersleben, Brain & Cognition 48 (2002) 66;
// Repp, Psychonomic Bulletin & Review 12 (2005) 969.
package observe

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/clock"
)

// Refusals, to be told apart with errors.Is.
var (
	// ErrTaps marks input that is no series of taps: not finite, out of order.
	ErrTaps = errors.New("not a series of taps")
	// ErrTooFew marks taps that may be good but are too few.
	ErrTooFew = errors.New("too few taps")
	// ErrIrregular marks taps that agree on no mark.
	ErrIrregular = errors.New("no regular marks in the taps")
)

// Taps are the instants at which an observer tapped as the seconds hand passed
// chosen marks.
type Taps struct {
	Origin time.Time // UTC
	AtS    []float64 // SI seconds after Origin, in the order made, no personal equation taken off
	EveryS float64   // spacing of the marks on the seconds dial: 0.5 (each beat by ear), 5, 10, 15, 30 or 60 s
}

// Near is what the dial error is expected to be, positive fast.
type Near struct {
	ErrorS float64
	HalfS  float64 // 95% half width, s
	Known  bool
}

// Finding is what taps say of a dial.
type Finding struct {
	ErrorS     float64   // dial minus UTC, s, nearest to Near, or to nought if Near is not known
	SDS        float64   // one sd of ErrorS from taps and personal equation, so that 1.96 of it covers 95%; the standard's is not in it
	AtS        float64   // SI seconds after Origin at which ErrorS holds: the mean of the taps used
	ScatterS   float64   // sd of one tap, drawn toward the literature's while taps are few
	Used       int       // taps used
	Taps       []Told    // one for each tap, in the order made
	Candidates []float64 // possible errors, nearest to Near first; one if Near decides between neighbours EveryS apart
	Enough     bool      // more taps would change little
	FarS       float64   // ErrorS less Near, s; 0 if Near is not known
	Remarks    []string  // what the observer should look at
}

// Told is what became of one tap.
type Told struct {
	MarkS     float64 // the mark nearest to what the seconds hand showed, s, in [0, 60)
	ResidualS float64 // how late the tap came beside the others, s, negative early
	Dropped   string  // why it was not used, in words; empty if it was
}

const (
	mostTaps  = 1000
	mostSpanS = 900.0 // a rate of 10 s a day moves the error by 0.1 s in this time

	// fewestUsed agreeing taps stand against a slip; fewer could be two slips alike.
	fewestUsed = 3
	// byChance is the greatest probability left that taps made at random agree
	// as well as those used.
	byChance = 0.02

	// neighbourOdds is the posterior probability above which a neighbouring error is named.
	neighbourOdds  = 0.001
	mostCandidates = 7
	// farOfSpacing is the part of EveryS beyond which ErrorS is asked again: 0.2 s
	// of a half-second beat, what an eye-and-ear reading never misses (Bessel, in
	// "The Personal Equation", Popular Science Monthly 6 (1875) 391).
	farOfSpacing = 0.4

	beatS = 0.5 // of a detent chronometer of 14,400 vibrations an hour
)

// Reckon returns what taps say of the dial's error, expected near, for an
// observer of personal equation eq. Taps beyond their marks by whole beats,
// double taps and taps that stand apart are dropped and told of. It fails with
// ErrTaps, ErrTooFew or ErrIrregular, each with what to do.
func Reckon(t Taps, dial clock.Dial, near Near, eq Equation) (Finding, error) {
	if err := admit(t, near, eq); err != nil {
		return Finding{}, err
	}
	base := float64(dial.Reading(t.Origin, 0))
	f := Finding{Taps: make([]Told, len(t.AtS))}
	first := markDoubles(t, f.Taps)
	if len(first) < fewestUsed {
		return Finding{}, fmt.Errorf("%w: %d, and %d are the fewest that show a slip; go on tapping", ErrTooFew, len(first), fewestUsed)
	}
	if doubles := len(t.AtS) - len(first); doubles > len(first)/2 {
		return Finding{}, fmt.Errorf("%w: %d of %d taps came within %.2f s of the tap before; tap once as the hand passes each mark, %g s apart",
			ErrIrregular, doubles, len(t.AtS), doubleS(t.EveryS), t.EveryS)
	}

	phases := make([]float64, len(first))
	for i, k := range first {
		phases[i] = wrap(-(base + t.AtS[k]), t.EveryS)
	}
	g := gather(phases, t.EveryS, eq)
	whole := clock.Nearest(clock.DialError(g.centre+eq.LagS), clock.DialError(near.at()), t.EveryS)
	f.ErrorS = float64(whole)
	seconds := func(i int) float64 { return base + t.AtS[i] + f.ErrorS - eq.LagS } // that the dial showed
	sort(f.Taps, seconds, t.EveryS, g.window)

	low, high, mean := math.Inf(1), math.Inf(-1), 0.0
	for i, told := range f.Taps {
		if told.Dropped == "" {
			f.Used++
			f.AtS += t.AtS[i]
			mean += told.ResidualS
			low, high = min(low, told.ResidualS), max(high, told.ResidualS)
		}
	}
	if 3*f.Used < 2*len(first) || f.Used < 2 {
		return Finding{}, fmt.Errorf("%w: only %d of %d agree on marks %g s apart; begin again, or choose the marks you tap at",
			ErrIrregular, f.Used, len(t.AtS), t.EveryS)
	}
	if f.Used < fewestUsed {
		return Finding{}, fmt.Errorf("%w: %d of %d agree, and %d must; go on tapping", ErrTooFew, f.Used, len(t.AtS), fewestUsed)
	}
	if chanceOf(f.Used, len(first), (high-low)/t.EveryS) > byChance {
		return Finding{}, fmt.Errorf("%w: %d taps spread over %.2f s may agree by chance; go on tapping, at the marks alone", ErrIrregular, f.Used, high-low)
	}
	f.AtS /= float64(f.Used)
	mean /= float64(f.Used)

	// A second tap on one mark is no longer in the mean, which moves a little.
	f.ErrorS = float64(clock.Nearest(clock.DialError(f.ErrorS-mean), clock.DialError(near.at()), t.EveryS))
	perMinute := math.Round(60 / t.EveryS)
	var squares float64
	for i := range f.Taps {
		told := &f.Taps[i]
		var mark float64
		mark, told.ResidualS = markOf(seconds(i), t.EveryS)
		told.MarkS = t.EveryS * math.Mod(mark, perMinute)
		if told.Dropped == "" {
			squares += told.ResidualS * told.ResidualS
		}
		if told.MarkS < 0 {
			told.MarkS += 60
		}
	}
	var freedom float64
	f.ScatterS, freedom = scatter(squares, f.Used, usualCorrelation, eq)
	ofTaps := MeanSDS(f.ScatterS, f.Used, usualCorrelation)
	f.SDS = math.Hypot(eq.SDS, widening(freedom)*ofTaps)
	f.Enough = f.Used >= 12 || f.Used >= 6 && ofTaps <= eq.SDS/2
	f.weigh(near, t.EveryS)
	return f, nil
}

// markOf returns which mark after XII is nearest to what the dial showed, and
// how far past it that was, in s.
func markOf(seconds, everyS float64) (mark, residualS float64) {
	mark = math.Round(seconds / everyS)
	return mark, seconds - mark*everyS
}

// at returns the error expected, or nought.
func (n Near) at() float64 {
	if n.Known {
		return n.ErrorS
	}
	return 0
}

// admit returns nil if the taps, the expected error and the personal equation
// are finite, in order and of the size of such things.
func admit(t Taps, near Near, eq Equation) error {
	marks := 60 / t.EveryS
	if !(t.EveryS >= 0.4 && t.EveryS <= 60) || math.Abs(marks-math.Round(marks)) > 1e-9 {
		return fmt.Errorf("%w: marks %g s apart; choose a spacing from 0.4 to 60 s that divides a minute, such as 5", ErrTaps, t.EveryS)
	}
	if len(t.AtS) > mostTaps {
		return fmt.Errorf("%w: %d of them; %d are the most", ErrTaps, len(t.AtS), mostTaps)
	}
	for i, at := range t.AtS {
		if !(math.Abs(at) <= clock.DaySeconds) {
			return fmt.Errorf("%w: tap %d is at %g s; give seconds after the origin, within a day of it", ErrTaps, i+1, at)
		}
		if i > 0 && at < t.AtS[i-1] {
			return fmt.Errorf("%w: tap %d comes before tap %d; give them in the order made", ErrTaps, i+1, i)
		}
	}
	if n := len(t.AtS); n > 0 && t.AtS[n-1]-t.AtS[0] > mostSpanS {
		return fmt.Errorf("%w: they span %.0f s, in which the dial's rate would count; keep within %.0f s", ErrTaps, t.AtS[n-1]-t.AtS[0], mostSpanS)
	}
	if near.Known && !(math.Abs(near.ErrorS) <= 1e6 && near.HalfS >= 0 && near.HalfS <= 1e6) {
		return fmt.Errorf("%w: the error expected is %g ± %g s; give a finite one", ErrTaps, near.ErrorS, near.HalfS)
	}
	if !(math.Abs(eq.LagS) <= 2 && eq.SDS >= 0 && eq.SDS <= 2 && eq.ScatterS >= 0 && eq.ScatterS <= 2) {
		return fmt.Errorf("%w: the personal equation is %g s, sd %g s, scatter %g s; measure it again", ErrTaps, eq.LagS, eq.SDS, eq.ScatterS)
	}
	return nil
}

// doubleS returns the seconds within which a tap after another is the same
// finger bouncing, not another mark.
func doubleS(everyS float64) float64 { return min(0.25, everyS/2) }

// markDoubles marks the taps that follow too soon on another and returns the
// indices of the rest. The first is kept: the finger meant that one.
func markDoubles(t Taps, told []Told) []int {
	var first []int
	for i, at := range t.AtS {
		if n := len(first); n > 0 && at-t.AtS[first[n-1]] < doubleS(t.EveryS) {
			told[i].Dropped = fmt.Sprintf("%.2f s after the tap before: a double tap", at-t.AtS[first[n-1]])
			continue
		}
		first = append(first, i)
	}
	return first
}

// sort fills in the residual of each tap at which the dial showed seconds, and
// says why it is dropped if it is beyond the window or second on its mark.
func sort(told []Told, seconds func(int) float64, everyS, window float64) {
	taken := map[float64]bool{}
	for i := range told {
		mark, residual := markOf(seconds(i), everyS)
		told[i].ResidualS = residual
		switch {
		case told[i].Dropped != "":
		case math.Abs(residual) > window:
			told[i].Dropped = apart(residual, window)
		case taken[mark]:
			told[i].Dropped = "a second tap on the same mark"
		default:
			taken[mark] = true
		}
	}
}

// apart says in words how a tap residualS off its mark stands apart.
func apart(residualS, window float64) string {
	way := "late"
	if residualS < 0 {
		way = "early"
	}
	size := math.Abs(residualS)
	beats := math.Round(size / beatS)
	switch {
	case beats == 0 || math.Abs(size-beats*beatS) > window:
		return fmt.Sprintf("%.2f s %s: it stands apart from the others", size, way)
	case beats == 1:
		return fmt.Sprintf("%.2f s %s: one beat out", size, way)
	}
	return fmt.Sprintf("%.2f s %s: another mark", size, way)
}

// weigh sets the candidates, the distance from what was expected and the
// remarks on them.
func (f *Finding) weigh(near Near, everyS float64) {
	if f.ScatterS > 2*usualScatterS {
		f.Remarks = append(f.Remarks, fmt.Sprintf("the taps scatter by %.2f s, where 0.02 to 0.04 s is usual: tap with the beat, not after it", f.ScatterS))
	}
	if !near.Known {
		f.Candidates = []float64{f.ErrorS, f.ErrorS - everyS, f.ErrorS + everyS}
		slices.SortStableFunc(f.Candidates, nearestTo(0))
		f.Remarks = append(f.Remarks, fmt.Sprintf("its error is not known, and the taps tell it only to a multiple of %g s; read the whole dial", everyS))
		return
	}
	f.FarS = f.ErrorS - near.ErrorS
	sd := math.Hypot(near.HalfS/1.96, f.SDS)
	if sd == 0 {
		sd = 1e-9
	}
	const neighbours = 60
	odds := func(k int) float64 { // against the nearest
		z, z0 := (f.FarS+float64(k)*everyS)/sd, f.FarS/sd
		return math.Exp((z0*z0 - z*z) / 2)
	}
	var all float64
	for k := -neighbours; k <= neighbours; k++ {
		all += odds(k)
	}
	other := -1 // the neighbour on the far side of what was expected
	if f.FarS < 0 {
		other = 1
	}
	far := math.Abs(f.FarS) > farOfSpacing*everyS
	for k := -neighbours; k <= neighbours; k++ {
		if k == 0 || odds(k) > neighbourOdds*all || far && k == other {
			f.Candidates = append(f.Candidates, f.ErrorS+float64(k)*everyS)
		}
	}
	slices.SortStableFunc(f.Candidates, nearestTo(near.ErrorS))
	if len(f.Candidates) > mostCandidates {
		f.Candidates = f.Candidates[:mostCandidates]
	}
	if len(f.Candidates) > 1 {
		f.Remarks = append(f.Remarks, fmt.Sprintf("the taps fit %s, and %s is not excluded: read the seconds hand",
			clock.DialError(f.Candidates[0]).Words(0.05), clock.DialError(f.Candidates[1]).Words(0.05)))
	}
	if math.Abs(f.FarS) > 3*sd {
		f.Remarks = append(f.Remarks, f.surprise(near, sd))
	}
}

// surprise says how far the taps are from a sharply expected error, and what
// would explain it.
func (f *Finding) surprise(near Near, sd float64) string {
	way := "ahead of"
	if f.FarS < 0 {
		way = "behind"
	}
	size := math.Abs(f.FarS)
	said := fmt.Sprintf("the taps put the dial %.2f s %s what was expected to within %.2f s: ", size, way, near.HalfS)
	if beats := math.Round(size / beatS); beats > 0 && math.Abs(size-beats*beatS) <= 2*sd {
		return said + fmt.Sprintf("the hand may have been misread by %.1f s, or the dial has been moved or has stopped; look at the seconds hand, and if in doubt begin again", beats*beatS)
	}
	return said + "no whole beat explains it, so the dial may have been moved, or the taps did not follow the beat; look at the dial, and if in doubt begin again"
}

// nearestTo returns an order of errors by their distance from e.
func nearestTo(e float64) func(a, b float64) int {
	return func(a, b float64) int {
		switch da, db := math.Abs(a-e), math.Abs(b-e); {
		case da < db:
			return -1
		case da > db:
			return 1
		}
		return 0
	}
}
