package workshop

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/picture"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/store"
)

// Write adds a fact to the logbook of a subject and returns the entry once it
// is safe. Its error says what to write instead.
func (w *Workshop) Write(ctx context.Context, by string, subject chronometer.ID, at time.Time, fact chronometer.Fact) (chronometer.Entry, error) {
	book, err := w.db.Logbook(ctx, subject)
	if err != nil {
		return chronometer.Entry{}, err
	}
	id := w.db.NewID(w.now(), before(book, fact)...)
	e := w.entry(id, by, subject, at, fact)
	if err := book.Admits(e, e.Written); err != nil {
		return chronometer.Entry{}, err
	}
	return e, w.db.Add(ctx, []chronometer.Entry{e})
}

// NewID returns an ID under which one entry of a kind can be written into the
// logbook of a subject: later than every entry that it may strike out or
// correct. The subject is empty if the entry is to begin a logbook.
func (w *Workshop) NewID(ctx context.Context, subject chronometer.ID, kind chronometer.Kind) (chronometer.ID, error) {
	var after []chronometer.ID
	if subject != "" && (kind == chronometer.KindStruckOut || particulars(kind)) {
		book, err := w.db.Logbook(ctx, subject)
		if err != nil {
			return "", err
		}
		for _, e := range book.Entries() {
			if kind == chronometer.KindStruckOut || e.Kind() == kind {
				after = append(after, e.ID)
			}
		}
	}
	return w.db.NewID(w.now(), after...), nil
}

// WriteOnce is Write under an ID of NewID, however often it is asked: if the
// same was written under it before, that entry is returned, and if something
// else was, it is refused. The zero instant is that of writing. A fact about
// its own ID begins a logbook. A comparison made just now that names no
// standard is written with that of the workshop.
func (w *Workshop) WriteOnce(ctx context.Context, id chronometer.ID, by string, subject chronometer.ID, at time.Time, fact chronometer.Fact) (chronometer.Entry, error) {
	book, err := w.db.Logbook(ctx, subject)
	if err != nil && (id != subject || !errors.Is(err, store.ErrUnknown)) {
		return chronometer.Entry{}, err
	}
	e := w.entry(id, by, subject, at, fact)
	if at.IsZero() {
		e.At = e.Written
	}
	if kept, ok := book.Entry(id); ok {
		return kept, same(kept, e, at.IsZero())
	}
	for _, earlier := range before(book, fact) {
		if particulars(e.Kind()) && earlier > id {
			return chronometer.Entry{}, fmt.Errorf("%w: the particulars were written anew since this was begun; look at them, then send it once more", chronometer.ErrRefused)
		}
	}
	if err := errors.Join(book.Admits(e, e.Written), w.single(ctx, e)); err != nil {
		return chronometer.Entry{}, err
	}
	stamped := e
	if c, ok := e.Fact.(chronometer.Compared); ok {
		stamped.Fact = w.stamp(c, e.At)
	}
	err = w.db.Add(ctx, []chronometer.Entry{stamped})
	if !errors.Is(err, store.ErrConflict) {
		return stamped, err
	}
	// It came twice at the same moment, or the ID is from another logbook.
	if book, err = w.db.Logbook(ctx, subject); err != nil && !errors.Is(err, store.ErrUnknown) {
		return chronometer.Entry{}, err
	}
	if kept, ok := book.Entry(id); ok {
		return kept, same(kept, e, at.IsZero())
	}
	return chronometer.Entry{}, fmt.Errorf("%w: it was sent before about something else; look there, then send it once more", chronometer.ErrRefused)
}

// same returns nil if an entry says what was kept under its ID; the instant
// does not count if both were to be that of writing.
func same(kept, e chronometer.Entry, whenWritten bool) error {
	if whenWritten && kept.At.Equal(kept.Written) {
		e.At = kept.At
	}
	e.Written = kept.Written
	e.Fact = stampedLike(e.Fact, kept.Fact)
	a, err := kept.MarshalJSON()
	if err != nil {
		return err
	}
	b, err := e.MarshalJSON()
	if err != nil {
		return err
	}
	if !bytes.Equal(a, b) {
		return fmt.Errorf("%w: it was sent before with other content, written as %q at %s by %s; look in the logbook, and if this is another entry send it once more",
			chronometer.ErrRefused, string(kept.Kind()), kept.At.Format("2006-01-02 15:04:05 UTC"), kept.By)
	}
	return nil
}

// entry returns a fact as an entry written now.
func (w *Workshop) entry(id chronometer.ID, by string, subject chronometer.ID, at time.Time, fact chronometer.Fact) chronometer.Entry {
	return chronometer.Entry{ID: id, Subject: subject, At: at.UTC().Truncate(time.Microsecond), Written: w.now().UTC().Truncate(time.Microsecond), By: by, Fact: fact}
}

// before returns the entries than which the ID of a fact must be later: the one
// it strikes out, and the particulars it corrects.
func before(book chronometer.Logbook, fact chronometer.Fact) []chronometer.ID {
	var ids []chronometer.ID
	if s, ok := fact.(chronometer.StruckOut); ok {
		return append(ids, s.Entry)
	}
	for _, e := range book.Entries() {
		if e.Kind() == fact.Kind() && particulars(e.Kind()) {
			ids = append(ids, e.ID)
		}
	}
	return ids
}

// particulars reports whether entries of a kind correct those before them.
func particulars(kind chronometer.Kind) bool {
	switch kind {
	case chronometer.KindEntered, chronometer.KindOwner, chronometer.KindHouse, chronometer.KindProgramme:
		return true
	}
	return false
}

// Enter opens the logbook of an instrument and returns its ID.
func (w *Workshop) Enter(ctx context.Context, by string, i chronometer.Instrument) (chronometer.ID, error) {
	return w.open(ctx, by, i)
}

// EnterOwner opens the record of an owner and returns its ID.
func (w *Workshop) EnterOwner(ctx context.Context, by string, o chronometer.Owner) (chronometer.ID, error) {
	return w.open(ctx, by, o)
}

func (w *Workshop) open(ctx context.Context, by string, fact chronometer.Fact) (chronometer.ID, error) {
	id := w.db.NewID(w.now())
	e := w.entry(id, by, id, time.Time{}, fact)
	e.At = e.Written
	if err := errors.Join(e.Check(), w.single(ctx, e)); err != nil {
		return "", err
	}
	return id, w.db.Add(ctx, []chronometer.Entry{e})
}

// single refuses particulars that another instrument has: the same number of
// the same maker.
func (w *Workshop) single(ctx context.Context, e chronometer.Entry) error {
	i, ok := e.Fact.(chronometer.Instrument)
	if !ok {
		return nil
	}
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return err
	}
	for _, s := range subjects {
		if s.Kind != chronometer.KindEntered || s.ID == e.Subject {
			continue
		}
		other, err := w.instrument(ctx, s)
		if err != nil {
			return err
		}
		if other.Number == i.Number && other.Maker == i.Maker {
			return fmt.Errorf("%w: number %s of this maker is entered already; open it from the room, or write the maker's name that tells the two apart", chronometer.ErrRefused, i.Number)
		}
	}
	return nil
}

// Preview reads a rate book and tells what bringing it in would do; nothing is
// saved.
func (w *Workshop) Preview(ctx context.Context, subject chronometer.ID, by string, file io.Reader) (Preview, error) {
	book, err := w.db.Logbook(ctx, subject)
	if err != nil {
		return Preview{}, err
	}
	p, err := w.gather(book, subject, by, file)
	if err != nil {
		return Preview{}, err
	}
	instrument, _ := book.Instrument()
	merged := book.Merge(chronometer.NewLogbook(p.Entries))
	r, err := rating.Rate(History(instrument.ClockDial(), merged), rating.Options{Curve: curvePoints, Track: true})
	if err != nil { // too little to rate is no reason to refuse the file
		p.Why = err.Error()
		return p, nil
	}
	p.Rating = &r
	for _, s := range r.SetAside {
		if line, ok := p.Lines[chronometer.ID(s.Ref)]; ok {
			s.Ref = strconv.Itoa(line)
			p.SetAside = append(p.SetAside, s)
		}
	}
	return p, nil
}

// gather reads a rate book and sorts what it would add from what the logbook
// holds already.
func (w *Workshop) gather(book chronometer.Logbook, subject chronometer.ID, by string, file io.Reader) (Preview, error) {
	rows, err := ratebook.Read(file)
	if err != nil {
		return Preview{}, err
	}
	entries, lines := entriesOf(rows, subject, by)
	p := Preview{Rows: len(rows.Rows), Remarks: rows.Remarks, Lines: lines}
	now := w.now().UTC().Truncate(time.Microsecond)
	instrument, _ := book.Instrument()
	held := map[chronometer.ID]bool{}
	for _, e := range book.Standing() {
		held[idOf(e, 0)] = true
	}
	for _, e := range entries {
		if _, ok := book.Entry(e.ID); ok || held[idOf(e, 0)] {
			p.Held++
			continue
		}
		if e.At.After(now.Add(time.Minute)) {
			return Preview{}, &ratebook.Error{Line: lines[e.ID], Column: "utc", Err: fmt.Errorf("%s is in the future; write when it was read", e.At.Format(time.RFC3339))}
		}
		e.Written = now
		if err := e.Check(); err != nil {
			return Preview{}, &ratebook.Error{Line: lines[e.ID], Err: err}
		}
		if err := instrument.Fits(e.Fact); err != nil {
			return Preview{}, &ratebook.Error{Line: lines[e.ID], Err: err}
		}
		p.Entries = append(p.Entries, e)
	}
	p.New = len(p.Entries)
	return p, nil
}

// Import brings a rate book into a logbook, whole or not at all, and returns
// how many entries were new.
func (w *Workshop) Import(ctx context.Context, subject chronometer.ID, by string, file io.Reader) (int, error) {
	book, err := w.db.Logbook(ctx, subject)
	if err != nil {
		return 0, err
	}
	p, err := w.gather(book, subject, by, file)
	if err != nil {
		return 0, err
	}
	return p.New, w.db.Add(ctx, p.Entries)
}

// mostAttached is the most bytes of one picture.
const mostAttached = 64 << 20

// Attach stores a picture as picture.Small makes it, small and without where
// it was taken, and writes the entry that names it, under an ID of NewID as in
// WriteOnce. What was sent is not kept; the entry has its name. Its error wraps
// chronometer.ErrEntry and picture.ErrPicture if the file is no picture that
// can be read or is too large.
func (w *Workshop) Attach(ctx context.Context, id chronometer.ID, by string, subject chronometer.ID, at time.Time, name, caption string, r io.Reader) (chronometer.Entry, error) {
	const mediaType = "image/jpeg"
	small, err := w.small(ctx, r)
	if errors.Is(err, picture.ErrPicture) {
		return chronometer.Entry{}, fmt.Errorf("%w: %w", chronometer.ErrEntry, err)
	}
	if err != nil {
		return chronometer.Entry{}, err
	}
	a, err := w.db.Attach(ctx, small, mostAttached, mediaType, name)
	if err != nil {
		return chronometer.Entry{}, err
	}
	return w.WriteOnce(ctx, id, by, subject, at, chronometer.Photograph{SHA256: a.SHA256, Name: name, Type: mediaType, Caption: caption})
}

// small returns the picture in r made small. One picture is held in memory at
// a time, however many are sent.
func (w *Workshop) small(ctx context.Context, r io.Reader) (*bytes.Buffer, error) {
	select {
	case w.pictures <- struct{}{}:
		defer func() { <-w.pictures }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	var small bytes.Buffer
	_, err := picture.Small(&small, r, picture.Limits{Bytes: mostAttached})
	return &small, err
}

// Attachment returns the media type of a stored file and the file, which the
// caller closes, by its SHA-256.
func (w *Workshop) Attachment(ctx context.Context, sha256 string) (string, io.ReadSeekCloser, error) {
	r, a, err := w.db.OpenAttachment(ctx, sha256)
	if errors.Is(err, store.ErrUnknown) {
		return "", nil, fmt.Errorf("%w: %w", ErrUnknown, err)
	}
	return a.Type, r, err
}

// Fill writes entries as they are, all or none; it is how a demonstration and
// an export come in.
func (w *Workshop) Fill(ctx context.Context, entries []chronometer.Entry) error {
	return w.db.Add(ctx, entries)
}

// Verify reports whether the folder is whole.
func (w *Workshop) Verify(ctx context.Context) (store.Report, error) { return w.db.Verify(ctx) }
