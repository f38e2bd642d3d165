package sound

import (
	"math"
	"math/rand/v2"
)

// Chronometer is an instrument that is heard. A zero field has the value its
// comment names, so that Chronometer{} is a half-second box chronometer with a
// spring detent and no faults but the scatter of its levels.
type Chronometer struct {
	PeriodS    float64 // nominal oscillation, s; 0: 0.5
	RatePerDay float64 // s/d, positive gaining: the true period is PeriodS/(1+RatePerDay/86400)
	Lever      bool    // two near-equal beats an oscillation; false: one loud beat and one faint tick

	Teeth     int     // of the escape wheel; 0: 15
	PatternS  float64 // what the teeth add to the beats, rms over a turn, s
	Eccentric bool    // the pattern is one sine a turn; false: at random from tooth to tooth

	JitterS    float64 // white scatter of each beat, rms, s
	WanderS    float64 // random walk of the beats, rms step per oscillation, s
	SubJitterS float64 // white scatter of every event within a beat, rms, s; 0: 5 µs, negative: none
	LevelShare float64 // scatter of the level from beat to beat; 0: 0.1, negative: none

	// The delay from unlocking to drop follows from these by DropDelay; if
	// AmplitudeDeg is 0, the delays are fixed.
	AmplitudeDeg float64 // half the total arc
	LiftDeg      float64 // 0: 40, or 50 of a lever
	UnlockDeg    float64 // where it unlocks when in beat; of a lever 0 is half the lift before rest

	// AmplitudeAt, if not nil, is the amplitude in degrees at s of true time
	// after the start. It stands where that does not reach through the lift.
	AmplitudeAt func(s float64) float64
	StopsS      float64 // it stands from this true time after the start, s; 0: never

	FaintDB      float64 // the passing tick below the loud beat, dB; 0: 25, +Inf: none
	OutOfBeatDeg float64 // by which unlocking and passing are shifted together
	PhaseS       float64 // true time of the first loud unlocking after the start, s
	GainDB       float64 // level; only the difference from the first instrument counts
	MissingShare float64 // share of the beats that do not sound
}

// usualAmplitudeDeg places the tick of an instrument whose amplitude is not said.
const usualAmplitudeDeg = 225

// full returns the chronometer with every zero field replaced.
func (c Chronometer) full() Chronometer {
	or := func(v *float64, usual float64) {
		switch {
		case *v == 0:
			*v = usual
		case *v < 0:
			*v = 0
		}
	}
	or(&c.PeriodS, 0.5)
	or(&c.SubJitterS, 5e-6)
	or(&c.LevelShare, 0.1)
	if c.Teeth <= 0 {
		c.Teeth = 15
	}
	if c.LiftDeg == 0 {
		c.LiftDeg = 40
		if c.Lever {
			c.LiftDeg = 50
		}
	}
	if c.Lever && c.UnlockDeg == 0 {
		c.UnlockDeg = -c.LiftDeg / 2
	}
	if c.FaintDB == 0 {
		c.FaintDB = 25
	}
	if c.StopsS == 0 {
		c.StopsS = math.Inf(1)
	}
	return c
}

// TruePeriodS returns the true mean period of an oscillation in s.
func (c Chronometer) TruePeriodS() float64 {
	return c.full().PeriodS / (1 + c.RatePerDay/86400)
}

// BeatsPerOscillation returns 2 for a lever and 1 for a detent, whose passing
// tick is not a beat.
func (c Chronometer) BeatsPerOscillation() int {
	if c.Lever {
		return 2
	}
	return 1
}

// Delays returns the time from unlocking to drop and the OutOfBeat, both in s,
// at a true time in s after the start; ok is false if it does not go.
func (c Chronometer) Delays(s float64) (dropS, outOfBeatS float64, ok bool) {
	c = c.full()
	_, drop, _, outOfBeat, ok := c.at(s)
	return drop, outOfBeat, ok && s < c.StopsS
}

// at returns the delays from unlocking to impulse, drop and locking, and the
// OutOfBeat, all in s, at a true time after the start; ok is false if the
// balance does not reach through the lift.
func (c Chronometer) at(s float64) (impulse, drop, lock, outOfBeat float64, ok bool) {
	a := c.AmplitudeDeg
	if c.AmplitudeAt != nil {
		a = c.AmplitudeAt(s)
	}
	u, v := c.UnlockDeg+c.OutOfBeatDeg, c.OutOfBeatDeg-c.UnlockDeg
	impulse, drop = 4.2e-3, 14.5e-3
	if c.Lever {
		impulse, drop = 4e-3, 10.5e-3
	}
	if a != 0 || c.AmplitudeAt != nil {
		of := impulse / drop
		drop = DropDelay(c.PeriodS, a, c.LiftDeg, u)
		impulse = of * drop
	} else {
		a = usualAmplitudeDeg
	}
	outOfBeat = OutOfBeat(c.PeriodS, a, u, v)
	return impulse, drop, drop + 1.8e-3, outOfBeat, a > 0 && !math.IsNaN(drop) && !math.IsNaN(outOfBeat)
}

// event is one sound of a beat.
type event struct {
	partials []partial
	level    float64
}

// The events of a beat: unlocking, impulse, drop and, of a detent, its return.
var (
	detentBeat = []event{
		{[]partial{{6100, 0.4e-3, 1}, {3300, 0.6e-3, 0.6}}, 0.22},
		{[]partial{{4700, 0.5e-3, 1}, {8200, 0.3e-3, 0.6}}, 0.35},
		{[]partial{{5200, 1.0e-3, 1}, {7600, 0.6e-3, 0.8}, {2400, 1.5e-3, 0.35}}, 1},
		{[]partial{{3900, 0.8e-3, 1}}, 0.30},
	}
	passingTick = []event{{[]partial{{4400, 0.5e-3, 1}}, 1}}
	leverTick   = []event{
		{[]partial{{7000, 0.4e-3, 1}, {4200, 0.6e-3, 0.6}}, 0.30},
		{[]partial{{5500, 0.4e-3, 1}, {9000, 0.3e-3, 0.6}}, 0.45},
		{[]partial{{6300, 0.8e-3, 1}, {8400, 0.5e-3, 0.6}, {3100, 1.2e-3, 0.35}}, 1},
	}
	leverTock = []event{
		{[]partial{{6700, 0.4e-3, 1}, {4400, 0.6e-3, 0.6}}, 0.27},
		{[]partial{{5300, 0.4e-3, 1}, {9300, 0.3e-3, 0.6}}, 0.42},
		{[]partial{{6000, 0.8e-3, 1}, {8700, 0.5e-3, 0.6}, {3300, 1.2e-3, 0.35}}, 0.92},
	}
)

// transform returns the Fourier transform of the event at the angular
// frequency w, at the level of its partials.
func (e event) transform(w float64) complex128 {
	sum := complex(0, 0)
	for _, p := range e.partials {
		sum += p.transform(w)
	}
	return sum
}

// lastsS returns when less than 1e-6 of the event is left.
func (e event) lastsS() float64 {
	longest := 0.0
	for _, p := range e.partials {
		longest = max(longest, p.decayS)
	}
	return 14 * longest
}

// knocks tabulates events, each with its own peak brought to its level.
func knocks(rateHz float64, echo bool, events []event) []*knock {
	all := make([]*knock, len(events))
	for i, e := range events {
		k := newKnock(rateHz, e.lastsS(), echo, e.transform)
		k.scale(e.level / k.peak())
		all[i] = k
	}
	return all
}

// sounding is a chronometer while it is heard.
type sounding struct {
	Chronometer
	rng       *rand.Rand
	periodS   float64
	level     float64
	loud      []*knock // the beat of the outward swing
	back      []*knock // the sound of the return swing
	pattern   []float64
	k         int     // the next oscillation
	wanderedS float64 // by now
}

func newSounding(rng *rand.Rand, rateHz float64, echo bool, c Chronometer, firstDB float64) *sounding {
	c = c.full()
	s := &sounding{Chronometer: c, rng: rng, periodS: c.TruePeriodS(), level: math.Pow(10, (c.GainDB-firstDB)/20)}
	switch {
	case c.Lever:
		s.loud, s.back = knocks(rateHz, echo, leverTick), knocks(rateHz, echo, leverTock)
	default:
		s.loud = knocks(rateHz, echo, detentBeat)
		if !math.IsInf(c.FaintDB, 1) {
			s.back = knocks(rateHz, echo, passingTick)
			s.back[0].scale(math.Pow(10, -c.FaintDB/20))
		}
	}
	s.pattern = pattern(rng, c)
	return s
}

// pattern returns what each tooth adds to its beat in s, of mean 0 and the
// stated rms.
func pattern(rng *rand.Rand, c Chronometer) []float64 {
	p := make([]float64, c.Teeth)
	mean, square := 0.0, 0.0
	phase := 2 * math.Pi * rng.Float64()
	for i := range p {
		p[i] = rng.NormFloat64()
		if c.Eccentric {
			p[i] = math.Sin(phase + 2*math.Pi*float64(i)/float64(c.Teeth))
		}
		mean += p[i] / float64(c.Teeth)
	}
	for i := range p {
		p[i] -= mean
		square += p[i] * p[i]
	}
	for i := range p {
		if square > 0 {
			p[i] *= c.PatternS * math.Sqrt(float64(c.Teeth)/square)
		}
	}
	return p
}

// beat is a loud unlocking: its number, counted through beats that did not
// sound, and its true time in s.
type beat struct {
	number int
	trueS  float64
}

// before puts every sound of the oscillations that begin before the true time
// untilS into sum by place, which turns a true time in s into a sample of sum,
// and appends the beats that sounded.
func (s *sounding) before(untilS float64, sum []float64, place func(trueS float64) float64, beats []beat) []beat {
	for {
		base := s.PhaseS + float64(s.k)*s.periodS + s.wanderedS
		if base >= untilS {
			return beats
		}
		impulse, drop, lock, outOfBeat, going := s.at(base)
		tooth := s.pattern[s.k%s.Teeth]
		unlock := base + s.JitterS*s.rng.NormFloat64() + tooth
		sounds := going && unlock < s.StopsS
		strike := func(from float64, parts []*knock, level float64) {
			level *= s.level * max(0.1, 1+s.LevelShare*s.rng.NormFloat64())
			for i, part := range parts {
				at := from + [...]float64{0, impulse, drop, lock}[i] + s.SubJitterS*s.rng.NormFloat64()
				part.add(sum, place(at), level)
			}
		}
		missed := s.rng.Float64() < s.MissingShare
		if sounds && !missed {
			strike(unlock, s.loud, 1)
			beats = append(beats, beat{s.k * s.BeatsPerOscillation(), unlock})
		}
		// A lever's pallets span two and a half teeth.
		half := base + s.periodS/2 - outOfBeat + s.JitterS*s.rng.NormFloat64()
		if s.Lever {
			half += s.pattern[(s.k+2)%s.Teeth]
			missed = s.rng.Float64() < s.MissingShare
		}
		if sounds && !missed && len(s.back) > 0 && half < s.StopsS {
			strike(half, s.back, 1)
			if s.Lever {
				beats = append(beats, beat{2*s.k + 1, half})
			}
		}
		s.wanderedS += s.WanderS * s.rng.NormFloat64()
		s.k++
	}
}
