package lanternquay

import (
	"math"
	"math/rand/v2"
	"time"

	"github.com/oklog/ulid/v2"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/simulate"
)

// page is how a logbook is opened.
type page struct {
	made      chronometer.Instrument
	character simulate.Character
	air       simulate.Air
	days      float64       // before the last round, when its particulars are entered
	since     time.Duration // the last daily round came to it
}

// book writes the logbook of one instrument, and takes the simulated
// instrument through what is written.
type book struct {
	page
	now      time.Time
	rng      *rand.Rand
	inst     *simulate.Instrument
	entries  []chronometer.Entry
	by       string
	position chronometer.Position
	wound    time.Time
	hears    bool // comparisons by sound are made with the bench microphone
}

// open begins the logbook of the story that is told.
func (q *quay) open(p page) *book {
	b := &book{page: p, now: q.now, rng: rand.New(rand.NewPCG(seed, q.telling)), by: keeper}
	p.made.Notes = "Simulated for the demonstration."
	b.inst = simulate.NewInstrument(b.rng, p.character, p.air, b.ago(p.days))
	b.write(b.ago(p.days), p.made)
	return b
}

// ago returns the instant of the daily round so many days before the last one.
// Part of a day is taken off in working hours: 4.75 is two hours after the
// round of the fifth day before.
func (b *book) ago(days float64) time.Time {
	const working = 8 * time.Hour
	whole := math.Ceil(days)
	after := time.Duration((whole - days) * float64(working))
	return b.now.Add(-b.since - time.Duration(whole)*clock.Day + after).Truncate(time.Second)
}

// write adds an entry, written down within two minutes but never after now.
func (b *book) write(at time.Time, fact chronometer.Fact) chronometer.ID {
	return b.writeUp(at, at, fact)
}

// writeUp adds an entry of something that was over at an instant.
func (b *book) writeUp(at, over time.Time, fact chronometer.Fact) chronometer.ID {
	written := over.Add(time.Duration(20+b.rng.IntN(90)) * time.Second)
	if written.After(b.now) {
		written = b.now
	}
	e := chronometer.Entry{ID: newID(written, b.rng), At: at, Written: written, By: b.by, Fact: fact}
	e.Subject = e.ID
	if len(b.entries) > 0 {
		e.Subject = b.entries[0].ID
	}
	b.entries = append(b.entries, e)
	return e.ID
}

// newID returns the ULID of an instant and ten bytes of the source.
func newID(at time.Time, rng *rand.Rand) chronometer.ID {
	var u ulid.ULID
	_ = u.SetTime(ulid.Timestamp(at)) // fails only after the year 10889
	for i := 6; i < len(u); i++ {
		u[i] = byte(rng.Uint32())
	}
	return chronometer.ID(u.String())
}

func (b *book) note(at time.Time, text string) { b.write(at, chronometer.Note{Text: text}) }

func (b *book) found(at time.Time, condition string) {
	b.write(at, chronometer.Found{Condition: condition})
}

func (b *book) received(at time.Time, where chronometer.Station, condition string) {
	b.write(at, chronometer.Received{Station: where, Condition: condition})
}

// start sets it going on a signal, with the error that the hand of the starter
// leaves.
func (b *book) start(at time.Time, e clock.DialError, how string) {
	b.inst.Start(at, e)
	b.write(at, chronometer.Started{How: how})
}

func (b *book) stop(at time.Time, why string) {
	b.inst.Stop(at)
	b.write(at, chronometer.Stopped{Why: why})
}

// serviced writes the work that changed its rate, by an amount that shows only
// in the comparisons to come.
func (b *book) serviced(at time.Time, w chronometer.WorkDone, change clock.Rate) {
	w.Service = true
	b.inst.Regulate(at, change)
	b.write(at, w)
}

// regulate turns both screws or nuts out, or in if turnsOut is negative; what is
// aimed at and what comes of it differ.
func (b *book) regulate(at time.Time, part chronometer.Part, turnsOut float64, aim, got clock.Rate) {
	b.inst.Regulate(at, got)
	s, turns, way := float64(aim), math.Abs(turnsOut), chronometer.Out
	if turnsOut < 0 {
		way = chronometer.In
	}
	b.write(at, chronometer.Regulated{Part: part, Turns: &turns, Way: way, Held: true, ForS: &s})
}

// try begins a trial by a programme.
func (b *book) try(at time.Time, programme, text, note string) {
	b.write(at, chronometer.TrialBegun{Programme: programme, Text: text, Note: note})
}

func (b *book) moveHands(at time.Time, minutes clock.Advance, note string) {
	b.inst.MoveHands(at, minutes)
	b.write(at, chronometer.Moved{ByS: 60 * float64(minutes), Note: note})
}

// lay lays it somewhere in a position and reads the thermometer there.
func (b *book) lay(at time.Time, p chronometer.Position, station chronometer.Station, where string) {
	b.inst.Lay(at, string(p))
	b.position = p
	c := b.thermometer(at)
	b.write(at, chronometer.Placed{Position: p, Station: station, Where: where, TempC: &c})
}

// hold stops the balance and holds it for carriage.
func (b *book) hold(at time.Time, with chronometer.Hold, note string) {
	b.inst.Stop(at)
	b.write(at, chronometer.Held{With: with, Note: note})
}

// thermometer returns the temperature as read, °C, to a tenth.
func (b *book) thermometer(at time.Time) float64 {
	return math.Round(10*(b.inst.Temperature(at)+0.15*b.rng.NormFloat64())) / 10
}

// wind winds it fully. A two-day takes seven and a half half-turns for a day
// (common practice, no source); a watch has its crown turned to the stop.
func (b *book) wind(at time.Time) {
	w := chronometer.Wound{}
	if b.made.Make == chronometer.DeckWatch {
		w.Note = "crown, to the stop"
	}
	if h := at.Sub(b.wound).Hours(); b.wound.IsZero() {
		w.Note = "wound fully before it was set going"
	} else if h < b.made.GoingH {
		if b.made.UpDown {
			v := math.Round(h)
			w.UpDownH = &v
		}
		if b.made.Make == chronometer.BoxChronometer && b.made.WindEveryH() == 24 {
			w.HalfTurns = math.Round(2*(7.5*h/24+0.15*b.rng.NormFloat64())) / 2
		}
	}
	b.wound = at
	b.write(at, w)
}

// sighting is one way to read a dial: its standard deviation in s and the
// standard it is held against.
type sighting struct {
	sd         float64
	standard   string
	standardSD float64
}

const (
	network = "network time, three servers agreeing"
	radio   = "radio time signal"
)

// sightings are the methods in use at the quay and among its owners.
var sightings = map[chronometer.Method]sighting{
	chronometer.ByTap:       {0.05, network, 0.004},
	chronometer.BySound:     {0.02, network, 0.004},
	chronometer.EyeAndEar:   {0.15, network, 0.004},
	chronometer.ByEye:       {0.25, network, 0.004},
	chronometer.ByRadio:     {0.3, radio, 0.05},
	chronometer.ByTelephone: {0.3, "speaking clock by telephone", 0.1},
}

// compare reads the dial and writes it down, slipS seconds wrong.
func (b *book) compare(at time.Time, method chronometer.Method, slipS clock.DialError) chronometer.ID {
	s := sightings[method]
	heard := b.hears && method == chronometer.BySound
	sd, late := s.sd, 0.0
	if heard { // the delay is wrong by the same every time
		sd, late = ownSoundSDS, trueDelayS-delayS
		s.sd = math.Round(1e4*math.Hypot(ownSoundSDS, delaySDS)) / 1e4
	}
	step := b.made.Beat.Seconds()
	var c chronometer.Compared
	if method == chronometer.ByTap || method == chronometer.BySound {
		// The instant is measured at which the dial shows a whole second.
		e := b.inst.Read(at, sd) + slipS - clock.DialError(late)
		shown := float64(b.made.ClockDial().Reading(at, e))
		at = at.Add(time.Duration((math.Ceil(shown) - shown) * 1e9)).Round(time.Millisecond)
		c = b.reading(math.Ceil(shown), 1)
	} else {
		// The dial is read at a whole second of UTC, to a tenth or to the beat.
		if method == chronometer.EyeAndEar {
			step = 0.1
		}
		e := b.inst.Read(at, math.Sqrt(max(0, s.sd*s.sd-step*step/12))) + slipS
		c = b.reading(float64(b.made.ClockDial().Reading(at, e)), step)
	}
	if heard {
		c.Heard = b.heardBeat(at)
	}
	temp := b.thermometer(at)
	c.SDS, c.Method, c.Observer, c.Standard, c.StandardSD = s.sd, method, b.by, s.standard, s.standardSD
	c.TempC, c.Position = &temp, b.position
	return b.write(at, c)
}

// reading returns the comparison of what the dial shows, to a step of some
// tenths of a second.
func (b *book) reading(shown, step float64) chronometer.Compared {
	tenths := math.Round(10 * step)
	n := int64(tenths * math.Round(10*shown/tenths))
	n %= int64(10 * b.made.ClockDial().Modulus())
	return chronometer.ReadDial(clock.DialReading(float64(n/10) + float64(n%10)/10))
}

// habit is how the daily round treats an instrument.
type habit struct {
	method    chronometer.Method
	miss      float64                    // chance that a day goes without a comparison
	readFirst bool                       // it is compared before it is wound
	windEvery int                        // days; 0: daily
	slips     map[int]clock.DialError    // what is misread, s, by days before the last round
	others    map[int]chronometer.Method // other methods, by days before the last round
	typed     map[int]func(at time.Time) // what is written in place of a comparison
	after     map[int]func(at time.Time) // what is done after the round
	observers []string                   // take turns; empty: whoever writes
}

// round goes the daily round from one day to a later one, both days before the
// last round.
func (b *book) round(from, to int, h habit) {
	by := b.by
	for day := from; day >= to; day-- {
		if len(h.observers) > 0 {
			b.by = h.observers[day%len(h.observers)]
		}
		at := b.ago(float64(day)).Add(time.Duration(max(-240, min(240, 100*b.rng.NormFloat64()))) * time.Second)
		windNow := h.windEvery == 0 || (from-day)%h.windEvery == 0
		if windNow && !h.readFirst {
			b.wind(at)
			at = at.Add(3 * time.Minute)
		}
		method := h.method
		if m, ok := h.others[day]; ok {
			method = m
		}
		_, slip := h.slips[day]
		_, other := h.others[day]
		switch typed := h.typed[day]; {
		case typed != nil:
			typed(at)
		case b.rng.Float64() >= h.miss || slip || other || day == from || day == to:
			b.compare(at, method, h.slips[day])
		default:
			b.write(at, chronometer.Temperature{TempC: b.thermometer(at)})
		}
		if windNow && h.readFirst {
			b.wind(at.Add(3 * time.Minute))
		}
		if after := h.after[day]; after != nil {
			after(at.Add(10 * time.Minute))
		}
	}
	b.by = by
}
