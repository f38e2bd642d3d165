// Package client asks a timeball workshop over HTTP what is known of its
// instruments, and writes into their logbooks.
//
// Error is dial minus UTC in seconds, positive fast; rate is its change in
// seconds a day, positive gaining; each stands beside one standard deviation
// and its central 95% interval. Instants are UTC. The package needs the
// standard library alone.
package client

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Client asks one workshop. It may be used by several goroutines.
type Client struct {
	root string
	http *http.Client
}

// New returns a client of the workshop at an address such as
// http://127.0.0.1:1833; with nil it uses http.DefaultClient.
func New(address string, over *http.Client) (*Client, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" {
		return nil, fmt.Errorf("address %.80q is not that of a workshop; write it as http://127.0.0.1:1833", address)
	}
	if over == nil {
		over = http.DefaultClient
	}
	return &Client{root: strings.TrimRight(u.String(), "/") + "/api/v1", http: over}, nil
}

// Error is what the workshop says when it cannot do what was asked.
type Error struct {
	Status   int    // of HTTP: 404 not there, 409 does not fit the logbook, 422 breaks a rule …
	Sentence string // what, where, and what to do
}

// Error returns the sentence.
func (e *Error) Error() string { return e.Sentence }

// mostAnswer is the most bytes of an answer that are read.
const mostAnswer = 256 << 20

// The types of body.
const (
	jsonType = "application/json"
	csvType  = "text/csv; charset=utf-8"
)

// Instruments returns every instrument, the most urgent first.
func (c *Client) Instruments(ctx context.Context) (Room, error) {
	return ask[Room](ctx, c, "/instruments", nil)
}

// Instrument returns one instrument, by its number or its id, with its
// particulars.
func (c *Client) Instrument(ctx context.Context, number string) (Instrument, error) {
	return ask[Instrument](ctx, c, of(number, ""), nil)
}

// Rating returns what the comparisons of an instrument say, and in its
// forecast the error at the instants asked for. It fails with status 409 while
// there are too few comparisons.
func (c *Client) Rating(ctx context.Context, number string, at ...time.Time) (Rating, error) {
	q := url.Values{}
	for _, t := range at {
		q.Add("at", t.UTC().Format(time.RFC3339Nano))
	}
	return ask[Rating](ctx, c, of(number, "/rating"), q)
}

// Which says which entries are wanted; its zero value wants all.
type Which struct {
	Kind  string    // only these
	After string    // only those that stand after the entry of this id
	Since time.Time // or happened after this instant
}

// Entries returns entries of a logbook, oldest first, struck out or not.
func (c *Client) Entries(ctx context.Context, number string, w Which) ([]Entry, error) {
	q := url.Values{}
	if w.Kind != "" {
		q.Set("kind", w.Kind)
	}
	switch {
	case w.After != "":
		q.Set("after", w.After)
	case !w.Since.IsZero():
		q.Set("after", w.Since.UTC().Format(time.RFC3339Nano))
	}
	all := []Entry{}
	for {
		page, err := ask[entries](ctx, c, of(number, "/entries"), q)
		if err != nil {
			return nil, err
		}
		all = append(all, page.Entries...)
		if !page.More || len(page.Entries) == 0 {
			return all, nil
		}
		q.Set("after", all[len(all)-1].ID)
	}
}

// Write adds an entry to a logbook and returns it once it is safe. It fails
// with status 422 if the entry breaks a rule and 409 if it does not fit what is
// written already.
func (c *Client) Write(ctx context.Context, number string, e NewEntry) (Entry, error) {
	return tell[Entry](ctx, c, of(number, "/entries"), e)
}

// StrikeOut strikes an entry out and returns the entry that does so.
func (c *Client) StrikeOut(ctx context.Context, number, entry, by, why string) (Entry, error) {
	return tell[Entry](ctx, c, of(number, "/entries/"+url.PathEscape(entry)+"/strike-out"), map[string]string{"by": by, "why": why})
}

// Import brings a comparison file into a logbook, whole or not at all, and
// returns how many entries were new.
func (c *Client) Import(ctx context.Context, number, by string, file io.Reader) (int, error) {
	in, err := send[imported](ctx, c, http.MethodPost, of(number, "/comparisons"), url.Values{"by": {by}}, csvType, file)
	return in.New, err
}

// Preview returns what a comparison file would bring in; nothing is saved.
func (c *Client) Preview(ctx context.Context, number, by string, file io.Reader) (Preview, error) {
	return send[Preview](ctx, c, http.MethodPost, of(number, "/comparisons"), url.Values{"by": {by}, "preview": {"1"}}, csvType, file)
}

// Comparisons writes the comparisons and events of an instrument that stand to
// w, as a comparison file, and returns its length in bytes.
func (c *Client) Comparisons(ctx context.Context, number string, w io.Writer) (int64, error) {
	r, err := c.do(ctx, http.MethodGet, of(number, "/comparisons.csv"), nil, "", nil)
	if err != nil {
		return 0, err
	}
	defer r.Body.Close()
	return io.Copy(w, r.Body)
}

// Enter opens the logbook of an instrument. It fails with status 409 if one of
// this number and maker is entered.
func (c *Client) Enter(ctx context.Context, by string, p Particulars) (Instrument, error) {
	return tell[Instrument](ctx, c, "/instruments", map[string]any{"by": by, "instrument": p})
}

// Owners returns every owner, by name.
func (c *Client) Owners(ctx context.Context) ([]Owner, error) {
	o, err := ask[owners](ctx, c, "/owners", nil)
	return o.Owners, err
}

// EnterOwner opens the record of an owner; its id and its instruments in o are
// not looked at.
func (c *Client) EnterOwner(ctx context.Context, by string, o Owner) (Owner, error) {
	return tell[Owner](ctx, c, "/owners", map[string]any{"by": by, "owner": map[string]string{
		"name": o.Name, "place": o.Place, "contact": o.Contact, "notes": o.Notes,
	}})
}

// Kinds returns the kinds of entry and the forms of their facts.
func (c *Client) Kinds(ctx context.Context) ([]Kind, error) {
	k, err := ask[kinds](ctx, c, "/kinds", nil)
	return k.Kinds, err
}

// Standard returns where UTC comes from and within what bound it is known.
func (c *Client) Standard(ctx context.Context) (Standard, error) {
	return ask[Standard](ctx, c, "/standard", nil)
}

// of returns the path of something of an instrument.
func of(number, what string) string { return "/instruments/" + url.PathEscape(number) + what }

// ask gets an answer.
func ask[T any](ctx context.Context, c *Client, path string, q url.Values) (T, error) {
	return send[T](ctx, c, http.MethodGet, path, q, "", nil)
}

// tell posts a JSON object and returns the answer.
func tell[T any](ctx context.Context, c *Client, path string, what any) (T, error) {
	body, err := json.Marshal(what)
	if err != nil {
		var none T
		return none, fmt.Errorf("what is to be sent to %s cannot be written as JSON: %w", path, err)
	}
	return send[T](ctx, c, http.MethodPost, path, nil, jsonType, bytes.NewReader(body))
}

func send[T any](ctx context.Context, c *Client, method, path string, q url.Values, mediaType string, body io.Reader) (T, error) {
	var answer T
	r, err := c.do(ctx, method, path, q, mediaType, body)
	if err != nil {
		return answer, err
	}
	defer r.Body.Close()
	if err := json.NewDecoder(io.LimitReader(r.Body, mostAnswer)).Decode(&answer); err != nil {
		return answer, fmt.Errorf("the answer of the workshop to %s %s cannot be read: %w", method, path, err)
	}
	return answer, nil
}

// do returns the response if it is a success, whose body the caller closes,
// and otherwise an *Error.
func (c *Client) do(ctx context.Context, method, path string, q url.Values, mediaType string, body io.Reader) (*http.Response, error) {
	address := c.root + path
	if len(q) > 0 {
		address += "?" + q.Encode()
	}
	r, err := http.NewRequestWithContext(ctx, method, address, body)
	if err != nil {
		return nil, fmt.Errorf("%s %s: %w", method, path, err)
	}
	if mediaType != "" {
		r.Header.Set("Content-Type", mediaType)
	}
	answer, err := c.http.Do(r)
	if err != nil {
		return nil, fmt.Errorf("the workshop does not answer: %w", err)
	}
	if answer.StatusCode >= 200 && answer.StatusCode < 300 {
		return answer, nil
	}
	defer answer.Body.Close()
	var said struct {
		Error string `json:"error"`
	}
	text, _ := io.ReadAll(io.LimitReader(answer.Body, 1<<16)) // what came says enough
	if json.Unmarshal(text, &said) != nil || said.Error == "" {
		said.Error = "the workshop answered " + strconv.Itoa(answer.StatusCode) + " " + http.StatusText(answer.StatusCode)
	}
	return nil, &Error{Status: answer.StatusCode, Sentence: said.Error}
}
