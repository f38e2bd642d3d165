package setting

import (
	"fmt"
	"math"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

const minuteMicros = 60_000_000

// grid is the starts that the resting seconds hand allows, one a minute, in
// whole microseconds so that no rounding moves one.
type grid struct {
	ask  Ask
	base int64 // µs of Unix time of the first start not before Now and Ready
	forward0, modulus,
	wanted int64 // µs: forward of that start, the dial, the wanted error
	now time.Time
}

func micros(s float64) int64 { return int64(math.Round(s * 1e6)) }

// modulo returns a mod m in [0, m).
func modulo(a, m int64) int64 { return ((a % m) + m) % m }

func newGrid(a Ask) grid {
	g := grid{ask: a, modulus: micros(a.Dial.Modulus()), wanted: micros(a.WantedS)}
	g.now = a.Now.Round(0).UTC().Truncate(time.Microsecond)
	at := g.now.Add(a.Ready)
	// Ready is SI time: a leap second on the way lets UTC come a second less far.
	ready := at.UnixMicro() - int64(timescale.LeapSeconds(g.now, at))*1e6
	g.base = ready + modulo(micros(a.SecondS)-g.wanted-ready, minuteMicros)
	g.forward0 = modulo(g.base+g.wanted-micros(a.HandsS), g.modulus)
	return g
}

// start returns the start k minutes after the first.
func (g grid) start(k int64) time.Time { return time.UnixMicro(g.base + k*minuteMicros).UTC() }

// forward returns how far, in µs of the dial, the minute hand is turned for it.
func (g grid) forward(k int64) int64 { return modulo(g.forward0+k*minuteMicros, g.modulus) }

// inTime tells whether the hands can be turned before it.
func (g grid) inTime(k int64) bool {
	turning := time.Duration(math.Ceil(float64(g.ask.Turn) * float64(g.forward(k)) / 3600e6))
	return timescale.Elapsed(g.now, g.start(k)) >= g.ask.Ready+turning
}

// first returns the first start that will do. One always does: once in a turn
// of the dial the hands need less than a minute, which takes less than a
// minute while a turn takes less than an hour.
func (g grid) first(will func(k int64) bool) int64 {
	k := int64(0)
	for !will(k) && k < 4*g.modulus/minuteMicros {
		k++
	}
	return k
}

func (g grid) plan(k int64) Plan {
	start := g.start(k)
	set := modulo(start.UnixMicro()+g.wanted, g.modulus)
	forward := float64(g.forward(k)) / 1e6
	p := Plan{
		Dial: g.ask.Dial, Set: clock.DialReading(float64(set) / 1e6), Start: start, ForwardS: forward, Turns: forward / 3600,
		Wait: timescale.Elapsed(g.now, start), MinuteMark: int(set / minuteMicros % 60), BetweenMarks: float64(set%minuteMicros) / minuteMicros,
		WantedS: g.ask.WantedS,
	}
	if off := g.ask.off(); math.Abs(off) > agreeS {
		where := "behind"
		if off > 0 {
			where = "ahead of"
		}
		p.Remarks = append(p.Remarks, fmt.Sprintf("the minute hand rests %.3g of a minute %s where the seconds hand says; set as planned, the two agree again", math.Abs(off)/60, where))
	}
	return p
}

// off returns how far the minute hand rests ahead of where the seconds hand
// says, in s of the dial, in (-30, 30].
func (r Rest) off() float64 {
	off := math.Mod(r.HandsS-r.SecondS, 60)
	switch {
	case off > 30:
		off -= 60
	case off <= -30:
		off += 60
	}
	return off
}

// nearLeapSecond tells whether a start would lie within a minute of a leap
// second, when servers, signals and listeners differ by a second.
func nearLeapSecond(at time.Time) bool {
	return timescale.LeapSeconds(at.Add(-time.Minute), at.Add(time.Minute-time.Microsecond)) != 0
}
