package web_test

import (
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/tab"
	"timeball/internal/web"
)

// imagesSeen waits until all pictures of a page are there and returns the
// addresses of those that are not.
const imagesSeen = `(async () => {
  const missed = [];
  for (const i of document.images) i.loading = "eager";
  for (const i of document.images) await i.decode().catch(() => missed.push(i.src));
  return missed;
})()`

// TestPapersInBrowser holds the pages of papers, of the workshop and of several
// chronometers together against what TestPagesInBrowser holds the others, and
// writes pictures of them to the folder named by -shots.
func TestPapersInBrowser(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	bare := visit(t, lanternQuay(t))
	house(v)
	_, first := issued(v, "417")
	for _, e := range q.instruments[0].entries[len(q.instruments[0].entries)-20:] {
		if e.Kind() == "compared" {
			q.now = q.now.Add(time.Minute)
			v.follow(v.postForm("/instruments/417/strike/"+string(e.ID), withBy(map[string][]string{"why": {"read by the wrong clock"}})))
			break
		}
	}
	issued(v, "417")
	if first.Kind() != "certified" {
		t.Fatalf("issued: %s", first.Kind())
	}
	ctx := tab.Open(t, 0)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return q.now }, web.Options{Demo: true}))
	defer site.Close()
	nameless := httptest.NewServer(web.New(bare.q.Workshop, func() time.Time { return today }, web.Options{}))
	defer nameless.Close()
	empty := httptest.NewServer(web.New(emptyQuay(t).Workshop, func() time.Time { return today }, web.Options{}))
	defer empty.Close()
	verify := v.get("/instruments/417/papers", 200).all(".issued tbody a")[3].attrs["href"]
	said := chromedp.Console(ctx)
	for _, page := range []struct{ name, url string }{
		{"papers", site.URL + "/instruments/417/papers"}, {"lacking", site.URL + "/instruments/731/papers"}, {"nameless", nameless.URL + "/instruments/417/papers"},
		{"shown", site.URL + "/instruments/417/papers?show=rate-sheet"}, {"workshop", site.URL + "/workshop"}, {"nohouse", empty.URL + "/workshop"},
		{"verify", site.URL + "/verify"}, {"finding", site.URL + verify}, {"undigested", site.URL + "/verify?digest=hello"},
		{"choose", site.URL + "/together"}, {"alone", site.URL + "/together?with=417"}, {"nobody", empty.URL + "/together"},
		{"together", site.URL + "/together?with=417&with=1102&with=88"}, {"misread", site.URL + "/together?with=417&with=88&dial-1=noon"},
	} {
		for width, dark := range map[int64]bool{1280: false, 390: true} {
			if err := at(ctx, width, dark); err != nil {
				t.Fatal(err)
			}
			if err := chromedp.Do(ctx, chromedp.Navigate(page.url)); err != nil {
				t.Fatal(err)
			}
			missed, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](imagesSeen, chromedp.EvalAwaitPromise))
			if err != nil {
				t.Fatal(err)
			}
			found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](faults))
			if err != nil {
				t.Fatal(err)
			}
			for _, fault := range append(found, missed...) {
				t.Errorf("%s at %d px, dark %t: %s", page.name, width, dark, fault)
			}
			if *shots == "" {
				continue
			}
			seen, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			look := map[bool]string{false: "-1280-light.png", true: "-390-dark.png"}[dark]
			if err := os.WriteFile(filepath.Join(*shots, page.name+look), seen, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`console.log("that was all")`)); err != nil {
		t.Fatal(err)
	}
	for message, err := range said {
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(message.Text, "that was all") {
			break
		}
		if strings.Contains(message.Text, "422") {
			continue // what was asked for wrongly is answered so
		}
		t.Errorf("the console says: %+v", message)
	}
}
