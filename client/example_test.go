package client_test

import (
	"context"
	"fmt"
	"log"
	"net/http/httptest"
	"os"
	"time"

	"timeball/client"
	"timeball/internal/api"
	"timeball/internal/lanternquay"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

// A navigator asks how far the dial of no. 417 is from UTC, and how sure that
// is. The workshop is invented and its instruments simulated.
func Example() {
	ctx := context.Background()
	address, leave := demonstration(ctx)
	defer leave()

	c, err := client.New(address, nil)
	if err != nil {
		log.Fatal(err)
	}
	i, err := c.Instrument(ctx, "417")
	if err != nil {
		log.Fatal(err)
	}
	fmt.Printf("No. %s, %s, %s\n", i.Number, i.Maker, i.Motion)
	if e := i.ErrorNow; e != nil {
		fmt.Println("slow at both ends of its 95% interval:", e.Hi95S < 0)
		fmt.Println("known to half a second:", e.Hi95S-e.ErrorS < 0.5 && e.ErrorS-e.Lo95S < 0.5)
	}
	if r := i.Rate; r != nil {
		fmt.Println("losing:", r.Hi95 < 0)
	}
	_, err = c.Write(ctx, "417", client.NewEntry{
		At: i.ErrorNow.At, By: "T. Morrow", Kind: "hands moved", Fact: map[string]any{"by_s": -60},
	})
	fmt.Println(err)
	// Output:
	// No. 417, Corvane & Dray, Skerrow, going
	// slow at both ends of its 95% interval: true
	// known to half a second: true
	// losing: true
	// not a logbook entry: hands moved: by_s -60 is not forward; the hands of a chronometer are only ever moved forward
}

// demonstration serves the invented workshop, as `timeball demo` does.
func demonstration(ctx context.Context) (address string, leave func()) {
	now := func() time.Time { return time.Date(2027, time.March, 4, 9, 14, 32, 0, time.UTC) }
	dir, err := os.MkdirTemp("", "timeball")
	if err != nil {
		log.Fatal(err)
	}
	db, err := store.Open(ctx, dir, now)
	if err != nil {
		log.Fatal(err)
	}
	w := workshop.New(db, reference.Plain(now))
	if err := w.Fill(ctx, lanternquay.Entries(now())); err != nil {
		log.Fatal(err)
	}
	server := httptest.NewServer(api.New(w, now))
	return server.URL, func() {
		server.Close()
		w.Close()
		db.Close()
		os.RemoveAll(dir)
	}
}
