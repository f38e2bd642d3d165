package adjust

import (
	"math"
	"slices"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/regulating"
	"timeball/internal/statespace"
	"timeball/internal/workshop"
)

// Regulating is what the turnings of an instrument have done and what to turn
// next.
type Regulating struct {
	Part      regulating.Part
	Parts     []regulating.Part // that were turned before, in the order of the logbook
	Turnings  []regulating.Turning
	Entries   []chronometer.Entry // of the turnings, in the same order
	Effect    regulating.Effect
	Wish      regulating.Wish
	Now       regulating.Estimate // the rate now, s/d, as the advice takes it
	RateKnown bool
	Why       string            // why the rate is not known, in words
	Advice    regulating.Advice // says nothing unless RateKnown
	Weights   *Weights          // nil unless weights of the rim were moved or the temperature law is known
}

// Weights is the same for the weights of the rim and the temperature.
type Weights struct {
	Movements []regulating.Movement
	Effect    regulating.Effect
	Now       regulating.Estimate // s/d per °C
	Wish      regulating.Wish
	Advice    regulating.Advice
}

// Regulate returns what the turnings of an instrument have done, and what to
// turn of a part for a wish; an empty part is the one turned last, or the timing
// screws.
func Regulate(seen workshop.Seen, part regulating.Part, wish regulating.Wish) Regulating {
	r := Regulating{Part: part, Wish: wish}
	h := workshop.History(seen.Instrument.ClockDial(), seen.Logbook)
	entries := seen.Logbook.Standing()
	var services []regulating.Turning
	for _, e := range entries {
		if w, ok := e.Fact.(chronometer.WorkDone); ok && w.Service {
			services = append(services, regulating.Turning{At: e.At, Part: regulating.Other})
		}
		f, ok := e.Fact.(chronometer.Regulated)
		if !ok {
			continue
		}
		t := regulating.Turning{At: e.At, Part: partOf(f.Part), Alone: f.Alone}
		t.TurnsOut, t.TurnsKnown = f.TurnsOut()
		t.Before, t.After = beside(seen, h, e.At)
		t.HeardBefore, t.HeardAfter = heardBeside(entries, e.At)
		r.Turnings, r.Entries = append(r.Turnings, t), append(r.Entries, e)
		r.turned(t.Part)
	}
	if r.Part == "" {
		r.Part = regulating.TimingScrews
		for _, p := range r.Parts {
			if p == regulating.TimingScrews || p == regulating.TimingNuts {
				r.Part = p
			}
		}
	}
	model := regulating.Usual(r.Part)
	model.Noise = measuring(seen).Noise
	// Services come behind, so that an index stays that of a turning.
	r.Effect = regulating.Learn(r.Part, append(slices.Clone(r.Turnings), services...), model)
	r.Now, r.RateKnown, r.Why = rateNow(seen)
	if r.RateKnown {
		r.Advice = regulating.Advise(r.Now, r.Effect, wish, measuring(seen))
	}
	r.Weights = weights(seen, r.Turnings)
	return r
}

func (r *Regulating) turned(p regulating.Part) {
	for _, known := range r.Parts {
		if known == p {
			return
		}
	}
	r.Parts = append(r.Parts, p)
}

// partOf returns a part of the logbook as one that can be learnt about.
func partOf(p chronometer.Part) regulating.Part {
	if p == "" {
		return regulating.Other
	}
	return regulating.Part(p)
}

// listenedWithin is how far from a turning a listening belongs to it.
const listenedWithin = 24 * time.Hour

// heardBeside returns the last rate heard before an instant and the first
// after, within a day of it and with no other turning between.
func heardBeside(entries []chronometer.Entry, at time.Time) (before, after *regulating.Heard) {
	for _, e := range entries {
		switch f := e.Fact.(type) {
		case chronometer.Regulated:
			if e.At.Before(at) {
				before = nil
			}
			if e.At.After(at) {
				return before, after
			}
		case chronometer.Listened:
			if e.At.Sub(at).Abs() > listenedWithin {
				continue
			}
			sd := f.RecordingSDSPerDay
			if sd == 0 {
				sd = f.RateSDSPerDay
			}
			h := &regulating.Heard{At: e.At, RateSPerDay: f.RateSPerDay, RecordingSDS: sd, DurationS: f.DurationS, Device: f.Microphone}
			if e.At.Before(at) {
				before = h
			} else if after == nil {
				after = h
			}
		}
	}
	return before, after
}

// rateNow returns the rate that a turning would alter.
func rateNow(seen workshop.Seen) (regulating.Estimate, bool, string) {
	switch r := seen.Rating; {
	case r == nil:
		return regulating.Estimate{}, false, seen.Why
	case !r.KnownUntil.IsZero():
		return regulating.Estimate{}, false, "it was not compared since " + r.KnownUntil.Format("2 January 2006") + ", when its rate was broken off"
	default:
		return regulating.Estimate{Mean: r.RateNow.Mean, SD: r.RateNow.SD, Lo95: r.RateNow.Lo95, Hi95: r.RateNow.Hi95}, true, ""
	}
}

// measuring returns how the rate of an instrument is measured.
func measuring(seen workshop.Seen) regulating.Measuring {
	m := regulating.Measuring{BeatS: seen.Instrument.Beat.Seconds(), Noise: usualNoise, ReadingSDS: usualReadingSDS}
	if r := seen.Rating; r != nil {
		m.Noise = statespace.Noise{SigmaW: r.Noise.SigmaW, SigmaR: r.Noise.SigmaR}
		m.ReadingSDS = r.Noise.SDS * r.Noise.Kappa
	}
	return m
}

// usualNoise and usualReadingSDS are taken for an instrument that is not rated
// yet: the middle of what the rating takes for any.
var usualNoise = statespace.Noise{SigmaW: 0.2, SigmaR: 0.026}

const usualReadingSDS = 0.1 // s

// weights returns what the weights of the rim have done to the temperature
// coefficient; nil if nothing of either is known.
func weights(seen workshop.Seen, turnings []regulating.Turning) *Weights {
	w := Weights{Wish: regulating.UsualWeightsWish()}
	coefficients := trialCoefficients(seen)
	for _, t := range turnings {
		if t.Part != regulating.RimWeights {
			continue
		}
		m := regulating.Movement{At: t.At, MMToEnds: t.TurnsOut, Known: t.TurnsKnown, Alone: t.Alone}
		for i, c := range coefficients {
			if c.To.Before(t.At) {
				m.Before = &coefficients[i]
			} else if c.From.After(t.At) && m.After == nil {
				m.After = &coefficients[i]
			}
		}
		w.Movements = append(w.Movements, m)
	}
	if len(coefficients)+len(w.Movements) == 0 {
		return nil
	}
	w.Effect = regulating.Compensation(w.Movements, regulating.UsualCompensation())
	if n := len(coefficients); n > 0 {
		c := coefficients[n-1]
		half := 1.96 * c.SDSPerDayPerC
		w.Now = regulating.Estimate{Mean: c.SPerDayPerC, SD: c.SDSPerDayPerC, Lo95: c.SPerDayPerC - half, Hi95: c.SPerDayPerC + half}
		w.Advice = regulating.AdviseWeights(w.Now, w.Effect, w.Wish)
	}
	return &w
}

// trialCoefficients returns the temperature coefficient of each trial that told
// one, oldest first.
func trialCoefficients(seen workshop.Seen) []regulating.Coefficient {
	trials, err := Follow(seen)
	if err != nil {
		return nil // the page of trials says which programme cannot be read
	}
	var all []regulating.Coefficient
	for _, t := range trials {
		l := t.Result.Law
		if l == nil || t.Course.Start == nil || !(l.Linear.SD > 0) || math.IsInf(l.Linear.SD, 0) {
			continue
		}
		n := len(t.Course.Readings)
		// The slope at the middle of the temperatures, so that a curved law is
		// compared at the same place.
		slope := l.Linear.Mean + 2*l.Quadratic.Mean*((l.FromC+l.ToC)/2-l.AboutC)
		all = append(all, regulating.Coefficient{From: t.Course.Start.At, To: t.Course.Readings[n-1].At, SPerDayPerC: slope, SDSPerDayPerC: l.Linear.SD})
	}
	return all
}
