package journey

import (
	"math"
	"time"

	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// The chances of a false alarm, whatever the number of times somebody asks. They
// add up to AlarmsAtMost.
const (
	ChangeAlarms = 0.045  // "rate changed" of a journey that changed nothing
	JumpAlarms   = 0.0025 // a jump of the error over a journey without one
	GrowthAlarms = 0.0025 // "growing loss" of an instrument whose rate only wanders
	AlarmsAtMost = ChangeAlarms + JumpAlarms + GrowthAlarms
)

// lookDays are the days after arrival on which change and jump are judged; on
// one of them, the main one, nearly all of the chance of a false alarm is
// spent, and the same little on each of the others.
var lookDays = [...]int{5, 7, 10, 14, 21, 30}

const (
	mainShare  = 0.88
	otherShare = (1 - mainShare) / float64(len(lookDays)-1)
	mainAlpha  = mainShare * ChangeAlarms
)

// usualMain is the main day of an instrument that wanders too much for any: a
// fortnight tells nearly all that there is to learn of a rate.
const usualMain = 14

// The numbers of comparisons without which a look is put off: with fewer, a
// misreading may be taken for a change, or three for a loss that grows.
const (
	leastLook   = 4
	leastGrowth = 8
)

// growthDays are the days on which a growing loss is judged, with equal shares.
var growthDays = [...]int{14, 21, 30, 60, 90}

// look is a verdict to be given from the first n comparisons after arrival.
type look struct {
	day   int     // after arrival, the last one if it is several
	share float64 // of the chances of a false alarm
	n     int     // 0: not yet reached
	main  bool
}

// chance returns how many of unharmed journeys show a p as small at this or any
// other look: P(any look has p < share·x) ≤ Σ share·x = x.
func (l look) chance(p float64) float64 {
	if !(l.share > 0) {
		return 1
	}
	return math.Min(1, p/l.share)
}

// mainDay returns the first planned day on which daily comparisons let a change
// of rate be seen with 80% power. It rests on what was known before the journey
// alone, so that the plan does not follow what is found.
func mainDay(before []float64, gap, sd float64, q statespace.Noise, change float64) int {
	wanted := change / seen(mainAlpha)
	last := before[len(before)-1]
	for _, day := range lookDays {
		if changeSD(before, days(last+gap, day), sd, q) <= wanted {
			return day
		}
	}
	return usualMain
}

// looks returns the planned looks in order of the days, with how many of the
// comparisons at the instants after each of them takes in; without a main day
// they share alike. A look takes in all
// up to the first one that is made half a day before its day or later and is at
// least the least-th. Looks at the same comparisons are one, with their shares
// together.
func looks(planned []int, main, least int, arrived time.Time, after []time.Time) []look {
	var all []look
	for _, day := range planned {
		l := look{day: day, share: 1 / float64(len(planned))}
		if main > 0 {
			l.share = otherShare
			if l.main = day == main; l.main {
				l.share = mainShare
			}
		}
		for i, at := range after {
			if i+1 >= least && timescale.Days(arrived, at) >= float64(day)-0.5 {
				l.n = i + 1
				break
			}
		}
		if k := len(all) - 1; k >= 0 && l.n > 0 && all[k].n == l.n {
			all[k] = look{day: day, share: all[k].share + l.share, n: l.n, main: all[k].main || l.main}
			continue
		}
		all = append(all, l)
	}
	return all
}

// reached returns the last look whose comparisons are made.
func reached(all []look) (look, bool) {
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].n > 0 {
			return all[i], true
		}
	}
	return look{}, false
}
