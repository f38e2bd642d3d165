package client_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"timeball/client"
	"timeball/internal/api"
	"timeball/internal/lanternquay"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

var morning = time.Date(2027, time.March, 4, 9, 14, 32, 0, time.UTC)

// serveQuay serves the invented workshop and returns its address.
func serveQuay(t testing.TB, dir string) string {
	now := func() time.Time { return morning }
	db, err := store.Open(context.Background(), dir, now)
	if err != nil {
		t.Fatal(err)
	}
	w := workshop.New(db, reference.Plain(now))
	if err := w.Fill(context.Background(), lanternquay.Entries(morning)); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(api.New(w, now))
	t.Cleanup(func() {
		server.Close()
		w.Close()
		db.Close()
	})
	return server.URL
}

func newClient(t testing.TB, address string) *client.Client {
	t.Helper()
	c, err := client.New(address, nil)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestNothingIsDropped reads every answer strictly into its type and writes it
// again: what comes out must say what came in.
func TestNothingIsDropped(t *testing.T) {
	address := serveQuay(t, t.TempDir())
	room, err := newClient(t, address).Instruments(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	whole[client.Room](t, address, "/instruments")
	for _, i := range room.Instruments {
		whole[client.Instrument](t, address, "/instruments/"+i.ID)
		if i.Rate != nil {
			whole[client.Rating](t, address, "/instruments/"+i.ID+"/rating")
		}
	}
	whole[struct {
		Owners []client.Owner `json:"owners"`
	}](t, address, "/owners")
	whole[struct {
		Kinds []client.Kind `json:"kinds"`
	}](t, address, "/kinds")
	for _, i := range room.Instruments {
		whole[struct {
			Entries []client.Entry `json:"entries"`
			More    bool           `json:"more"`
		}](t, address, "/instruments/"+i.ID+"/entries")
	}
}

func whole[T any](t *testing.T, address, path string) {
	t.Helper()
	r, err := http.Get(address + "/api/v1" + path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s: %d %v: %s", path, r.StatusCode, err, text)
	}
	var v T
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&v); err != nil {
		t.Errorf("%s: %v", path, err)
		return
	}
	again, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := sorted(t, text), sorted(t, again); a != b {
		t.Errorf("%s: came as\n%.2000s\nand is held as\n%.2000s", path, a, b)
	}
}

// sorted returns JSON with its keys in order.
func sorted(t *testing.T, text []byte) string {
	t.Helper()
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	out, _ := json.Marshal(v)
	return string(out)
}

// TestADay takes an instrument from its entry to its rating.
func TestADay(t *testing.T) {
	c := newClient(t, serveQuay(t, t.TempDir()))
	ctx := t.Context()
	owner, err := c.EnterOwner(ctx, "R. Halvane", client.Owner{Name: "Signal Station", Place: "Skerrow"})
	if err != nil {
		t.Fatal(err)
	}
	made := client.Particulars{Number: "№ 40 %?#", Maker: "Thessaly Orne, Veyre", Make: "box chronometer", Beat: "half-second", Dial: "12 h", GoingH: 56, Owner: owner.ID}
	entered, err := c.Enter(ctx, "R. Halvane", made)
	if err != nil {
		t.Fatal(err)
	}
	if *entered.Particulars != made || entered.Owner.Name != "Signal Station" {
		t.Errorf("entered %+v", entered)
	}
	if owners, err := c.Owners(ctx); err != nil || len(owners) == 0 || !names(owners, made.Number) {
		t.Errorf("owners %v %v", owners, err)
	}

	// It gains two seconds a day; errors are dial minus UTC.
	book := "utc,error_s,sd_s\n"
	for day := range 15 {
		at := morning.AddDate(0, 0, day-14)
		book += at.Format(time.RFC3339) + "," + []string{"1.0", "3.1", "4.9", "7.0", "9.1", "11.0", "12.9", "15.1", "17.0", "18.9", "21.0", "23.1", "24.9", "27.0", "29.0"}[day] + ",0.1\n"
	}
	preview, err := c.Preview(ctx, made.Number, "R. Halvane", strings.NewReader(book))
	if err != nil || preview.New != 15 || preview.Rating == nil {
		t.Fatalf("preview %+v %v", preview, err)
	}
	n, err := c.Import(ctx, made.Number, "R. Halvane", strings.NewReader(book))
	if err != nil || n != 15 {
		t.Fatalf("%d new, %v", n, err)
	}
	ahead := morning.AddDate(0, 0, 10)
	r, err := c.Rating(ctx, made.Number, ahead)
	if err != nil {
		t.Fatal(err)
	}
	if r.RateLo95 > 2 || r.RateHi95 < 2 || r.Rate < 1.9 || r.Rate > 2.1 || r.Comparisons != 15 {
		t.Errorf("rate %+v (%+v to %+v) of %d, want +2", r.Rate, r.RateLo95, r.RateHi95, r.Comparisons)
	}
	found := false
	for _, f := range r.Forecast {
		if f.At.Equal(ahead) {
			found = f.Days == 10 && f.Lo95S < 49 && 49 < f.Hi95S
		}
	}
	if !found {
		t.Errorf("ten days ahead it is fast 49 s, and the forecast says %+v", r.Forecast)
	}

	heard, err := c.Write(ctx, made.Number, client.NewEntry{At: morning, By: "T. Morrow", Kind: "listened", Fact: map[string]any{
		"rate_s_per_day": -0.84, "rate_sd_s_per_day": 0.06, "duration_s": 300, "timebase": map[string]any{"source": "calibrated", "ppm": -12.5, "ppm_sd": 0.6},
	}})
	if err != nil || heard.Words != "losing 0.84 s/d ±0.12 · 5 min of sound · sampling clock calibrated" || heard.Fact["rate_s_per_day"] != -0.84 {
		t.Fatalf("heard %+v %v", heard, err)
	}
	wrong, err := c.Write(ctx, made.Number, client.NewEntry{At: morning, By: "T. Morrow", Kind: "note", Fact: map[string]any{"text": "dropped"}})
	if err != nil {
		t.Fatal(err)
	}
	struck, err := c.StrikeOut(ctx, made.Number, wrong.ID, "T. Morrow", "it was another")
	if err != nil || struck.Kind != "struck out" {
		t.Fatalf("%+v %v", struck, err)
	}
	notes, err := c.Entries(ctx, made.Number, client.Which{Kind: "note"})
	if err != nil || len(notes) != 1 || notes[0].Struck == nil || notes[0].Struck.Why != "it was another" {
		t.Errorf("notes %+v %v", notes, err)
	}
	since, err := c.Entries(ctx, made.Number, client.Which{Kind: "compared", Since: morning.AddDate(0, 0, -2)})
	if err != nil || len(since) != 2 {
		t.Errorf("%d comparisons after two days ago, %v", len(since), err)
	}
	var file strings.Builder
	if n, err := c.Comparisons(ctx, made.Number, &file); err != nil || n != int64(file.Len()) || strings.Count(file.String(), "\n") != 17 {
		t.Errorf("%v: %s", err, &file)
	}
}

func names(owners []client.Owner, number string) bool {
	for _, o := range owners {
		for _, i := range o.Instruments {
			if i.Number == number {
				return true
			}
		}
	}
	return false
}

// TestRefusals wants an *Error with its status and sentence for what cannot be
// done.
func TestRefusals(t *testing.T) {
	c := newClient(t, serveQuay(t, t.TempDir()))
	ctx := t.Context()
	for _, test := range []struct {
		name   string
		ask    func() error
		status int
		say    string
	}{
		{"unknown", func() error { _, err := c.Instrument(ctx, "9999"); return err }, 404, "9999"},
		{"thin", func() error { _, err := c.Rating(ctx, "73"); return err }, 409, "too few comparisons"},
		{"backwards", func() error {
			_, err := c.Write(ctx, "417", client.NewEntry{At: morning, By: "x", Kind: "hands moved", Fact: map[string]any{"by_s": -60}})
			return err
		}, 422, "only ever moved forward"},
		{"a rate without doubt", func() error {
			_, err := c.Write(ctx, "417", client.NewEntry{At: morning, By: "x", Kind: "listened", Fact: map[string]any{"rate_s_per_day": 1.5}})
			return err
		}, 422, "no rate is without doubt"},
		{"bad row", func() error {
			_, err := c.Import(ctx, "417", "x", strings.NewReader("utc,dial\n2027-01-01T00:00:00Z,25:00:00\n"))
			return err
		}, 422, "line 2, column dial"},
		{"again", func() error {
			_, err := c.Enter(ctx, "x", client.Particulars{Number: "417", Maker: "Corvane & Dray, Skerrow", Make: "box chronometer", Beat: "half-second", Dial: "24 h", GoingH: 56})
			return err
		}, 409, "entered already"},
		{"no logbook", func() error { _, err := c.Comparisons(ctx, "9999", io.Discard); return err }, 404, "9999"},
	} {
		t.Run(test.name, func(t *testing.T) {
			err := test.ask()
			var said *client.Error
			if !errors.As(err, &said) || said.Status != test.status || !strings.Contains(said.Error(), test.say) {
				t.Errorf("%v, want status %d and %q", err, test.status, test.say)
			}
		})
	}
}

// TestWithoutAWorkshop asks an address where none is.
func TestWithoutAWorkshop(t *testing.T) {
	for _, address := range []string{"", "127.0.0.1:1833", "ftp://127.0.0.1", "http://", "http://x/?q"} {
		if _, err := client.New(address, nil); err == nil {
			t.Errorf("address %q was taken", address)
		}
	}
	other := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/owners") {
			_, _ = io.WriteString(w, "<html>")
			return
		}
		http.Error(w, "<html>", http.StatusBadGateway)
	}))
	defer other.Close()
	c := newClient(t, other.URL)
	var said *client.Error
	if _, err := c.Instruments(t.Context()); !errors.As(err, &said) || said.Status != http.StatusBadGateway {
		t.Errorf("another server: %v", err)
	}
	if _, err := c.Owners(t.Context()); err == nil || errors.As(err, &said) {
		t.Errorf("an answer that is no JSON: %v", err)
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := c.Instruments(gone); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
