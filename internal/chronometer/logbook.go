package chronometer

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// ErrRefused marks an entry that is whole in itself but does not fit the
// logbook it was meant for.
var ErrRefused = errors.New("this does not fit the logbook")

// Logbook is a set of entries about one subject. The zero value is empty.
type Logbook struct {
	entries []Entry      // in the order of Sort
	at      map[ID]int   // index of an entry
	struck  map[ID]Entry // the entry that strikes another out
}

// NewLogbook returns the logbook of the entries, of which two with the same ID
// count once. The order in which they are given does not matter.
func NewLogbook(entries []Entry) Logbook {
	sorted := slices.Clone(entries)
	Sort(sorted)
	b := Logbook{at: make(map[ID]int, len(sorted))}
	for _, e := range sorted {
		if _, ok := b.at[e.ID]; ok {
			continue
		}
		b.at[e.ID] = len(b.entries)
		b.entries = append(b.entries, e)
	}
	b.struck = strikes(b.entries)
	return b
}

// strikes returns which entries are struck out. A strike counts only if its
// ID is later than the one it names, so that no two can strike each other; the
// latest are read first, so that a strike that is itself struck out falls away.
func strikes(entries []Entry) map[ID]Entry {
	var found []Entry
	for _, e := range entries {
		if s, ok := e.Fact.(StruckOut); ok && e.ID > s.Entry {
			found = append(found, e)
		}
	}
	slices.SortFunc(found, func(a, b Entry) int {
		if a.ID > b.ID {
			return -1
		}
		return 1
	})
	struck := make(map[ID]Entry, len(found))
	for _, e := range found {
		if _, fell := struck[e.ID]; !fell {
			struck[e.Fact.(StruckOut).Entry] = e
		}
	}
	return struck
}

// Merge returns the union of two copies of a logbook.
func (b Logbook) Merge(other Logbook) Logbook {
	return NewLogbook(append(slices.Clone(b.entries), other.entries...))
}

// Entries returns all entries, struck out or not, oldest first.
func (b Logbook) Entries() []Entry { return slices.Clone(b.entries) }

// Len returns the number of entries.
func (b Logbook) Len() int { return len(b.entries) }

// Entry returns the entry of an ID.
func (b Logbook) Entry(id ID) (Entry, bool) {
	i, ok := b.at[id]
	if !ok {
		return Entry{}, false
	}
	return b.entries[i], true
}

// StruckOut returns the entry that strikes id out, if one stands.
func (b Logbook) StruckOut(id ID) (Entry, bool) {
	e, ok := b.struck[id]
	return e, ok
}

// Standing returns the entries that are not struck out and strike nothing out,
// oldest first: what the state is computed from.
func (b Logbook) Standing() []Entry {
	standing := make([]Entry, 0, len(b.entries))
	for _, e := range b.entries {
		if _, out := b.struck[e.ID]; out || e.Kind() == KindStruckOut {
			continue
		}
		standing = append(standing, e)
	}
	return standing
}

// Upheld returns the comparisons that the keeper has said are to be used.
func (b Logbook) Upheld() map[ID]bool {
	upheld := map[ID]bool{}
	for _, e := range b.Standing() {
		if u, ok := e.Fact.(Upheld); ok {
			upheld[u.Entry] = true
		}
	}
	return upheld
}

// Instrument returns the latest particulars that stand.
func (b Logbook) Instrument() (Instrument, bool) { return latest[Instrument](b) }

// Owner returns the latest particulars that stand.
func (b Logbook) Owner() (Owner, bool) { return latest[Owner](b) }

// House returns the latest particulars of the workshop that stand.
func (b Logbook) House() (House, bool) { return latest[House](b) }

// Programme returns the latest text of a programme that stands.
func (b Logbook) Programme() (Programme, bool) { return latest[Programme](b) }

// latest returns the fact of a kind that was written last and stands.
func latest[T Fact](b Logbook) (T, bool) {
	var found T
	var id ID
	for _, e := range b.entries {
		if fact, ok := e.Fact.(T); ok && e.ID > id {
			if _, out := b.struck[e.ID]; !out {
				found, id = fact, e.ID
			}
		}
	}
	return found, id != ""
}

// Admits returns nil if e may be added to the logbook at the instant now, and
// otherwise an error that says what to write first.
func (b Logbook) Admits(e Entry, now time.Time) error {
	if err := e.Check(); err != nil {
		return err
	}
	refuse := func(format string, args ...any) error {
		return fmt.Errorf("%w: %s", ErrRefused, fmt.Sprintf(format, args...))
	}
	if e.At.After(now.Add(time.Minute)) {
		return refuse("%s is in the future; write when it happened", when(e.At))
	}
	if _, ok := b.at[e.ID]; ok {
		return refuse("entry %s is written already", e.ID)
	}
	switch fact := e.Fact.(type) {
	case StruckOut:
		target, ok := b.Entry(fact.Entry)
		if !ok {
			return refuse("there is no entry %s to strike out in this logbook", fact.Entry)
		}
		if by, ok := b.StruckOut(fact.Entry); ok {
			return refuse("the entry is struck out already, by %s on %s", by.By, when(by.Written))
		}
		if e.ID < fact.Entry {
			return refuse("the entry was written later than this one; set the clock of the computer right and try again")
		}
		if _, ok := b.Instrument(); ok && target.Kind() == KindEntered && b.count(KindEntered) == 1 {
			return refuse("these are the only particulars of the instrument; write the right ones first, then strike these out")
		}
	case Upheld:
		target, ok := b.Entry(fact.Entry)
		if !ok || target.Kind() != KindCompared {
			return refuse("entry %s is no comparison of this logbook", fact.Entry)
		}
		if b.Upheld()[fact.Entry] {
			return refuse("the comparison is in use already")
		}
	case Moved:
		return b.fits(fact)
	case Owner:
		if _, ok := b.Owner(); !ok && b.Len() > 0 {
			return refuse("this is the logbook of an instrument; enter the owner among the owners")
		}
	case Equation:
		if b.Len() > 0 && b.entries[0].Kind() != KindEquation {
			return refuse("this is the logbook of an instrument; an observer is measured on the page of the personal equation")
		}
	case House, Programme:
		if b.Len() > 0 && b.entries[0].Kind() != e.Kind() {
			return refuse("this is another logbook; write it on the page of the workshop's papers or programmes")
		}
	case TrialBegun:
		if begun, ended, ok := b.Trial(); ok && ended.ID == "" {
			return refuse("the trial begun at %s goes on; end it first", when(begun.At))
		}
		return b.admitsMotion(e)
	case TrialEnded:
		begun, ended, ok := b.Trial()
		if !ok || ended.ID != "" {
			return refuse("no trial goes on; there is nothing to end")
		}
		if e.At.Before(begun.At) {
			return refuse("the trial was begun at %s, after that; write when it ended", when(begun.At))
		}
	case StepDone:
		if j, ok := b.Entry(fact.Journey); !ok || j.Kind() != KindJourney {
			return refuse("entry %s is no journey of this instrument", fact.Journey)
		}
	case Sent:
		return b.admitsCarriage(e)
	case Compared:
		if err := b.fits(fact); err != nil {
			return err
		}
		return b.admitsMotion(e)
	case Wound:
		if other, ok := b.woundAbout(e); ok {
			return refuse("it was wound at %s already, written by %s; two windings within ten minutes are one, so nothing was written twice", when(other.At), other.By)
		}
		return b.admitsMotion(e)
	case Regulated:
		if before := b.StateAt(e.At); before.Motion == Going && !fact.Held {
			return refuse("at %s it was going; nothing is turned on a moving balance: write when it was stopped and held, or tick that it was while it was turned", when(e.At))
		}
		return b.admitsMotion(e)
	case Set, Started, Stopped, Held, Released, IntoGimbals, Listened:
		return b.admitsMotion(e)
	}
	return nil
}

// oneWinding is how close two windings are the same, told by two hands.
const oneWinding = 10 * time.Minute

// woundAbout returns a winding that stands close to e.
func (b Logbook) woundAbout(e Entry) (Entry, bool) {
	for _, other := range b.Standing() {
		if other.Kind() == KindWound && other.At.Sub(e.At).Abs() < oneWinding {
			return other, true
		}
	}
	return Entry{}, false
}

// fits holds a fact against the particulars of the instrument, if there are any.
func (b Logbook) fits(f Fact) error {
	i, ok := b.Instrument()
	if !ok {
		return nil
	}
	return i.Fits(f)
}

// admitsCarriage holds a sending against how the instrument stood: it never
// leaves going, nor in its gimbals.
func (b Logbook) admitsCarriage(e Entry) error {
	before := b.StateAt(e.At)
	i, _ := b.Instrument()
	switch {
	case before.Station == Carriage:
		return fmt.Errorf("%w: it is on its way since %s; write that it was received first", ErrRefused, when(before.StationSince))
	case before.Motion == StoodStill && i.Make == BoxChronometer:
		return fmt.Errorf("%w: at %s its balance was free; have it held and the instrument packed before it is sent, and write these first", ErrRefused, when(e.At))
	case before.Motion == Going:
		return fmt.Errorf("%w: at %s it goes; stop it, hold the balance and pack it before it is sent, and write these first", ErrRefused, when(e.At))
	case before.GimbalsSet && before.InGimbals:
		return fmt.Errorf("%w: at %s it lies in its gimbals, in which it must not travel; take it out, pack it, and write these first", ErrRefused, when(e.At))
	}
	return nil
}

// admitsMotion holds e against whether the instrument went at that instant.
func (b Logbook) admitsMotion(e Entry) error {
	before := b.StateAt(e.At)
	refuse := func(remedy string) error {
		return fmt.Errorf("%w: at %s it stood %s since %s; %s", ErrRefused, when(e.At), before.Motion, when(before.MotionSince), remedy)
	}
	if before.Station == Carriage {
		return fmt.Errorf("%w: it is on its way since %s; write that it was received first", ErrRefused, when(before.StationSince))
	}
	still := before.Motion == StoodStill || before.Motion == BalanceHeld
	switch e.Fact.(type) {
	case Compared:
		if still {
			return refuse("if it goes again, write when it was started, then compare")
		}
	case Listened:
		if still {
			return refuse("if it goes again, write when it was started, then listen")
		}
	case TrialBegun:
		if still {
			return refuse("a trial is of one that goes; start it first")
		}
	case Started:
		if before.Motion == BalanceHeld {
			return refuse("write that the balance was released first")
		}
		if before.Motion == Going && before.MotionKnown {
			return fmt.Errorf("%w: at %s it was going since %s; if it stopped in between, write that first", ErrRefused, when(e.At), when(before.MotionSince))
		}
	case Stopped:
		if still {
			return refuse("if it went since, write when it was started first")
		}
	case Released:
		if before.Motion != BalanceHeld {
			return fmt.Errorf("%w: at %s the balance was not held; nothing to release", ErrRefused, when(e.At))
		}
	}
	return nil
}

func (b Logbook) count(k Kind) int {
	n := 0
	for _, e := range b.Standing() {
		if e.Kind() == k {
			n++
		}
	}
	return n
}

// when writes an instant for a sentence.
func when(t time.Time) string { return t.UTC().Format("2 January 2006 15:04:05 UTC") }
