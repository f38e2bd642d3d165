package simulate

import (
	"math"
	"math/rand/v2"
)

// History is a record of comparisons and the truth behind it. The slices of
// readings have one length.
type History struct {
	TDays    []float64 // SI days since the first reading
	ErrorS   []float64 // as read, s
	SDS      []float64 // stated standard deviation, s
	TempC    []float64 // as read, °C; nil if no thermometer was read
	Blunder  []bool    // the reading was misread
	BlunderS []float64 // by how much, s
	Events   []Event   // in order of time
	Truth    Truth
}

// The kinds of Event.
const (
	Stopped = "stopped"
	Carried = "carried"
	Started = "started"
)

// Event is something done to the instrument of a History.
type Event struct {
	TDays float64
	Kind  string // Stopped, Carried or Started
}

// Horizons are the days after the last reading of Truth.AheadS.
var Horizons = [...]float64{1, 7, 30, 60}

// Truth is what a History hides.
type Truth struct {
	Noise     Noise
	Linear    float64                // s/d/°C, about ReferenceC
	Quadratic float64                // s/d/°C²
	ErrorS    []float64              // at the readings, s
	AheadS    [len(Horizons)]float64 // Horizons after the last reading, s
	Rate      float64                // at the last reading and ReferenceC, s/d
	// RateLately is Rate at the mean temperature recorded in the last ten
	// days, or Rate if no thermometer was read.
	RateLately float64
	RateChange float64 // at the carriage, s/d
}

// going is the state of a history while it is made.
type going struct {
	rng       *rand.Rand
	truth     *Truth
	room      Thermogram
	day       float64
	errorS, r float64
}

// to carries the going on to a later day.
func (g *going) to(day float64) {
	u, u2 := g.room.Excess(g.day, day)
	e, r := g.truth.Noise.Step(g.rng, g.errorS, g.r, day-g.day)
	g.errorS, g.r, g.day = e+g.truth.Linear*u+g.truth.Quadratic*u2, r, day
}

// read adds a reading at the present day with a scatter of sd and a misreading.
func (g *going) read(h *History, sd, blunder float64) {
	h.TDays = append(h.TDays, g.day)
	h.ErrorS = append(h.ErrorS, g.errorS+sd*g.rng.NormFloat64()+blunder)
	h.SDS = append(h.SDS, sd)
	h.Blunder = append(h.Blunder, blunder != 0)
	h.BlunderS = append(h.BlunderS, blunder)
	h.Truth.ErrorS = append(h.Truth.ErrorS, g.errorS)
}

// finish writes the truth at and after the last reading.
func (g *going) finish(h *History) {
	last := g.day
	g.truth.Rate, g.truth.RateLately = g.r, g.r
	if len(h.TempC) > 0 {
		sum, n := 0.0, 0.0
		for i, day := range h.TDays {
			if day > last-10 {
				sum, n = sum+h.TempC[i], n+1
			}
		}
		u := sum/n - ReferenceC
		g.truth.RateLately += g.truth.Linear*u + g.truth.Quadratic*u*u
	}
	for i, ahead := range Horizons {
		g.to(last + ahead)
		g.truth.AheadS[i] = g.errorS
	}
}

// begin returns a history and its going, with an error of some 20 s and a
// losing rate, as instruments arrive.
func begin(rng *rand.Rand, n Noise) (*History, *going) {
	h := &History{Truth: Truth{Noise: n}}
	return h, &going{rng: rng, truth: &h.Truth, errorS: 20 * rng.NormFloat64(), r: -0.7 + 0.8*rng.NormFloat64()}
}

// UsualMix returns a history of an ordinary instrument at one temperature: 10
// to 60 days, a fifth of the comparisons missed, none misread.
func UsualMix(rng *rand.Rand) History { return mix(rng, false) }

// WorkshopMix returns a history as UsualMix does, in a room whose temperature
// moves and is read, with two readings in a hundred misread.
func WorkshopMix(rng *rand.Rand) History { return mix(rng, true) }

func mix(rng *rand.Rand, workshop bool) History {
	days := int(math.Round(logUniform(rng, 10, 60)))
	sd := []float64{0.02, 0.1, 0.3}[rng.IntN(3)]
	h, g := begin(rng, Noise{SigmaW: logUniform(rng, 0.1, 0.3), SigmaR: logUniform(rng, 0.01, 0.05)})
	if workshop {
		g.truth.Linear = 0.03 * rng.NormFloat64()
		g.truth.Quadratic = -0.008 + 0.004*rng.NormFloat64()
		g.room = Room{
			MeanC: 20 + 1.5*rng.NormFloat64(), SeasonC: 4, PhaseRad: 2 * math.Pi * rng.Float64(), WeatherC: 1.2, MemoryDays: 3,
		}.Record(rng, float64(days)+Horizons[len(Horizons)-1]+1)
	}
	first := 0.04 * rng.NormFloat64()
	for day := range days {
		if day > 0 && day < days-1 && rng.Float64() < 0.2 {
			continue
		}
		if day > 0 {
			g.to(float64(day) + 0.04*rng.NormFloat64() - first)
		}
		blunder := 0.0
		if workshop {
			if rng.Float64() < 0.02 {
				blunder = misreading(rng)
			}
			h.TempC = append(h.TempC, g.room.At(g.day)+0.2*rng.NormFloat64())
		}
		g.read(h, sd, blunder)
	}
	g.finish(h)
	return *h
}

// misreading returns the size of a blunder in s: half are a whole minute, a
// fifth half a second, a tenth each one second, ten seconds and anything.
func misreading(rng *rand.Rand) float64 {
	kind := rng.Float64()
	if kind >= 0.9 {
		return 20 * rng.NormFloat64()
	}
	size := 10.0
	switch {
	case kind < 0.5:
		size = 60
	case kind < 0.7:
		size = 0.5
	case kind < 0.8:
		size = 1
	}
	if rng.IntN(2) == 0 {
		return -size
	}
	return size
}

// Clean30 returns thirty daily comparisons of 0.1 s of an instrument of noise
// 0.2 and 0.02.
func Clean30(rng *rand.Rand) History { return regular(rng, ordinary, 30, 1, 0.1) }

// Short10 returns ten daily comparisons as Clean30 does.
func Short10(rng *rand.Rand) History { return regular(rng, ordinary, 10, 1, 0.1) }

// Weekly52 returns a year of weekly comparisons of 0.3 s of the same kind of
// instrument.
func Weekly52(rng *rand.Rand) History { return regular(rng, ordinary, 52, 7, 0.3) }

var ordinary = Noise{SigmaW: 0.2, SigmaR: 0.02}

func regular(rng *rand.Rand, n Noise, readings int, everyDays, sd float64) History {
	h, g := begin(rng, n)
	for i := range readings {
		g.to(float64(i) * everyDays)
		g.read(h, sd, 0)
	}
	g.finish(h)
	return *h
}

// CarriageCase describes an instrument that is rated, stopped, carried,
// started and rated again.
type CarriageCase struct {
	Noise      Noise
	SDS        float64 // of each comparison, s
	Each       int     // daily comparisons on each side, at least 1
	GapDays    float64 // from the last one before to the first one after
	RateChange float64 // s/d
}

// Carriage returns the history of the case. It stands still from a quarter to
// three quarters of the gap, is carried half-way, and is started within 20 s
// of UTC; its rate wanders on meanwhile, as it would have done going.
func Carriage(rng *rand.Rand, c CarriageCase) History {
	h, g := begin(rng, c.Noise)
	g.truth.RateChange = c.RateChange
	rate := func() {
		from := g.day
		for i := range max(c.Each, 1) {
			g.to(from + float64(i))
			g.read(h, c.SDS, 0)
		}
	}
	rate()
	last := g.day
	for i, kind := range []string{Stopped, Carried, Started} {
		g.to(last + c.GapDays*float64(i+1)/4)
		h.Events = append(h.Events, Event{TDays: g.day, Kind: kind})
	}
	g.r += c.RateChange
	g.errorS = 20 * rng.NormFloat64()
	g.to(last + c.GapDays)
	rate()
	g.finish(h)
	return *h
}
