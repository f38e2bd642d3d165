package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// Entries is a stretch of a logbook, oldest first.
type Entries struct {
	Entries []Entry `json:"entries"`
	More    bool    `json:"more"` // ask again after the last of these
}

// Entry is one line of a logbook.
type Entry struct {
	ID      string           `json:"id"`
	At      time.Time        `json:"at"`
	Written time.Time        `json:"written"`
	By      string           `json:"by"`
	Kind    string           `json:"kind"`
	Fact    chronometer.Fact `json:"fact"`
	Words   string           `json:"words"`
	Struck  *Struck          `json:"struck_out"` // null if it stands
}

// Struck says who struck an entry out, when and why.
type Struck struct {
	Entry   string    `json:"entry"` // the entry that strikes it out
	Written time.Time `json:"written"`
	By      string    `json:"by"`
	Why     string    `json:"why"`
}

func fromEntry(e chronometer.Entry, book chronometer.Logbook) Entry {
	out := Entry{ID: string(e.ID), At: instant(e.At), Written: instant(e.Written), By: e.By, Kind: string(e.Kind()), Fact: e.Fact, Words: e.Fact.Words()}
	if by, ok := book.StruckOut(e.ID); ok {
		out.Struck = &Struck{Entry: string(by.ID), Written: instant(by.Written), By: by.By, Why: by.Fact.Words()}
	}
	return out
}

// pageLength and mostPage are how many entries an answer holds, unless and at
// most.
const (
	pageLength = 1000
	mostPage   = 10000
)

func (s *surface) entries(w http.ResponseWriter, r *http.Request) error {
	q, err := questions(r, "", "kind", "after", "limit")
	if err != nil {
		return err
	}
	kind := chronometer.Kind(q.Get("kind"))
	if q.Has("kind") && !kind.Known() {
		return fmt.Errorf("%w: kind %.40q is not known; %s/kinds lists them", errQuestion, string(kind), Root)
	}
	limit := pageLength
	if q.Has("limit") {
		if limit, err = strconv.Atoi(q.Get("limit")); err != nil || limit < 1 || limit > mostPage {
			return fmt.Errorf("%w: limit %.20q is not between 1 and %d", errQuestion, q.Get("limit"), mostPage)
		}
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	all := seen.Logbook.Entries()
	if q.Has("after") {
		if all, err = after(all, q.Get("after")); err != nil {
			return err
		}
	}
	out := Entries{Entries: []Entry{}}
	for _, e := range all {
		if kind != "" && e.Kind() != kind {
			continue
		}
		if len(out.Entries) == limit {
			out.More = true
			break
		}
		out.Entries = append(out.Entries, fromEntry(e, seen.Logbook))
	}
	return send(w, http.StatusOK, out)
}

// after returns the entries that stand after an entry, or that happened after
// an instant.
func after(all []chronometer.Entry, text string) ([]chronometer.Entry, error) {
	if id, err := chronometer.ParseID(text); err == nil {
		i := slices.IndexFunc(all, func(e chronometer.Entry) bool { return e.ID == id })
		if i < 0 {
			return nil, fmt.Errorf("%w: after: no entry has the id %s; read the logbook from its beginning", errQuestion, id)
		}
		return all[i+1:], nil
	}
	at, err := timescale.Parse(text)
	if err != nil {
		return nil, fmt.Errorf("%w: after: it is no entry's id, and %w", errQuestion, err)
	}
	i := slices.IndexFunc(all, func(e chronometer.Entry) bool { return e.At.After(at) })
	if i < 0 {
		return nil, nil
	}
	return all[i:], nil
}

// newEntry is the body that writes an entry.
type newEntry struct {
	At   string          `json:"at"`
	By   string          `json:"by"`
	Kind string          `json:"kind"`
	Fact json.RawMessage `json:"fact"`
}

func (s *surface) write(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	var body newEntry
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if err := signed(body.By); err != nil {
		return err
	}
	at, err := timescale.Parse(body.At)
	if err != nil {
		return fmt.Errorf("at: %w", err)
	}
	fact, err := s.fact(r, chronometer.Kind(body.Kind), body.Fact)
	if err != nil {
		return err
	}
	switch fact.(type) {
	case chronometer.Owner:
		return fmt.Errorf("%w: an owner has no place in the logbook of an instrument; enter it at %s/owners", chronometer.ErrEntry, Root)
	case chronometer.Equation:
		return fmt.Errorf("%w: a personal equation has no place in the logbook of an instrument; measure it on its page", chronometer.ErrEntry)
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	e, err := s.workshop.Write(r.Context(), body.By, seen.ID, at, fact)
	if err != nil {
		return err
	}
	return send(w, http.StatusCreated, fromEntry(e, seen.Logbook))
}

// signed returns an error unless somebody is named.
func signed(by string) error {
	if strings.TrimSpace(by) == "" {
		return fmt.Errorf("%w: by is missing; say who writes it", chronometer.ErrEntry)
	}
	if len(by) > 200 {
		return fmt.Errorf("%w: by has %d bytes; write a name of at most 200", chronometer.ErrEntry, len(by))
	}
	return nil
}

// fact returns the fact of a kind, once what it refers to is found.
func (s *surface) fact(r *http.Request, kind chronometer.Kind, text json.RawMessage) (chronometer.Fact, error) {
	if bytes.Equal(text, []byte("null")) {
		text = nil
	}
	fact, err := chronometer.DecodeFact(kind, text)
	if err != nil {
		return nil, err
	}
	switch f := fact.(type) {
	case chronometer.Instrument:
		if f.Owner == "" {
			return fact, nil
		}
		owners, err := s.workshop.Owners(r.Context())
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(owners, func(o workshop.Owner) bool { return o.ID == f.Owner }) {
			return nil, fmt.Errorf("%w: owner %s is not in this workshop; enter it at %s/owners and give its id", chronometer.ErrEntry, f.Owner, Root)
		}
	}
	return fact, s.attached(r, fact)
}

// attached returns an error unless the file that a fact names is kept, and a
// recording is kept as one.
func (s *surface) attached(r *http.Request, fact chronometer.Fact) error {
	sha := chronometer.Attached(fact)
	if sha == "" {
		return nil
	}
	what, types := "recording", []string{chronometer.WAV, chronometer.FLAC}
	switch fact.(type) {
	case chronometer.Photograph:
		what, types = "picture", nil // a sound may stand in its place
	case chronometer.Certified:
		what, types = "certificate", []string{"application/pdf"}
	}
	mediaType, file, err := s.workshop.Attachment(r.Context(), sha)
	if errors.Is(err, workshop.ErrUnknown) {
		return fmt.Errorf("%w: no %s with the sha256 %s is kept; attach it on the page of the instrument", chronometer.ErrEntry, what, sha)
	}
	if err != nil {
		return err
	}
	if err := file.Close(); err != nil {
		return err
	}
	if types != nil && !slices.Contains(types, mediaType) {
		return fmt.Errorf("%w: the file with the sha256 %s is kept as %s and is no %s; attach the right one on the page of the instrument", chronometer.ErrEntry, sha, mediaType, what)
	}
	return nil
}

// strike is the body that strikes an entry out.
type strike struct {
	By  string `json:"by"`
	Why string `json:"why"`
}

func (s *surface) strikeOut(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	var body strike
	if err := decode(w, r, &body); err != nil {
		return err
	}
	if err := signed(body.By); err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	id, err := chronometer.ParseID(r.PathValue("id"))
	if err != nil {
		return fmt.Errorf("%w: %.40q is no id of an entry", errNoEntry, r.PathValue("id"))
	}
	if _, ok := seen.Logbook.Entry(id); !ok {
		return fmt.Errorf("%w: %s; look for it among the entries", errNoEntry, id)
	}
	e, err := s.workshop.Write(r.Context(), body.By, seen.ID, s.now(), chronometer.StruckOut{Entry: id, Why: body.Why})
	if err != nil {
		return err
	}
	return send(w, http.StatusCreated, fromEntry(e, seen.Logbook))
}

// Kinds is every kind of entry, in the order in which a page offers them.
type Kinds struct {
	Kinds []Kind `json:"kinds"`
}

// Kind is a kind of entry and the form of its fact.
type Kind struct {
	Kind   string  `json:"kind"`
	Title  string  `json:"title"`
	About  string  `json:"about"`
	Fields []Field `json:"fields"`
}

// Field is one field of a fact.
type Field struct {
	Name    string   `json:"name"`
	Label   string   `json:"label"`
	Type    string   `json:"type"`
	Unit    string   `json:"unit"`
	Hint    string   `json:"hint"`
	Choices []string `json:"choices"`
	Needed  bool     `json:"needed"`
}

func (s *surface) kinds(w http.ResponseWriter, r *http.Request) error {
	if _, err := questions(r, ""); err != nil {
		return err
	}
	out := Kinds{}
	for _, k := range chronometer.Kinds() {
		kind := Kind{Kind: string(k), Title: k.Title(), About: k.About(), Fields: []Field{}}
		for _, f := range k.Fields() {
			kind.Fields = append(kind.Fields, Field{
				Name: f.Name, Label: f.Label, Type: string(f.Type), Unit: f.Unit, Hint: f.Hint, Choices: append([]string{}, f.Choices...), Needed: f.Needed,
			})
		}
		out.Kinds = append(out.Kinds, kind)
	}
	return send(w, http.StatusOK, out)
}
