package workshop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/setting"
	"timeball/internal/store"
	"timeball/internal/timescale"
)

// figures is what is computed from one logbook; it may be dropped at any time.
type figures struct {
	Version    int64 // of the logbook
	Instrument chronometer.Instrument
	State      chronometer.State
	Runs       []chronometer.Run
	Rating     *rating.Rating // nil if Why says why
	Why        string
	Hand       setting.Window // when to move the minute hand, as seen from the epoch of the rating
	Advice     setting.Advice
}

// figuresName names the form of kept figures; it changes with what they hold
// and with the estimator, so that old ones are computed anew.
const figuresName = "figures 4"

// curvePoints is how finely the past is drawn, and detailKept for how many
// instruments the drawing is kept in memory.
const (
	curvePoints = 160
	detailKept  = 40
)

// compute returns the figures of a logbook; with points > 0 the curve of the
// past and the residuals are among them.
func compute(version int64, book chronometer.Logbook, points int) *figures {
	f := &figures{Version: version, State: book.State(), Runs: book.Runs()}
	f.Instrument, _ = book.Instrument()
	r, err := rating.Rate(History(f.Instrument.ClockDial(), book), rating.Options{Curve: points, Track: true})
	if err != nil {
		f.Why = err.Error()
		return f
	}
	if points == 0 {
		r.Residuals = nil
	}
	f.Rating = &r
	f.Hand, f.Advice = setting.HandMove(r.Epoch, clock.Rate(r.RateNow.Mean), r.RateNow.SD, f.Instrument.ErrorLimitS(), func(days float64) (lo, mean, hi float64, ok bool) {
		e, ok := r.Track.At(timescale.AddDays(r.Epoch, days))
		return e.Lo95, e.Mean, e.Hi95, ok
	})
	return f
}

// fresh returns the figures of a subject if they are those of its version.
func (w *Workshop) fresh(s store.Subject) (*figures, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	f, ok := w.known[s.ID]
	return f, ok && f.Version == s.Version
}

// figuresOf returns the figures of a subject as of its version: from memory,
// from the folder, or computed.
func (w *Workshop) figuresOf(ctx context.Context, s store.Subject) (*figures, error) {
	if f, ok := w.fresh(s); ok {
		return f, nil
	}
	f := new(figures)
	version, body, ok, err := w.db.Figures(ctx, s.ID, figuresName)
	if err != nil {
		return nil, err
	}
	if !ok || version != s.Version || json.Unmarshal(body, f) != nil {
		book, err := w.db.Logbook(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		f = compute(s.Version, book, 0)
		if body, err := json.Marshal(f); err == nil {
			if err := w.db.KeepFigures(ctx, s.ID, s.Version, figuresName, body); err != nil {
				return nil, err
			}
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.known[s.ID] = f
	return f, nil
}

// detailOf returns the figures with the curve of the past.
func (w *Workshop) detailOf(s store.Subject, book chronometer.Logbook) *figures {
	w.mu.Lock()
	f, ok := w.detail[s.ID]
	w.mu.Unlock()
	if ok && f.Version == s.Version {
		return f
	}
	f = compute(s.Version, book, curvePoints)
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, ok := w.detail[s.ID]; !ok {
		w.recent = append(w.recent, s.ID)
	}
	w.detail[s.ID] = f
	if len(w.recent) > detailKept {
		delete(w.detail, w.recent[0])
		w.recent = w.recent[1:]
	}
	return f
}

// patience is how long a page waits for ratings before it shows the others.
const patience = 1500 * time.Millisecond

// rated computes what is stale among the subjects, as many at once as there
// are processors, and returns when all is done or patience ends; the rest goes
// on behind.
func (w *Workshop) rated(ctx context.Context, subjects []store.Subject) {
	behind := context.WithoutCancel(ctx)
	done := make(chan struct{}, len(subjects))
	stale := 0
	for _, s := range subjects {
		if _, ok := w.fresh(s); ok {
			continue
		}
		stale++
		w.doing.Go(func() {
			w.work <- struct{}{}
			defer func() { <-w.work; done <- struct{}{} }()
			// An error shows again, with its words, when the instrument is opened.
			_, _ = w.figuresOf(behind, s)
		})
	}
	if stale == 0 {
		return
	}
	timer := time.NewTimer(patience)
	defer timer.Stop()
	for range stale {
		select {
		case <-done:
		case <-timer.C:
			return
		case <-ctx.Done():
			return
		}
	}
}

// Room returns every instrument, the most urgent first.
func (w *Workshop) Room(ctx context.Context) (Room, error) {
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return Room{}, err
	}
	owners, err := w.owners(ctx, subjects)
	if err != nil {
		return Room{}, err
	}
	instruments := slices.DeleteFunc(subjects, func(s store.Subject) bool { return s.Kind != chronometer.KindEntered })
	w.rated(ctx, instruments)
	room := Room{Now: w.now().UTC()}
	for _, s := range instruments {
		f, ok := w.fresh(s)
		if !ok {
			room.Pending++
			w.mu.Lock()
			old := w.known[s.ID]
			w.mu.Unlock()
			seen := Seen{ID: s.ID, Pending: true, Now: room.Now}
			if old != nil {
				seen.Instrument, seen.State = old.Instrument, old.State
			}
			room.Instruments = append(room.Instruments, seen)
			continue
		}
		room.Instruments = append(room.Instruments, w.seen(s.ID, f, owners, room.Now))
	}
	slices.SortStableFunc(room.Instruments, func(a, b Seen) int { return byUrgency(a, b) })
	return room, nil
}

// byUrgency orders warnings first, then by when the next action is due, then by
// number.
func byUrgency(a, b Seen) int {
	rank := func(s Seen) (stop int, due time.Time) {
		if len(s.Next) == 0 {
			return 2, time.Time{}
		}
		if s.Next[0].Stop {
			return 0, s.Next[0].Due
		}
		return 1, s.Next[0].Due
	}
	sa, da := rank(a)
	sb, db := rank(b)
	switch {
	case sa != sb:
		return sa - sb
	case !da.Equal(db):
		return da.Compare(db)
	}
	return compareNumbers(a.Instrument.Number, b.Instrument.Number)
}

// compareNumbers orders numbers by length, then letter by letter, so that 88
// comes before 417.
func compareNumbers(a, b string) int {
	if len(a) != len(b) {
		return len(a) - len(b)
	}
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// seen returns the view of an instrument at an instant, without its logbook.
func (w *Workshop) seen(id chronometer.ID, f *figures, owners map[chronometer.ID]*Owner, now time.Time) Seen {
	s := Seen{
		ID: id, Instrument: f.Instrument, State: f.State, Runs: f.Runs, Rating: f.Rating, Why: f.Why, Now: now,
		Owner: owners[f.Instrument.Owner],
	}
	var known *chronometer.Known
	if f.Rating != nil && f.State.Motion == chronometer.Going {
		current, ok := f.Rating.Track.At(now)
		later, ok30 := f.Rating.Track.At(now.Add(30 * clock.Day))
		open := f.Rating.RateNow.Half() > openRate
		if s.Current = ok && ok30 && !open; s.Current {
			s.ErrorNow, s.In30Days = current, later
			s.Hand, s.Advice = f.Hand, f.Advice
			known = &chronometer.Known{ErrorS: current.Mean, ErrorHalfS: current.Half(), RateSPerDay: f.Rating.RateNow.Mean, Suspect: suspect(f, now)}
			if f.Advice == setting.Move || f.Advice == setting.Due || f.Advice == setting.TooFar {
				known.MoveFrom, known.MoveTo, known.MoveMinutes = f.Hand.From, f.Hand.To, f.Hand.Minutes
			}
		} else if open {
			s.Why = "its rate is not known yet since it was broken off: compare again in a day or two"
		} else if until := f.Rating.KnownUntil; !until.IsZero() {
			s.Why = "not compared since " + until.Format("2 January") + ", when its error or rate was broken off: compare"
		} else {
			s.Why = "the last comparison is too old to tell the error now; compare again"
		}
	}
	s.Next = chronometer.Next(f.Instrument, f.State, known, now)
	return s
}

// openRate is the doubt from which a rate tells nothing, s/d.
const openRate = 5.0

// Days for which a change of rate found in carriage, and comparisons that do
// not fit, are brought to the keeper's eye.
const (
	suspectCarriageD = 60
	suspectAside     = 3 // latest comparisons
)

// suspect returns why the rate of an instrument must be looked at, in words,
// or nothing.
func suspect(f *figures, now time.Time) string {
	r := f.Rating
	for _, c := range r.Changes {
		if c.P < 0.01 && now.Sub(c.At) < suspectCarriageD*clock.Day {
			way := "gains"
			if c.Rate.Mean < 0 {
				way = "loses"
			}
			return fmt.Sprintf("since it was carried it %s %.2f s a day more %s: look", way, math.Abs(c.Rate.Mean), clock.Rate(0).HalfWidth(c.Rate.Half()))
		}
	}
	if n := len(r.SetAside); n > 0 {
		late := 0
		for _, s := range r.SetAside {
			if s.At.After(r.Epoch) {
				late++
			}
		}
		if late >= suspectAside {
			return fmt.Sprintf("the last %d comparisons do not fit the record: look", late)
		}
	}
	return ""
}

// See returns an instrument by its number or its ID, with its logbook and the
// curve of its past.
func (w *Workshop) See(ctx context.Context, number string) (Seen, error) {
	s, err := w.find(ctx, number)
	if err != nil {
		return Seen{}, err
	}
	book, err := w.db.Logbook(ctx, s.ID)
	if err != nil {
		return Seen{}, err
	}
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return Seen{}, err
	}
	owners, err := w.owners(ctx, subjects)
	if err != nil {
		return Seen{}, err
	}
	seen := w.seen(s.ID, w.detailOf(s, book), owners, w.now().UTC())
	seen.Logbook = book
	return seen, nil
}

// find returns the instrument of a number or ID.
func (w *Workshop) find(ctx context.Context, number string) (store.Subject, error) {
	if id, err := chronometer.ParseID(number); err == nil {
		s, err := w.db.Subject(ctx, id)
		if err == nil && s.Kind == chronometer.KindEntered {
			return s, nil
		}
		if err != nil && !errors.Is(err, store.ErrUnknown) {
			return store.Subject{}, err
		}
	}
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return store.Subject{}, err
	}
	var found []store.Subject
	for _, s := range subjects {
		if s.Kind != chronometer.KindEntered {
			continue
		}
		i, err := w.instrument(ctx, s)
		if err != nil {
			return store.Subject{}, err
		}
		if i.Number == number {
			found = append(found, s)
		}
	}
	switch len(found) {
	case 0:
		return store.Subject{}, fmt.Errorf("%w: no instrument has the number %.40q; look in the room for its number", ErrUnknown, number)
	case 1:
		return found[0], nil
	}
	return store.Subject{}, fmt.Errorf("%w: %d instruments have the number %s; open it from the room", ErrUnknown, len(found), number)
}

// instrument returns the particulars of a subject, from memory if they are
// fresh.
func (w *Workshop) instrument(ctx context.Context, s store.Subject) (chronometer.Instrument, error) {
	if f, ok := w.fresh(s); ok {
		return f.Instrument, nil
	}
	book, err := w.db.Logbook(ctx, s.ID)
	if err != nil {
		return chronometer.Instrument{}, err
	}
	i, _ := book.Instrument()
	return i, nil
}

// owners returns the owners among the subjects by ID, without instruments.
func (w *Workshop) owners(ctx context.Context, subjects []store.Subject) (map[chronometer.ID]*Owner, error) {
	owners := map[chronometer.ID]*Owner{}
	for _, s := range subjects {
		if s.Kind != chronometer.KindOwner {
			continue
		}
		book, err := w.db.Logbook(ctx, s.ID)
		if err != nil {
			return nil, err
		}
		o, _ := book.Owner()
		owners[s.ID] = &Owner{ID: s.ID, Owner: o}
	}
	return owners, nil
}

// Owners returns the owners by name, each with its instruments.
func (w *Workshop) Owners(ctx context.Context) ([]Owner, error) {
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return nil, err
	}
	owners, err := w.owners(ctx, subjects)
	if err != nil {
		return nil, err
	}
	for _, s := range subjects {
		if s.Kind != chronometer.KindEntered {
			continue
		}
		i, err := w.instrument(ctx, s)
		if err != nil {
			return nil, err
		}
		if o, ok := owners[i.Owner]; ok {
			o.Instruments = append(o.Instruments, Named{ID: s.ID, Number: i.Number, Maker: i.Maker})
		}
	}
	all := make([]Owner, 0, len(owners))
	for _, o := range owners {
		slices.SortFunc(o.Instruments, func(a, b Named) int { return compareNumbers(a.Number, b.Number) })
		all = append(all, *o)
	}
	slices.SortFunc(all, func(a, b Owner) int {
		if a.Owner.Name != b.Owner.Name {
			if a.Owner.Name < b.Owner.Name {
				return -1
			}
			return 1
		}
		return compareNumbers(string(a.ID), string(b.ID))
	})
	return all, nil
}
