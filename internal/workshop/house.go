package workshop

import (
	"bytes"
	"context"
	"slices"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/store"
)

// House is the workshop's own particulars with the ID of their logbook, which is
// empty if none were ever written.
type House struct {
	ID    chronometer.ID
	House chronometer.House
}

// House returns the workshop's own particulars, the last that were written.
func (w *Workshop) House(ctx context.Context) (House, error) {
	var found House
	err := w.eachOf(ctx, chronometer.KindHouse, func(s store.Subject, book chronometer.Logbook) {
		if h, ok := book.House(); ok {
			found = House{s.ID, h}
		}
	})
	return found, err
}

// Programme is a programme of trials that the workshop has written, with the
// ID of its logbook.
type Programme struct {
	ID        chronometer.ID
	Programme chronometer.Programme
}

// Programmes returns the workshop's own programmes by name.
func (w *Workshop) Programmes(ctx context.Context) ([]Programme, error) {
	var own []Programme
	err := w.eachOf(ctx, chronometer.KindProgramme, func(s store.Subject, book chronometer.Logbook) {
		if p, ok := book.Programme(); ok {
			own = append(own, Programme{s.ID, p})
		}
	})
	slices.SortFunc(own, func(a, b Programme) int { return strings.Compare(a.Programme.Name, b.Programme.Name) })
	return own, err
}

// eachOf tells the logbooks that begin with a kind, oldest first.
func (w *Workshop) eachOf(ctx context.Context, kind chronometer.Kind, tell func(store.Subject, chronometer.Logbook)) error {
	subjects, err := w.db.Subjects(ctx)
	if err != nil {
		return err
	}
	slices.SortFunc(subjects, func(a, b store.Subject) int { return strings.Compare(string(a.ID), string(b.ID)) })
	for _, s := range subjects {
		if s.Kind != kind {
			continue
		}
		book, err := w.db.Logbook(ctx, s.ID)
		if err != nil {
			return err
		}
		tell(s, book)
	}
	return nil
}

// KeepCertificate stores a certificate as it was issued and writes the entry
// that names it, under an ID of NewID as in WriteOnce.
func (w *Workshop) KeepCertificate(ctx context.Context, id chronometer.ID, by string, subject chronometer.ID, c chronometer.Certified, pdf []byte) (chronometer.Entry, error) {
	at, err := c.At()
	if err != nil {
		return chronometer.Entry{}, err
	}
	if _, err := w.db.Attach(ctx, bytes.NewReader(pdf), mostAttached, "application/pdf", "certificate "+c.Certificate+".pdf"); err != nil {
		return chronometer.Entry{}, err
	}
	return w.WriteOnce(ctx, id, by, subject, at, c)
}

// Logbooks returns the logbooks of all instruments.
func (w *Workshop) Logbooks(ctx context.Context) ([]chronometer.Logbook, error) {
	var books []chronometer.Logbook
	err := w.eachOf(ctx, chronometer.KindEntered, func(_ store.Subject, book chronometer.Logbook) { books = append(books, book) })
	return books, err
}
