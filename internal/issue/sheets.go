package issue

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/paper"
	"timeball/internal/paper/calendar"
	"timeball/internal/paper/leaf"
	"timeball/internal/rating"
	"timeball/internal/setting"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// ahead is how far hand moves and calendars look.
const (
	aheadYears    = 2
	usualHour     = "09:00"
	mostStillHalf = 1.0 // s/d: how well the rate of one that stands must be known
)

// forecast is what of the dial is known now, for papers about the time to come;
// what is missing is an error that wraps ErrWanting.
type forecast struct {
	subject
	zone  *time.Location
	limit float64
	moves setting.Moves
	fresh bool // it stands still, and its error begins with the next start
}

// forecast returns what is known of the time to come; with still, also of an
// instrument that stands, held for carriage perhaps, of which the rate is known.
func (s subject) forecast(what string, still bool) (forecast, error) {
	f := forecast{subject: s, zone: time.UTC, limit: s.seen.Instrument.ErrorLimitS()}
	switch {
	case s.seen.Rating == nil:
		return f, wanting(what+" of no. "+s.seen.Instrument.Number, []string{s.seen.Why})
	case still && s.seen.State.Motion != chronometer.Going && s.seen.Rating.RateNow.Half() < mostStillHalf:
		f.fresh = true
	case !s.seen.Current:
		why := s.seen.Why
		if why == "" {
			why = fmt.Sprintf("it does not go (%s)", s.seen.State.Motion)
		}
		return f, wanting(what+" of no. "+s.seen.Instrument.Number, []string{why})
	}
	for _, a := range s.seen.Next {
		if a.Stop && a.Kind == chronometer.KindStopped {
			return f, wanting(what+" of no. "+s.seen.Instrument.Number, []string{a.Say + "; see whether it goes, and write what you find"})
		}
	}
	if o := s.seen.Owner; o != nil && o.Owner.Zone != "" {
		zone, err := time.LoadLocation(o.Owner.Zone)
		if err != nil {
			return f, fmt.Errorf("%w: the time zone %q of the owner is not known to this computer; write another, such as Europe/Lisbon", ErrWanting, o.Owner.Zone)
		}
		f.zone = zone
	}
	if f.fresh {
		return f, nil
	}
	r := s.seen.Rating
	f.moves = setting.HandMoves(s.seen.Now, clock.Rate(r.RateNow.Mean), r.RateNow.SD, f.limit, func(days float64) (lo, mean, hi float64, ok bool) {
		e, ok := r.Track.At(timescale.AddDays(s.seen.Now, days))
		return e.Lo95, e.Mean, e.Hi95, ok
	}, s.seen.Now.AddDate(aheadYears, 0, 0))
	return f, nil
}

func (f forecast) windEvery() int { return calendar.WindEvery(f.seen.Instrument.GoingH) }

func (f forecast) windAt() string {
	if o := f.seen.Owner; o != nil && o.Owner.WindAt != "" {
		return o.Owner.WindAt
	}
	return usualHour
}

// serviceDue returns when it is due to be serviced: so many years after the
// last service, zero if none is written.
func (s subject) serviceDue() time.Time {
	var last time.Time
	for _, e := range s.seen.Logbook.Standing() {
		if w, ok := e.Fact.(chronometer.WorkDone); ok && w.Service {
			last = e.At
		}
	}
	if last.IsZero() {
		return last
	}
	return timescale.AddDays(last, s.house.ServiceEvery()*365.25)
}

// reach returns how to reach the workshop, on one line.
func (s subject) reach() string { return strings.Join(s.house.Lines(), ", ") }

func (s subject) ownerSheet(ask Ask) (*leaf.Document, error) {
	f, err := s.forecast("owner's sheet", true)
	if err != nil {
		return nil, err
	}
	i, r := s.seen.Instrument, s.seen.Rating
	sheet := paper.OwnerSheet{
		Size: sizeOf(s.size(ask.Paper)), Made: s.seen.Now.UTC(), Letterhead: s.letterhead(), Instrument: s.instrument(), Reach: s.reach(),
		Dial: i.ClockDial(), WindEvery: f.windEvery(), GoesFor: i.GoingH, HalfTurns: s.halfTurns(), Gimbals: i.Gimbals, UpAndDown: i.UpDown, Brake: i.BalanceBrake,
		Zone: f.zone, WindAt: f.windAt(), Epoch: r.Epoch, Error: quantity(r.Error), Rate: quantity(r.RateNow), LimitS: f.limit, Moves: f.moves,
		ServiceDue: s.serviceDue(), Fresh: f.fresh,
	}
	later := s.seen.Now.AddDate(0, 1, 0)
	if e, ok := r.Track.At(later); ok {
		sheet.Example = paper.ErrorAt{At: later.Truncate(time.Hour), Error: quantity(e)}
	}
	if i.Make != chronometer.BoxChronometer {
		sheet.Fusee = paper.WithoutFusee
	}
	return sheet.Document()
}

// halfTurns returns the half-turns that wound it lately, the median; 0 if none
// were counted.
func (s subject) halfTurns() float64 {
	const lately = 15
	var turns []float64
	for _, e := range s.seen.Logbook.Standing() {
		if w, ok := e.Fact.(chronometer.Wound); ok && w.HalfTurns > 0 {
			turns = append(turns, w.HalfTurns)
		}
	}
	if n := len(turns); n > lately {
		turns = turns[n-lately:]
	}
	return median(turns)
}

func (s subject) correctionTable(ask Ask) (*leaf.Document, error) {
	t, err := s.corrections(ask)
	if err != nil {
		return nil, err
	}
	return t.Document()
}

// mostDays is the longest table, days: the forecast reaches two years.
const mostDays = 731

func (s subject) corrections(ask Ask) (paper.CorrectionTable, error) {
	what := "correction table"
	f, err := s.forecast(what, false)
	if err != nil {
		return paper.CorrectionTable{}, err
	}
	from := s.from(ask)
	to := ask.To
	if to.IsZero() {
		to = from.AddDate(1, 0, -1)
	}
	step := max(ask.Step, 1)
	if days := timescale.Days(from, to); days < 0 || days > mostDays {
		return paper.CorrectionTable{}, wanting(what, []string{fmt.Sprintf("from %s to %s is no time ahead of up to two years; give the first and the last day", day(from), day(to))})
	}
	r := s.seen.Rating
	t := paper.CorrectionTable{
		Size: sizeOf(s.size(ask.Paper)), Made: s.seen.Now.UTC(), Letterhead: s.letterhead(), Instrument: s.instrument(),
		Epoch: r.Epoch, Error: quantity(r.Error), Rate: quantity(r.RateNow), TemperatureC: rating.ReferenceC,
	}
	for at := noon(from); !at.After(noon(to)); at = at.AddDate(0, 0, step) {
		e, ok := f.unmoved(at)
		if !ok {
			continue
		}
		t.Days = append(t.Days, paper.ErrorAt{At: at, Error: quantity(e)})
	}
	if len(t.Days) == 0 {
		return t, wanting(what+" of no. "+s.seen.Instrument.Number, []string{"its error is not known on any of these days; choose days after the last comparison and within two years of it"})
	}
	if l := r.Temperature; l != nil && l.LinearKnown {
		t.TemperatureC = l.ForecastC
		at := func(c float64) float64 {
			u := c - rating.ReferenceC
			return l.Linear.Mean*u + l.Quadratic.Mean*u*u
		}
		coldest, warmest := s.temperatures()
		for c := 5 * math.Ceil((coldest-beyondC)/5); c <= warmest+beyondC; c += 5 {
			if math.Abs(c-t.TemperatureC) < 1 {
				continue
			}
			half := math.Hypot(l.Linear.Half()*(c-t.TemperatureC), l.Quadratic.Half()*math.Abs(math.Pow(c-rating.ReferenceC, 2)-math.Pow(t.TemperatureC-rating.ReferenceC, 2)))
			t.Law = append(t.Law, paper.AtTemperature{C: c, Rate: paper.Quantity{Mean: at(c) - at(t.TemperatureC), Half: half}})
		}
	}
	return t, nil
}

// beyondC is how far beyond the temperatures that were read a law is told, °C.
const beyondC = 2

// temperatures returns the coldest and the warmest that was read beside it, °C.
func (s subject) temperatures() (coldest, warmest float64) {
	coldest, warmest = math.Inf(1), math.Inf(-1)
	for _, t := range workshop.History(s.seen.Instrument.ClockDial(), s.seen.Logbook).Temperatures {
		coldest, warmest = min(coldest, t.C), max(warmest, t.C)
	}
	return coldest, warmest
}

// unmoved returns the error at an instant if the hands stay as they are now.
func (f forecast) unmoved(at time.Time) (rating.Interval, bool) { return f.seen.Rating.Track.At(at) }

func noon(d time.Time) time.Time {
	return time.Date(d.Year(), d.Month(), d.Day(), 12, 0, 0, 0, time.UTC)
}

func (s subject) wallForm(ask Ask) (*leaf.Document, error) {
	i := s.seen.Instrument
	form := paper.WallForm{
		Size: sizeOf(s.size(ask.Paper)), Made: s.seen.Now.UTC(), Letterhead: s.letterhead(), Instrument: s.instrument(), Reach: s.reach(),
		First: s.from(ask), Months: max(ask.Months, 1), WindEvery: calendar.WindEvery(i.GoingH),
	}
	if o := s.seen.Owner; o != nil {
		form.WindAt = o.Owner.WindAt
	}
	return form.Document()
}

func (s subject) calendar(Ask) ([]byte, error) {
	f, err := s.forecast("calendar", false)
	if err != nil {
		return nil, err
	}
	at, err := calendar.ParseHour(f.windAt())
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrWanting, err)
	}
	now := s.seen.Now.UTC()
	plan := calendar.Plan{
		Instrument: string(s.seen.ID), Named: s.instrument().Named(), Contact: strings.Join(append([]string{s.house.Name}, s.house.Lines()...), ", "),
		Zone: f.zone.String(), From: now, Until: now.AddDate(aheadYears, 0, 0), At: at, WindEvery: f.windEvery(), Compare: true,
		Renew: f.moves.After, ServiceDue: s.serviceDue(), Issued: now, Sequence: int(now.Unix() / 60),
	}
	for _, w := range f.moves.Windows {
		plan.Moves = append(plan.Moves, calendar.Move{From: w.From, To: w.To, Minutes: max(w.Minutes, 1)})
	}
	var b bytes.Buffer
	if err := calendar.Write(&b, plan); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func median(values []float64) float64 {
	if len(values) == 0 {
		return 0
	}
	sorted := slices.Clone(values)
	slices.Sort(sorted)
	return sorted[len(sorted)/2]
}
