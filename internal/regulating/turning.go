package regulating

import (
	"math"
	"time"

	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// Stretch is a mean rate over a stretch of going without a turning. Next to a
// turning a fortnight says as much of the rate there as a longer one.
type Stretch struct {
	From, To    time.Time // first and last comparison
	RateSPerDay float64   // + gaining
	SDS         float64   // s/d, of the readings alone where Model.Noise is given, and of all otherwise
}

// Heard is a rate taken by ear or microphone within minutes.
type Heard struct {
	At           time.Time
	RateSPerDay  float64
	RecordingSDS float64 // s/d, of the recording without its sampling clock
	DurationS    float64
	Device       string // two listenings are compared only if they share a device
}

// Turning is one alteration of the balance with what was measured about it.
// The same Stretch may be the After of one and the Before of the next.
type Turning struct {
	At         time.Time
	Part       Part
	TurnsOut   float64 // of each of the pair: + out (slower), − in; mm toward the free ends for weights
	TurnsKnown bool    // a number was written
	Alone      bool    // one of the pair only

	Before, After           *Stretch // nil: not compared
	HeardBefore, HeardAfter *Heard   // nil: not heard
}

// Coefficient is a temperature coefficient measured between two movements of
// the weights.
type Coefficient struct {
	From, To      time.Time
	SPerDayPerC   float64 // s/d per °C, + gains with heat
	SDSPerDayPerC float64 // s/d per °C
}

// Movement is one movement of the weights of the rim.
type Movement struct {
	At            time.Time
	MMToEnds      float64 // of each of the pair, + toward the free ends, − away
	Known         bool    // a number was written
	Alone         bool    // one of the pair only
	Before, After *Coefficient
}

// LeftOut is a turning that says nothing of the effect, and why.
type LeftOut struct {
	Index  int // in the slice that was given
	At     time.Time
	Reason string // in words
}

// Used is a measured change that was used. If several turnings fell between the
// same two rates it is of the last of them and the turns are their sum; a
// turning both compared and heard has two.
type Used struct {
	Index    int
	Also     []int // the others that fell between the same two rates
	At       time.Time
	Heard    bool    // by two listenings, not by comparisons
	TurnsOut float64 // of both of the pair; a turn of one alone counts half
	Change   float64 // of the rate, s/d, or of the coefficient, s/d per °C
	SDS      float64 // standard deviation of Change: readings and wandering, not the hand
	Expected float64 // by the effect that was learnt
	ExpectSD float64 // standard deviation of Change less Expected, the hand included
}

// level is a measured rate or coefficient.
type level struct {
	from, to  time.Time
	value, sd float64
	wanders   bool   // a mean over days, with the noise of the instrument
	device    string // of a listening
}

// row is a measured change, level after less level before, over the turns from
// lo to hi, both included.
type row struct{ lo, hi, before, after int }

// turn is one turning as it was written.
type turn struct {
	index  int
	at     time.Time
	part   Part
	turns  float64 // of both of the pair, + out; half if one alone
	spread float64 // variance of the setting in units of Hand.SDS²
	alone  bool
	reason string // why it cannot be used, whatever was measured

	before, after           *level
	heardBefore, heardAfter *level
	faults                  []string // of what was measured
}

// changes is what was measured of one part.
type changes struct {
	levels []level
	turns  []turn // of all parts, in order of time
	rows   []row
	first  time.Time
}

// level adds a level unless it is there, and returns its index.
func (c *changes) level(l level) int {
	for i, o := range c.levels {
		if o.from.Equal(l.from) && o.to.Equal(l.to) && o.value == l.value && o.sd == l.sd && o.wanders == l.wanders && o.device == l.device {
			return i
		}
	}
	c.levels = append(c.levels, l)
	if c.first.IsZero() || l.from.Before(c.first) {
		c.first = l.from
	}
	return len(c.levels) - 1
}

// turned returns the turns of a row and the variance of their setting in units
// of Hand.SDS².
func (c *changes) turned(r row) (turns, spread float64) {
	for _, t := range c.turns[r.lo : r.hi+1] {
		turns += t.turns
		spread += t.spread
	}
	return turns, spread
}

// also returns the turnings of a row but the last.
func (c *changes) also(r row) (index []int) {
	for _, t := range c.turns[r.lo:r.hi] {
		index = append(index, t.index)
	}
	return index
}

// shared returns the variance of the setting that two rows have in common.
func (c *changes) shared(r, s row) (spread float64) {
	for k := max(r.lo, s.lo); k <= min(r.hi, s.hi); k++ {
		spread += c.turns[k].spread
	}
	return spread
}

// value returns the change that a row measured.
func (c *changes) value(r row) float64 { return c.levels[r.after].value - c.levels[r.before].value }

// levelCovariance returns the covariance of the errors of two levels. Of two
// means over stretches it is that of (x(b)−x(a))/(b−a) in the clock model,
// daily scatter and wandering in one.
func (c *changes) levelCovariance(i, j int, q statespace.Noise) float64 {
	l, m := c.levels[i], c.levels[j]
	v := 0.0
	if i == j {
		v = l.sd * l.sd
	}
	if !l.wanders || !m.wanders || q == (statespace.Noise{}) {
		return v
	}
	a, b := timescale.Days(c.first, l.from), timescale.Days(c.first, l.to)
	d, e := timescale.Days(c.first, m.from), timescale.Days(c.first, m.to)
	return v + (q.Covariance(b, e)-q.Covariance(b, d)-q.Covariance(a, e)+q.Covariance(a, d))/((b-a)*(e-d))
}

// covariance returns the covariance of the errors of two rows.
func (c *changes) covariance(r, s row, q statespace.Noise) float64 {
	return c.levelCovariance(r.after, s.after, q) - c.levelCovariance(r.after, s.before, q) -
		c.levelCovariance(r.before, s.after, q) + c.levelCovariance(r.before, s.before, q)
}

// stretch returns s as a level, or why it cannot be used.
func (s *Stretch) level() (level, string) {
	switch {
	case !finite(s.RateSPerDay) || math.Abs(s.RateSPerDay) > 86400:
		return level{}, "is no number"
	case !(s.SDS > 0) || math.IsInf(s.SDS, 0):
		return level{}, "has no doubt beside it"
	case !s.To.After(s.From):
		return level{}, "ends before it begins"
	}
	return level{from: s.From, to: s.To, value: s.RateSPerDay, sd: s.SDS, wanders: true}, ""
}

func (k *Coefficient) level() (level, string) {
	switch {
	case !finite(k.SPerDayPerC):
		return level{}, "is no number"
	case !(k.SDSPerDayPerC > 0) || math.IsInf(k.SDSPerDayPerC, 0):
		return level{}, "has no doubt beside it"
	case k.To.Before(k.From):
		return level{}, "ends before it begins"
	}
	return level{from: k.From, to: k.To, value: k.SPerDayPerC, sd: k.SDSPerDayPerC}, ""
}

func (h *Heard) level(m Model) (level, string) {
	switch {
	case !finite(h.RateSPerDay):
		return level{}, "is no number"
	case !(h.RecordingSDS > 0) || math.IsInf(h.RecordingSDS, 0):
		return level{}, "has no doubt beside it"
	}
	return level{from: h.At, to: h.At, value: h.RateSPerDay, sd: math.Hypot(h.RecordingSDS, m.HeardSDS), device: h.Device}, ""
}
