package chronometer

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/oklog/ulid/v2"

	"timeball/internal/timescale"
)

// ErrEntry marks an entry that breaks a rule of the logbook; the text says
// which field and what to write instead.
var ErrEntry = errors.New("not a logbook entry")

// ID is a ULID in its canonical 26 letters; it orders entries by when they
// were written.
type ID string

// ParseID returns the ID written as 26 letters of Crockford's alphabet.
func ParseID(s string) (ID, error) {
	u, err := ulid.ParseStrict(strings.TrimSpace(s))
	if err != nil {
		return "", fmt.Errorf("%w: id %.40q is no ULID; it has 26 letters and digits", ErrEntry, s)
	}
	return ID(u.String()), nil
}

// Written returns the instant that the ID carries, to the millisecond.
func (id ID) Written() (time.Time, bool) {
	u, err := ulid.ParseStrict(string(id))
	if err != nil {
		return time.Time{}, false
	}
	return ulid.Time(u.Time()).UTC(), true
}

// Entry is one line of a logbook.
type Entry struct {
	ID      ID        // names the entry for good
	Subject ID        // the instrument or owner it is about: the ID of its first entry
	At      time.Time // when it happened, UTC to the microsecond
	Written time.Time // when it was written down, UTC to the microsecond
	By      string    // who wrote it
	Fact    Fact      // what was seen or done
}

// Kind returns the kind of the entry's fact.
func (e Entry) Kind() Kind { return e.Fact.Kind() }

// Check returns nil if e is whole in itself, whatever the logbook says.
func (e Entry) Check() error {
	for _, id := range []ID{e.ID, e.Subject} {
		if canonical, err := ParseID(string(id)); err != nil || canonical != id {
			return fmt.Errorf("%w: id %.40q is no ULID in capital letters; it has 26 letters and digits", ErrEntry, string(id))
		}
	}
	if e.Fact == nil {
		return fmt.Errorf("%w: entry %s says nothing; give it a kind and a fact", ErrEntry, e.ID)
	}
	if e.At.IsZero() || e.Written.IsZero() {
		return fmt.Errorf("%w: entry %s has no time; give when it happened and when it was written", ErrEntry, e.ID)
	}
	if strings.TrimSpace(e.By) == "" {
		return fmt.Errorf("%w: entry %s has no name; say who writes it", ErrEntry, e.ID)
	}
	if err := e.Fact.check(); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrEntry, e.Kind(), err)
	}
	return nil
}

// entryJSON is the written form of an entry, one object a line.
type entryJSON struct {
	ID      ID              `json:"id"`
	Subject ID              `json:"subject"`
	At      string          `json:"at"`
	Written string          `json:"written"`
	By      string          `json:"by"`
	Kind    Kind            `json:"kind"`
	Fact    json.RawMessage `json:"fact"`
}

// MarshalJSON writes the entry as one object whose form is stable, so that
// the same entry gives the same bytes.
func (e Entry) MarshalJSON() ([]byte, error) {
	fact, err := json.Marshal(e.Fact)
	if err != nil {
		return nil, err
	}
	return json.Marshal(entryJSON{
		ID: e.ID, Subject: e.Subject, At: e.At.Format(time.RFC3339Nano), Written: e.Written.Format(time.RFC3339Nano),
		By: e.By, Kind: e.Kind(), Fact: fact,
	})
}

// UnmarshalJSON reads the object written by MarshalJSON and checks it; an
// unknown kind or field is an error, so that nothing is dropped unseen.
func (e *Entry) UnmarshalJSON(text []byte) error {
	var j entryJSON
	if err := decodeStrict(text, &j); err != nil {
		return fmt.Errorf("%w: %w", ErrEntry, err)
	}
	at, err := timescale.Parse(j.At)
	if err != nil {
		return fmt.Errorf("%w: entry %.26s: at: %w", ErrEntry, j.ID, err)
	}
	written, err := timescale.Parse(j.Written)
	if err != nil {
		return fmt.Errorf("%w: entry %.26s: written: %w", ErrEntry, j.ID, err)
	}
	fact, err := DecodeFact(j.Kind, j.Fact)
	if err != nil {
		return fmt.Errorf("entry %.26s: %w", j.ID, err)
	}
	read := Entry{ID: j.ID, Subject: j.Subject, At: at, Written: written, By: j.By, Fact: fact}
	if err := read.Check(); err != nil {
		return err
	}
	*e = read
	return nil
}

// DecodeFact returns the fact of a kind from its JSON object.
func DecodeFact(kind Kind, text []byte) (Fact, error) {
	form, ok := forms[kind]
	if !ok {
		return nil, fmt.Errorf("%w: kind %.40q is unknown; this program may be older than the file", ErrEntry, kind)
	}
	fact, err := form.decode(text)
	if err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrEntry, kind, err)
	}
	return fact, nil
}

func decodeStrict(text []byte, into any) error {
	if len(bytes.TrimSpace(text)) == 0 {
		return errors.New("the object is missing")
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return err
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("there is text after the object")
	}
	return nil
}

// Sort orders entries by when they happened and, at the same instant, by when
// they were written.
func Sort(entries []Entry) {
	slices.SortFunc(entries, func(a, b Entry) int {
		return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.ID, b.ID))
	})
}

// byID returns entries in the order of their IDs.
func byID(entries []Entry) []Entry {
	sorted := slices.Clone(entries)
	slices.SortFunc(sorted, func(a, b Entry) int { return cmp.Compare(a.ID, b.ID) })
	return sorted
}
