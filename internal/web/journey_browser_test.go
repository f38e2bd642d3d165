package web_test

import (
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/carriage"
	"timeball/internal/tab"
	"timeball/internal/web"
)

// TestPrepareInBrowser prepares one instrument on a telephone: every step is
// ticked by the button under the thumb, until the first step of packing.
func TestPrepareInBrowser(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := journeyQuay(t)
	q.begun = time.Now()
	site := httptest.NewServer(web.New(q.Workshop, q.tell, web.Options{}))
	defer site.Close()
	if err := at(ctx, 390, true); err != nil {
		t.Fatal(err)
	}
	run := func(actions ...chromedp.Action[chromedp.Void]) {
		t.Helper()
		if err := chromedp.Do(ctx, actions...); err != nil {
			t.Fatal(err)
		}
	}
	run(chromedp.Navigate(site.URL+"/instruments/417/journey"), chromedp.Query("#begin-head"),
		chromedp.Evaluate[chromedp.Void](`document.getElementById("f-to").value = "Lantern Quay"; document.getElementById("f-by").value = "Mats Vinter"; document.querySelector(".actions .now").click()`),
		chromedp.Query("#step"))
	var prepare []carriage.Step
	for _, s := range q.plan(t, "417", toTheQuay) {
		if s.Phase == carriage.Prepare {
			prepare = append(prepare, s)
		}
	}
	for n, s := range prepare {
		title, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.getElementById("step-head").textContent`))
		if err != nil || title != s.Title {
			t.Fatalf("step %d is %q, want %q: %v", n+1, title, s.Title, err)
		}
		// The button is in view without scrolling, in the lower third of the screen.
		thumb, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(() => { const b = document.querySelector(".tick-form .actions button"), r = b.getBoundingClientRect(); return r.top > innerHeight * 2 / 3 && r.bottom <= innerHeight && r.height >= 44 && document.elementFromPoint(r.x + r.width / 2, r.y + r.height / 2) === b ? "" : JSON.stringify(r); })()`))
		if err != nil || thumb != "" {
			t.Fatalf("%s: the button is out of the thumb's reach: %s, %v", s.ID, thumb, err)
		}
		found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](faults))
		if err != nil {
			t.Fatal(err)
		}
		for _, fault := range found {
			t.Errorf("%s: %s", s.ID, fault)
		}
		run(chromedp.Evaluate[chromedp.Void](`document.getElementById("step-head").dataset.old = "yes"; document.querySelector(".tick-form .actions button").click()`), chromedp.Query("#step-head:not([data-old])"))
	}
	seen, err := q.See(t.Context(), "417")
	if err != nil {
		t.Fatal(err)
	}
	if ticks := seen.Logbook.Journeys()[0].Steps; len(ticks) != len(prepare) {
		t.Errorf("%d ticks are in the logbook, want %d", len(ticks), len(prepare))
	}
	phase, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector(".journey-phases .lit b").textContent`))
	if err != nil || phase != "Pack" {
		t.Errorf("after all of prepare the page is at %q, want Pack: %v", phase, err)
	}
}

// TestJourneyPagesInBrowser holds the page of a journey in its states against
// what TestPagesInBrowser holds the others against, and with -shots writes
// pictures of them.
func TestJourneyPagesInBrowser(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := journeyQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, q.tell, web.Options{Demo: true}))
	defer site.Close()
	v := visit(t, q).travel("417")
	const journey = "/instruments/417/journey"
	type scene struct{ name, path string }
	shoot := func(scenes ...scene) {
		t.Helper()
		for _, x := range scenes {
			for _, way := range []string{"1280 light", "390 dark"} {
				width := int64(1280)
				if strings.HasPrefix(way, "390") {
					width = 390
				}
				if err := at(ctx, width, strings.HasSuffix(way, "dark")); err != nil {
					t.Fatal(err)
				}
				if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+x.path)); err != nil {
					t.Fatal(err)
				}
				found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](faults))
				if err != nil {
					t.Fatal(err)
				}
				for _, fault := range found {
					t.Errorf("%s, %s: %s", x.name, way, fault)
				}
				if *shots == "" {
					continue
				}
				seen, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
				if err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(filepath.Join(*shots, x.name+"-"+strings.ReplaceAll(way, " ", "-")+".png"), seen, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	shoot(scene{"journey-begin", journey}, scene{"journey-begin-88", "/instruments/88/journey"})
	page := v.begin(url.Values{"to": {"Lantern Quay"}, "goes": {"going"}})
	shoot(scene{"journey-first", journey + "?wrote=" + string(v.entries("417")[3].ID)}, scene{"journey-to-come", journey + "?step=P08"})
	for page.one(t, "form.tick-form input[name=step]").attrs["value"] != "P14" {
		page = v.tick(page, "")
	}
	all := v.entries("417")
	shoot(scene{"journey-strips", journey}, scene{"journey-done-step", journey + "?step=P09"}, scene{"journey-undo", journey + "/undo?entry=" + string(all[len(all)-1].ID)}, scene{"journey-undo-first", journey + "/undo?entry=" + string(all[4].ID)})
	for _, id := range []string{"P02", "P07", "P12", "P11", "P19"} {
		shoot(scene{"journey-" + id, journey + "?step=" + id})
	}
	for page.one(t, "form.tick-form input[name=step]").attrs["value"] != "R04" {
		page = v.tick(page, "dial 4:12:30.5, up-and-down 30 h")
	}
	ask := journey + "?step=R04&sent_dial=4:12:30.5&sent_up_down_h=30"
	shoot(scene{"journey-arrival", journey}, scene{"journey-held", ask + "&received_dial=4:12:30.5&received_up_down_h=30"}, scene{"journey-wrong", ask + "&received_dial=4:12&received_up_down_h=x"})
	q.pass(2 * 24 * time.Hour)
	shoot(scene{"journey-free", ask + "&received_dial=7:24:30.5&received_up_down_h=33"})
	for len(page.all("form.tick-form")) > 0 {
		page = v.tick(page, "")
	}
	shoot(scene{"journey-end", journey})
}
