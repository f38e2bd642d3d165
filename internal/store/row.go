package store

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"timeball/internal/chronometer"
	"timeball/internal/timescale"
)

// row is an entry as it stands in its table.
type row struct {
	id, subject     string
	atUS, writtenUS int64 // µs of UTC since 1970
	by, kind, fact  string
}

// newRow returns the row of e, or an error if e breaks a rule of the logbook
// or could not be read back.
func newRow(e chronometer.Entry) (row, error) {
	if err := e.Check(); err != nil {
		return row{}, err
	}
	refuse := func(format string, args ...any) (row, error) {
		return row{}, fmt.Errorf("%w: entry %s: %s", chronometer.ErrEntry, e.ID, fmt.Sprintf(format, args...))
	}
	for _, id := range []chronometer.ID{e.ID, e.Subject} {
		if canon, err := chronometer.ParseID(string(id)); err != nil || canon != id {
			return refuse("write the id %.40q in capital letters without spaces", id)
		}
	}
	// A later ID would leave none for the entries after it.
	if written, _ := e.ID.Written(); written.Year() >= 2200 {
		return refuse("its id was made in the year %d; set the clock of the computer right and write it again", written.Year())
	}
	for _, t := range []time.Time{e.At, e.Written} {
		if _, err := timescale.Parse(t.UTC().Format(time.RFC3339Nano)); err != nil {
			return refuse("%v", err)
		}
	}
	if !utf8.ValidString(e.By) || strings.ContainsRune(e.By, 0) {
		return refuse("the name %.40q is not text in UTF-8; write it anew", e.By)
	}
	if e.ID == e.Subject && !e.Kind().Begins() {
		return refuse("it is of kind %q, with which no logbook begins; write it into one that is begun", e.Kind())
	}
	fact, err := json.Marshal(e.Fact)
	if err != nil {
		return refuse("%v", err)
	}
	if _, err := chronometer.DecodeFact(e.Kind(), fact); err != nil {
		return row{}, fmt.Errorf("entry %s could not be read back: %w", e.ID, err)
	}
	return row{
		id: string(e.ID), subject: string(e.Subject), atUS: e.At.UnixMicro(), writtenUS: e.Written.UnixMicro(),
		by: e.By, kind: string(e.Kind()), fact: string(fact),
	}, nil
}

// entry returns the entry of r, with instants in UTC to the microsecond.
func (r row) entry() (chronometer.Entry, error) {
	fact, err := chronometer.DecodeFact(chronometer.Kind(r.kind), []byte(r.fact))
	if err != nil {
		return chronometer.Entry{}, fmt.Errorf("entry %s: %w", r.id, err)
	}
	e := chronometer.Entry{
		ID: chronometer.ID(r.id), Subject: chronometer.ID(r.subject),
		At: time.UnixMicro(r.atUS).UTC(), Written: time.UnixMicro(r.writtenUS).UTC(), By: r.by, Fact: fact,
	}
	return e, e.Check()
}

// versions is the number of different digests. Whole numbers below 2⁵³ are
// exact in JSON too.
const versions = 1 << 53

// digest returns the first 53 bits of the SHA-256 of the columns, each behind
// its length.
func (r row) digest() int64 {
	var text []byte
	for _, s := range [...]string{r.id, r.subject, r.by, r.kind, r.fact} {
		text = binary.BigEndian.AppendUint64(text, uint64(len(s)))
		text = append(text, s...)
	}
	text = binary.BigEndian.AppendUint64(text, uint64(r.atUS))
	text = binary.BigEndian.AppendUint64(text, uint64(r.writtenUS))
	sum := sha256.Sum256(text)
	return int64(binary.BigEndian.Uint64(sum[:8]) >> 11)
}
