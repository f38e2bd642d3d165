// Package setting plans how a chronometer is started on a signal and when its
// minute hand is moved on.
//
// Three rules bind every plan. The hands are turned forward only. The seconds
// hand is never touched, so the dial can start only in the second at which
// that hand rests, and the minute hand must stand as far past its mark as the
// seconds hand has gone round. A plan aims and does not certify: a half-second
// beat starts within one beat of the twist, and the first comparison gives the
// error its value.
//
// Error is dial minus UTC in seconds, positive fast; rate is in seconds a day,
// positive gaining.
package setting

import (
	"errors"
	"fmt"
	"math"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// ErrAsk marks a question that no plan can answer.
var ErrAsk = errors.New("no starting plan")

// turnCostS is how many seconds of waiting one turn of the minute hand is
// worth when a plan is recommended; a choice, not a fact, so both plans are shown.
const turnCostS = 300

// agreeS is how far the minute hand may rest from where the seconds hand says
// before it is remarked: a tenth of a minute, as finely as it is read.
const agreeS = 6

// Rest is how the hands stand while the balance is held.
type Rest struct {
	Dial    clock.Dial
	HandsS  float64 // what hour and minute hand show, s since XII, in [0, Modulus); the place of the minute hand between its marks included
	SecondS float64 // where the seconds hand rests, s in [0, 60)
}

// Ask is what a plan is wanted for.
type Ask struct {
	Rest
	Now     time.Time
	Ready   time.Duration // from Now until the hands can be turned
	Turn    time.Duration // to turn the minute hand once round
	WantedS float64       // error wanted at the start, s, positive fast
}

// Plan is how to set the hands and when to start.
type Plan struct {
	Dial         clock.Dial
	Set          clock.DialReading // what the hands show at the start, its seconds those at which the seconds hand rests
	Start        time.Time         // UTC
	ForwardS     float64           // dial seconds that the minute hand is turned forward from where it rests
	Turns        float64           // ForwardS in turns of the minute hand
	Wait         time.Duration     // from Ask.Now to Start
	MinuteMark   int               // the mark that the minute hand stands on or has passed, 0 to 59
	BetweenMarks float64           // how far past that mark it stands, in [0, 1): 0.5 is half way to the next
	WantedS      float64           // the error aimed at, s, positive fast
	Remarks      []string          // what to look at first, one sentence each
}

// Plans are the two starts worth considering; no start between them is better
// than both.
type Plans struct {
	Earliest Plan   // the first start that the turning leaves time for
	NoTurn   Plan   // the first start at which the minute hand is turned less than a minute
	Wait     bool   // whether NoTurn is recommended
	Why      string // in words
}

// Best returns the plan recommended: the smaller of the waiting plus five
// minutes for each turn of the minute hand, NoTurn if they are equal.
func (p Plans) Best() Plan {
	if p.Wait {
		return p.NoTurn
	}
	return p.Earliest
}

// Starting returns the plans for an ask, in exact arithmetic to the
// microsecond. It fails with ErrAsk, in one sentence, if the ask is nonsense.
//
// The start is an instant whose second of UTC is the second at rest less the
// wanted error, so that the hands can be set to UTC plus that error.
func Starting(a Ask) (Plans, error) {
	if err := a.refuse(); err != nil {
		return Plans{}, err
	}
	g := newGrid(a)
	var p Plans
	p.Earliest = g.plan(g.first(func(k int64) bool { return g.inTime(k) && !nearLeapSecond(g.start(k)) }))
	k := g.first(func(k int64) bool { return g.inTime(k) && g.forward(k) < minuteMicros })
	moved := k
	for nearLeapSecond(g.start(moved)) {
		moved++
	}
	p.NoTurn = g.plan(moved)
	if moved != k {
		p.NoTurn.Remarks = append(p.NoTurn.Remarks, "a leap second lies within a minute of the first start that needs no turning, so it is put off and the minute hand turned that much further")
	}
	p.Wait = cost(p.NoTurn) <= cost(p.Earliest)
	p.Why = p.why()
	return p, nil
}

func cost(p Plan) float64 { return p.Wait.Seconds() + turnCostS*p.Turns }

func (p Plans) why() string {
	switch later := p.NoTurn.Wait - p.Earliest.Wait; {
	case later == 0 && p.NoTurn.ForwardS == 0:
		return "The soonest start needs no turning of the hands."
	case later == 0:
		return "The soonest start is also the one that needs the least turning of the hands."
	case p.Wait:
		return fmt.Sprintf("Waiting %s longer saves turning the minute hand forward %s.", Waiting(later), p.Earliest.Forward())
	default:
		return fmt.Sprintf("Turning the minute hand forward %s starts it %s sooner than waiting for UTC to come to the hands as they rest.", p.Earliest.Forward(), Waiting(later))
	}
}

// InAMinute returns the plan for a start that was missed with the hands set as
// p says: the minute hand one minute forward, the same second of the next
// minute, or of the first one clear of a leap second. Its ForwardS is turned
// from where p had set the hands.
func (p Plan) InAMinute() Plan {
	n := p
	n.Start, n.ForwardS = p.Start.Add(time.Minute), 60
	for nearLeapSecond(n.Start) {
		n.Start, n.ForwardS = n.Start.Add(time.Minute), n.ForwardS+60
	}
	n.Turns = n.ForwardS / 3600
	n.Wait = p.Wait + timescale.Elapsed(p.Start, n.Start)
	n.Set = clock.DialReading(math.Mod(float64(p.Set)+n.ForwardS, p.Dial.Modulus()))
	n.MinuteMark = int(float64(n.Set)/60) % 60
	n.Remarks = nil
	return n
}

// WantedError returns the error to start with at rate r so that it is nought
// in the middle of interval: -r·interval/2, rounded to a whole number of beats
// of beat seconds; not rounded if beat is not positive.
func WantedError(r clock.Rate, interval time.Duration, beat float64) clock.DialError {
	e := -float64(r) * interval.Seconds() / clock.DaySeconds / 2
	if beat > 0 {
		e = math.Round(e/beat) * beat
	}
	return clock.DialError(e + 0) // +0 turns -0 into 0
}

// refuse returns why no plan can be made, or nil.
func (a Ask) refuse() error {
	bad := func(format string, v ...any) error {
		return fmt.Errorf("%w: %s", ErrAsk, fmt.Sprintf(format, v...))
	}
	m := a.Dial.Modulus()
	switch {
	case a.Dial != clock.TwelveHour && a.Dial != clock.TwentyFourHour:
		return bad("a dial of %d hours is not made; say 12 or 24", a.Dial)
	case !(a.HandsS >= 0 && a.HandsS < m):
		return bad("the hands at %g s since XII do not stand on a dial of %d hours; read hours and minutes again", a.HandsS, a.Dial)
	case !(a.SecondS >= 0 && a.SecondS < 60):
		return bad("the seconds hand does not rest at %g; read it from 0 to below 60", a.SecondS)
	case !(math.Abs(a.WantedS) < m/2):
		return bad("a wanted error of %g s is not less than half round the dial; say it in seconds, fast positive", a.WantedS)
	case a.Ready < 0 || a.Ready > 7*clock.Day:
		return bad("the time to get ready, %.4g min, is not between nothing and seven days", a.Ready.Minutes())
	case a.Turn < 0 || a.Turn >= time.Hour:
		return bad("the time for a turn of the minute hand, %.4g min, is not between nothing and an hour", a.Turn.Minutes())
	case a.Now.UTC().Year() < 1700 || a.Now.UTC().Year() > 2198:
		return bad("the year %d is not between 1700 and 2198", a.Now.UTC().Year())
	}
	return nil
}
