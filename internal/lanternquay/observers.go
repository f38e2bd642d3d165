package lanternquay

import (
	"math"
	"math/rand/v2"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/observe"
)

// benchTelephone is what the workshop taps on.
const benchTelephone = "bench telephone"

// beatS is the beat of the exercise, s.
const beatS = 0.5

// observers writes the exercises by which those who compare at the quay were
// measured.
func (q *quay) observers() []chronometer.Entry {
	rng := rand.New(rand.NewPCG(seed, 1<<32))
	var all []chronometer.Entry
	for n, o := range []struct {
		name        string
		sense       chronometer.Sense
		lag, spread float64 // s
		daysAgo     float64
	}{
		{keeper, chronometer.Seen, -0.031, 0.022, 61}, {keeper, chronometer.Heard, -0.044, 0.019, 61},
		{benchHand, chronometer.Seen, -0.012, 0.028, 40}, {learner, chronometer.Seen, -0.066, 0.041, 12},
	} {
		e := chronometer.Equation{Observer: o.name, Device: benchTelephone, Sense: o.sense, BeatS: beatS}
		wandering := 0.0
		for range 30 {
			wandering = 0.4*wandering + math.Sqrt(1-0.4*0.4)*o.spread*rng.NormFloat64()
			e.TapsS = append(e.TapsS, math.Round(1e4*(o.lag+wandering))/1e4)
		}
		m, err := observe.Measure(beatS, e.TapsS)
		if err != nil {
			continue // thirty such taps always measure one; a test counts them
		}
		e.LagS, e.LagSDS, e.ScatterS = m.LagS, m.SDS, m.ScatterS
		at := q.now.Add(-time.Duration(o.daysAgo * 24 * float64(time.Hour))).Add(time.Duration(n) * 4 * time.Minute)
		id := newID(at, rng)
		subject := id
		if n == 1 { // the keeper's second sense, in the same logbook
			subject = all[0].Subject
		}
		all = append(all, chronometer.Entry{ID: id, Subject: subject, At: at, Written: at, By: o.name, Fact: e})
	}
	return all
}

// Standing is how well UTC was known at the quay at one instant.
type Standing struct {
	At      time.Time
	OffsetS float64
	BoundS  float64
	Source  string
}

// Standings returns how well UTC was known in the week before now, every ten
// minutes: three servers that agree, but for one night without a network.
func Standings(now time.Time) []Standing {
	rng := rand.New(rand.NewPCG(seed, 2<<32))
	const (
		every     = 10 * time.Minute
		days      = 7
		nightFrom = 2*24*60 + 14*60 // minutes from the beginning
		nightTo   = nightFrom + 9*60
		perSecond = 15e-6 // RFC 5905, 7.2
	)
	var all []Standing
	from := now.UTC().Add(-days * 24 * time.Hour).Truncate(every)
	offset, last := -0.012, 0.006
	for at := from; at.Before(now.Add(-every)); at = at.Add(every) {
		minutes := int(at.Sub(from).Minutes())
		offset += 0.0004 * rng.NormFloat64()
		s := Standing{At: at, OffsetS: offset, Source: "three servers agree"}
		if minutes >= nightFrom && minutes < nightTo {
			last += every.Seconds() * perSecond
			s.Source = "three servers agreed before the network failed"
		} else {
			last = 0.005 + 0.002*rng.Float64() + 0.006*math.Pow(rng.Float64(), 6)
		}
		s.BoundS = last
		all = append(all, s)
	}
	return all
}
