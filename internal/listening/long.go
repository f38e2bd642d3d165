package listening

import (
	"math"

	"timeball/internal/beat"
	"timeball/internal/chronometer"
)

// Of long recordings.
const (
	longS      = 3600 // from which on a recording shows its course
	mostPoints = 200
	leastPiece = 300.0 // s of sound to a point of the rate
)

// long returns what a recording of hours shows, or nothing of a short one that
// has not even a pattern of teeth.
func (h Hearing) long() *chronometer.LongReading {
	var r chronometer.LongReading
	for i, t := range h.Teeth {
		r.TeethUS = append(r.TeethUS, math.Round(1e7*t)/10)
		r.TeethSDUS = math.Max(r.TeethSDUS, math.Round(1e7*h.TeethSdS[i])/10)
	}
	if r.TeethSDUS == 0 {
		r.TeethUS = nil
	}
	if h.DurationS >= longS {
		every := len(h.Swings)/mostPoints + 1
		for i := 0; i < len(h.Swings); i += every {
			s := h.Swings[i]
			r.Amplitude = append(r.Amplitude, chronometer.AmplitudeAt{H: s.AtS / 3600, Deg: math.Round(10*s.Degrees) / 10, SDDeg: math.Round(10*math.Max(0.1, h.AmplitudeSd)) / 10})
		}
		for _, p := range h.Course() {
			r.Rate = append(r.Rate, chronometer.RateAt{H: p.AtS / 3600, SPerDay: p.Rate, SDSPerDay: p.Sd})
		}
	}
	if len(r.TeethUS) == 0 && len(r.Amplitude) == 0 && len(r.Rate) == 0 {
		return nil
	}
	return &r
}

// Pace is the rate over a piece of a long recording.
type Pace struct {
	AtS, Rate, Sd float64 // s of the file; s/d, with the doubt from the recording alone
}

// Course returns the rate over the pieces of a long recording, of at least five
// minutes each, as the beats of each alone tell it.
func (h Hearing) Course() []Pace {
	if !h.Rated || h.LoudBeats == 0 || len(h.Strokes) == 0 {
		return nil
	}
	piece := math.Max(leastPiece, h.DurationS/mostPoints)
	nominal := 7200 / h.PerHour
	if math.Abs(h.PeriodS/nominal-1) > 0.02 {
		nominal = 3600 / h.PerHour
	}
	var out []Pace
	for i := 0; i < len(h.Strokes); {
		j := i
		for j < len(h.Strokes) && h.Strokes[j].AtS < h.Strokes[i].AtS+piece && h.Strokes[j].Segment == h.Strokes[i].Segment {
			j++
		}
		if p, ok := pace(h.Strokes[i:j], nominal, h.PeriodS); ok {
			p.Rate = h.Timebase.Rate(p.Rate)
			out = append(out, p)
		}
		i = max(j, i+1)
	}
	if len(out) > 2*mostPoints {
		out = out[:2*mostPoints]
	}
	return out
}

// pace returns the rate of a piece of equal weights.
func pace(s []beat.Stroke, nominal, period float64) (Pace, bool) {
	var n, sk, st, skk, skt, late2 float64
	if len(s) < 60 {
		return Pace{}, false
	}
	k0, t0 := s[len(s)/2].Number, s[len(s)/2].AtS
	for _, b := range s {
		if !b.Used {
			continue
		}
		k := float64(b.Number - k0)
		t := b.AtS - t0 - k*period
		n++
		sk += k
		st += t
		skk += k * k
		skt += k * t
	}
	d := skk - sk*sk/n
	if n < 60 || d <= 0 {
		return Pace{}, false
	}
	slope := (skt - sk*st/n) / d
	mean := (st - slope*sk) / n
	for _, b := range s {
		if b.Used {
			r := b.AtS - t0 - float64(b.Number-k0)*(period+slope) - mean
			late2 += r * r
		}
	}
	sd := math.Sqrt(late2 / (n - 2) / d)
	return Pace{AtS: t0, Rate: 86400 * (nominal/(period+slope) - 1), Sd: math.Max(1e-5, 86400*sd/period)}, true
}
