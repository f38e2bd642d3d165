// Package adjust reads from a logbook how the adjusting of a chronometer
// stands: its trials, day by day and judged, and its regulating, with what each
// turn has done and what to turn next.
//
// Nothing is kept: everything is computed from the entries that stand. Errors
// are dial minus UTC in s, + fast; rates in s/d, + gaining.
package adjust

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/rating"
	"timeball/internal/trial"
	"timeball/internal/trial/course"
	"timeball/internal/trial/programme"
	"timeball/internal/workshop"
)

// ErrNoTrial marks an instrument of which no trial was ever begun.
var ErrNoTrial = errors.New("no trial was begun")

// Trial is one trial of an instrument as it stands.
type Trial struct {
	Begun     chronometer.Entry
	Ended     chronometer.Entry // the zero entry while it goes on
	Programme programme.Programme
	Course    course.Course
	Result    trial.Result
}

// Over reports whether the trial was ended.
func (t Trial) Over() bool { return !t.Ended.At.IsZero() }

// Follow returns the trials of an instrument, oldest first. A programme that
// cannot be read any more is an error that says which.
func Follow(seen workshop.Seen) ([]Trial, error) {
	log := logOf(seen)
	var trials []Trial
	for _, pair := range seen.Logbook.Trials() {
		t := Trial{Begun: pair[0], Ended: pair[1]}
		var err error
		begun := pair[0].Fact.(chronometer.TrialBegun)
		if t.Programme, err = programme.Read([]byte(begun.Text)); err != nil {
			return nil, fmt.Errorf("trial of no. %s begun on %s: %w", seen.Instrument.Number, pair[0].At.Format("2 January 2006"), err)
		}
		var ended *time.Time
		if t.Over() {
			ended = &t.Ended.At
		}
		t.Course = course.Follow(t.Programme, t.Begun.At, ended, log, seen.Now)
		t.Result = judged(t)
		trials = append(trials, t)
	}
	return trials, nil
}

// Latest returns the last trial of an instrument; its error wraps ErrNoTrial if
// there is none.
func Latest(seen workshop.Seen) (Trial, error) {
	trials, err := Follow(seen)
	if err != nil {
		return Trial{}, err
	}
	if len(trials) == 0 {
		return Trial{}, fmt.Errorf("%w: no. %s; begin one on its page of trials", ErrNoTrial, seen.Instrument.Number)
	}
	return trials[len(trials)-1], nil
}

func judged(t Trial) trial.Result {
	ask := trial.Ask{Ended: !t.Ended.At.IsZero() || t.Course.Broken != nil}
	for _, s := range t.Course.Spans {
		ask.Spans = append(ask.Spans, trial.Span(s))
	}
	r := trial.Judge(t.Programme, t.Course.Days, ask)
	for _, remark := range t.Course.Remarks {
		words := remark.Words
		if remark.Effect != "" {
			words += ": " + remark.Effect
		}
		r.Remarks = append(r.Remarks, words)
	}
	return r
}

// logOf returns what a logbook tells of a trial.
func logOf(seen workshop.Seen) course.Log {
	var log course.Log
	whole := unwrapped(seen)
	for _, e := range seen.Logbook.Standing() {
		at := e.At
		temperature := func(c *float64) {
			if c != nil {
				log.Temperatures = append(log.Temperatures, course.Temperature{At: at, C: *c})
			}
		}
		broke := func(what string) {
			log.Interventions = append(log.Interventions, course.Intervention{At: at, What: what, Breaks: true})
		}
		switch f := e.Fact.(type) {
		case chronometer.Compared:
			w := whole[e.ID]
			log.Compared = append(log.Compared, course.Comparison{Ref: string(e.ID), At: at, ErrorS: w.errorS, SDS: f.SD(), TempC: f.TempC, Aside: w.aside})
			if f.Position != "" {
				log.Placings = append(log.Placings, course.Placing{At: at, Position: string(f.Position)})
			}
		case chronometer.Listened:
			temperature(f.TempC)
		case chronometer.Temperature:
			temperature(&f.TempC)
		case chronometer.Placed:
			temperature(f.TempC)
			if f.Position != "" || f.Where != "" {
				log.Placings = append(log.Placings, course.Placing{At: at, Position: string(f.Position), Where: f.Where})
			}
		case chronometer.Wound:
			log.Windings = append(log.Windings, at)
		case chronometer.Moved:
			log.Interventions = append(log.Interventions, course.Intervention{At: at, What: "hands " + f.Words(), MovedS: f.ByS})
		case chronometer.Started, chronometer.Stopped, chronometer.Held, chronometer.Set, chronometer.Regulated, chronometer.Carried, chronometer.Received:
			broke(string(e.Kind()))
		case chronometer.WorkDone:
			if f.Service {
				broke("serviced")
			}
		}
	}
	if seen.Rating != nil {
		for _, m := range seen.Rating.Unrecorded {
			log.Interventions = append(log.Interventions, course.Intervention{
				At: m.After.Add(m.Before.Sub(m.After) / 2), MovedS: m.MovedS,
				What: fmt.Sprintf("the hands were moved by %.0f s, which no entry tells", m.MovedS),
			})
		}
	}
	return log
}

// reading is the error of a comparison, with no multiple of the dial open.
type reading struct {
	errorS float64
	aside  string
}

// unwrapped returns the whole error of every comparison: as the rating takes
// it, or where there is none the nearest to the one before.
func unwrapped(seen workshop.Seen) map[chronometer.ID]reading {
	whole := map[chronometer.ID]reading{}
	if r := seen.Rating; r != nil && len(r.Residuals) > 0 {
		for _, residual := range r.Residuals {
			whole[chronometer.ID(residual.Ref)] = reading{errorS: residual.ErrorS}
		}
		for _, s := range r.SetAside {
			whole[chronometer.ID(s.Ref)] = reading{s.ErrorS, s.Reason}
		}
	}
	h := workshop.History(seen.Instrument.ClockDial(), seen.Logbook)
	slices.SortStableFunc(h.Readings, func(a, b rating.Reading) int { return a.At.Compare(b.At) })
	near := 0.0
	for _, r := range h.Readings {
		id := chronometer.ID(r.Ref)
		if w, ok := whole[id]; ok {
			if w.aside == "" {
				near = w.errorS
			}
			continue
		}
		e := r.ErrorS
		if r.ModulusS > 0 {
			e += r.ModulusS * math.Round((near-e)/r.ModulusS)
		}
		near = e
		whole[id] = reading{errorS: e}
	}
	return whole
}

// Choice is a programme that a trial can be begun with.
type Choice struct {
	Programme programme.Programme
	Key       string         // by which it is chosen: the name of a shipped one, or the ID of an own one
	Own       chronometer.ID // empty for a shipped one
	Fault     string         // why an own one cannot be used, in words
}

// Choices returns the programmes of a workshop: its own first, then those that
// come with the program.
func Choices(ctx context.Context, w *workshop.Workshop) ([]Choice, error) {
	own, err := w.Programmes(ctx)
	if err != nil {
		return nil, err
	}
	var all []Choice
	for _, o := range own {
		c := Choice{Key: string(o.ID), Own: o.ID}
		if c.Programme, err = programme.Read([]byte(o.Programme.Text)); err != nil {
			c.Programme, c.Fault = programme.Programme{Name: o.Programme.Name, Text: o.Programme.Text}, err.Error()
		}
		all = append(all, c)
	}
	for _, p := range programme.Shipped() {
		all = append(all, Choice{Programme: p, Key: p.Name})
	}
	return all, nil
}

// Choose returns the programme of a key or a name.
func Choose(ctx context.Context, w *workshop.Workshop, key string) (Choice, error) {
	all, err := Choices(ctx, w)
	if err != nil {
		return Choice{}, err
	}
	var names []string
	for _, c := range all {
		if c.Key == key || strings.EqualFold(c.Programme.Name, strings.TrimSpace(key)) {
			if c.Fault != "" {
				return c, fmt.Errorf("%w: programme %q: %s", chronometer.ErrRefused, c.Programme.Name, c.Fault)
			}
			return c, nil
		}
		names = append(names, c.Programme.Name)
	}
	return Choice{}, fmt.Errorf("%w: no programme is named %.60q; choose one of: %s", workshop.ErrUnknown, key, strings.Join(names, "; "))
}

// Begin begins a trial of an instrument after a programme, once under an ID of
// NewID.
func Begin(ctx context.Context, w *workshop.Workshop, id chronometer.ID, by string, subject chronometer.ID, at time.Time, key, note string) (chronometer.Entry, error) {
	c, err := Choose(ctx, w, key)
	if err != nil {
		return chronometer.Entry{}, err
	}
	return w.WriteOnce(ctx, id, by, subject, at, chronometer.TrialBegun{Programme: c.Programme.Name, Text: c.Programme.Text, Note: note})
}

// KeepProgramme writes a programme of the workshop's own, once under an ID of
// NewID; the subject is its logbook, or id for a new one. What cannot be read
// is refused with the line and what to write.
func KeepProgramme(ctx context.Context, w *workshop.Workshop, id chronometer.ID, by string, subject chronometer.ID, text string) (chronometer.Entry, error) {
	p, err := programme.Read([]byte(text))
	if err != nil {
		return chronometer.Entry{}, fmt.Errorf("%w: %w", chronometer.ErrEntry, err)
	}
	all, err := Choices(ctx, w)
	if err != nil {
		return chronometer.Entry{}, err
	}
	for _, c := range all {
		if strings.EqualFold(c.Programme.Name, p.Name) && c.Own != subject {
			return chronometer.Entry{}, fmt.Errorf("%w: a programme is named %q already; give this one another name", chronometer.ErrRefused, p.Name)
		}
	}
	return w.WriteOnce(ctx, id, by, subject, time.Time{}, chronometer.Programme{Name: p.Name, Text: text})
}
