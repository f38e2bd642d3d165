package workshop

import (
	"crypto/sha256"
	"encoding/binary"
	"strconv"

	"github.com/oklog/ulid/v2"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
)

// FileLogbook returns the rows of a rate book as a logbook of its own, about
// no instrument of the workshop, and the line of each entry.
func FileLogbook(book ratebook.Book) (chronometer.Logbook, map[chronometer.ID]int) {
	entries, lines := entriesOf(book, "", "file")
	return chronometer.NewLogbook(entries), lines
}

// entriesOf returns the entries that the rows of a rate book make about a
// subject. Their IDs come from what they say, so that the same file read twice
// makes the same entries.
func entriesOf(book ratebook.Book, subject chronometer.ID, by string) ([]chronometer.Entry, map[chronometer.ID]int) {
	var entries []chronometer.Entry
	lines := map[chronometer.ID]int{}
	seen := map[chronometer.ID]bool{}
	for _, row := range book.Rows {
		for _, fact := range row.Facts {
			who := by
			if row.By != "" {
				who = row.By
			}
			e := chronometer.Entry{Subject: subject, At: row.At, Written: row.At, By: who, Fact: fact}
			e.ID = idOf(e, 0)
			for salt := 1; seen[e.ID]; salt++ {
				e.ID = idOf(e, salt)
			}
			seen[e.ID] = true
			entries, lines[e.ID] = append(entries, e), row.Line
		}
	}
	return entries, lines
}

// inBook returns a fact without what a rate book does not carry, so that a
// comparison that went out in one is known again when it comes back.
func inBook(f chronometer.Fact) chronometer.Fact {
	switch f := f.(type) {
	case chronometer.Compared:
		f.Kept, f.Tapped, f.Heard = nil, nil, nil
		return f
	case chronometer.Listened:
		f.Reading = nil
		return f
	case chronometer.Wound:
		f.AfterH = nil
		return f
	}
	return f
}

// idOf returns an ID made of the instant and of what the entry says, whoever
// wrote it and whenever.
func idOf(e chronometer.Entry, salt int) chronometer.ID {
	e.ID, e.By, e.Written, e.Fact = "", "", e.At, inBook(e.Fact)
	text, err := e.MarshalJSON()
	if err != nil {
		text = []byte(e.Fact.Words()) // a fact that cannot be written is refused by Check later
	}
	sum := sha256.Sum256(binary.BigEndian.AppendUint64(text, uint64(salt)))
	var u ulid.ULID
	if ms := e.At.UnixMilli(); ms >= 0 {
		_ = u.SetTime(uint64(ms)) // after 1970 and before 2200 it fits
	}
	copy(u[6:], sum[:])
	return chronometer.ID(u.String())
}

// RateFile rates the comparisons of a rate book; readings are named by the
// line they stand in.
func RateFile(book ratebook.Book, dial clock.Dial, opt rating.Options) (rating.Rating, error) {
	log, lines := FileLogbook(book)
	h := History(dial, log)
	for i := range h.Readings {
		h.Readings[i].Ref = strconv.Itoa(lines[chronometer.ID(h.Readings[i].Ref)])
	}
	return rating.Rate(h, opt)
}
