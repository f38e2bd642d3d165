package cli

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/oklog/ulid/v2"

	"timeball/internal/chronometer"
	"timeball/internal/reference"
	"timeball/internal/simulate"
	"timeball/internal/store"
	"timeball/internal/web"
	"timeball/internal/workshop"
)

// fleet returns instruments with daily comparisons up to now.
func fleet(instruments, comparisons int, now time.Time) []chronometer.Entry {
	rng := rand.New(rand.NewPCG(500, 1))
	var entries []chronometer.Entry
	serial := uint64(0)
	id := func(at time.Time) chronometer.ID {
		var u ulid.ULID
		_ = u.SetTime(uint64(at.UnixMilli()))
		serial++
		for i := range 8 {
			u[15-i] = byte(serial >> (8 * i))
		}
		return chronometer.ID(u.String())
	}
	for n := range instruments {
		from := now.AddDate(0, 0, -comparisons).Add(time.Duration(n) * time.Second)
		subject := id(from)
		add := func(eid chronometer.ID, at time.Time, f chronometer.Fact) {
			entries = append(entries, chronometer.Entry{ID: eid, Subject: subject, At: at, Written: at, By: "bench", Fact: f})
		}
		add(subject, from, chronometer.Instrument{Number: fmt.Sprint(n + 1), Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56})
		x, r := 20*rng.NormFloat64(), -0.7+0.5*rng.NormFloat64()
		for i := range comparisons {
			at := from.AddDate(0, 0, i).Add(time.Hour).Truncate(time.Millisecond)
			e, c := x+0.1*rng.NormFloat64(), 20+2*rng.NormFloat64()
			if rng.IntN(100) == 0 {
				e += 60
			}
			add(id(at), at, chronometer.Compared{ErrorS: &e, SDS: 0.1, Method: chronometer.ByTap, TempC: &c})
			x, r = simulate.Noise{SigmaW: .2, SigmaR: .02}.Step(rng, x, r, 1)
		}
	}
	return entries
}

// BenchmarkRoom500 serves the room of 500 instruments with 400 comparisons
// each: the first page, the time until all are rated, and repeated pages.
func BenchmarkRoom500(b *testing.B) {
	ctx := context.Background()
	db, err := store.Open(ctx, b.TempDir(), time.Now)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	if err := db.Add(ctx, fleet(500, 400, time.Now().UTC())); err != nil {
		b.Fatal(err)
	}
	w := workshop.New(db, reference.Plain(time.Now))
	defer w.Close()
	pages := web.New(w, time.Now, web.Options{})
	get := func() time.Duration {
		begun := time.Now()
		rec := httptest.NewRecorder()
		pages.ServeHTTP(rec, httptest.NewRequest("GET", "http://127.0.0.1/", nil))
		if rec.Code != http.StatusOK {
			b.Fatal(rec.Code)
		}
		return time.Since(begun)
	}
	begun := time.Now()
	first := get()
	for {
		room, err := w.Room(ctx)
		if err != nil {
			b.Fatal(err)
		}
		if room.Pending == 0 {
			break
		}
	}
	rated := time.Since(begun)
	var times []time.Duration
	for b.Loop() {
		times = append(times, get())
	}
	slices.Sort(times)
	b.ReportMetric(first.Seconds()*1000, "ms-first-page")
	b.ReportMetric(rated.Seconds(), "s-until-all-rated")
	b.ReportMetric(times[len(times)/2].Seconds()*1000, "ms-p50")
	b.ReportMetric(times[len(times)*99/100].Seconds()*1000, "ms-p99")
	// A restart finds the figures in the folder.
	again := workshop.New(db, reference.Plain(time.Now))
	defer again.Close()
	pages = web.New(again, time.Now, web.Options{})
	b.ReportMetric(get().Seconds()*1000, "ms-first-page-after-restart")
}

// BenchmarkImport100k brings 100,000 comparisons into one logbook.
func BenchmarkImport100k(b *testing.B) {
	var file strings.Builder
	file.WriteString("utc,error_s,sd_s\n")
	from := time.Date(2012, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 100000 {
		fmt.Fprintf(&file, "%s,%.2f,0.1\n", from.Add(time.Duration(i)*time.Hour).Format(time.RFC3339), 10-0.7*float64(i)/24)
	}
	for b.Loop() {
		ctx := context.Background()
		db, err := store.Open(ctx, b.TempDir(), time.Now)
		if err != nil {
			b.Fatal(err)
		}
		w := workshop.New(db, reference.Plain(time.Now))
		id, err := w.Enter(ctx, "bench", chronometer.Instrument{Number: "1", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56})
		if err != nil {
			b.Fatal(err)
		}
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		if n, err := w.Import(ctx, id, "bench", strings.NewReader(file.String())); err != nil || n != 100000 {
			b.Fatal(n, err)
		}
		runtime.ReadMemStats(&after)
		b.ReportMetric(float64(after.HeapSys)/1e6, "MB-heap-from-system")
		w.Close()
		if err := db.Close(); err != nil {
			b.Fatal(err)
		}
	}
}
