package web_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/chronometer"
	"timeball/internal/tab"
	"timeball/internal/web"
)

// busyBench returns a visitor of a workshop with jobs of many kinds: no. 52 over
// what was agreed, with photographs and an earlier job; no. 53 not examined; no.
// 54 with its owner; no. 55 without a job.
func busyBench(t *testing.T) *visitor {
	t.Helper()
	q := emptyQuay(t)
	from := today.AddDate(0, 0, -60)
	owner := q.newID(from)
	q.unfilled = append(q.unfilled, chronometer.Entry{ID: owner, Subject: owner, At: from, Written: from, By: "E", Fact: chronometer.Owner{Name: "Ελένη Παπαδημητρίου-Χατζηγεωργίου", Place: "Ερμούπολη"}})
	begun := func(number string) *kept {
		return q.enter(chronometer.Instrument{Number: number, Maker: "Þórðarson & Æsir, Ísafjörður", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56, BalanceBrake: true, Owner: owner}, from, line{})
	}
	day := from
	write := func(k *kept, facts ...chronometer.Fact) {
		for _, f := range facts {
			day = day.AddDate(0, 0, 1)
			q.add(k, day, "Mats Vinter", f)
		}
	}
	var shot bytes.Buffer
	m := image.NewGray(image.Rect(0, 0, 320, 240))
	for i := range m.Pix {
		m.Pix[i] = byte(160 + i%60)
	}
	m.Set(1, 1, color.Black)
	if err := png.Encode(&shot, m); err != nil {
		t.Fatal(err)
	}
	sum := q.keep(t, "image/png", shot.Bytes())
	a := begun("52")
	write(a, wholeJob...)
	write(a, chronometer.Enquired{What: "it stops in the cold, and the owner would like a certificate before the season", From: "Ελένη Παπαδημητρίου-Χατζηγεωργίου"},
		chronometer.Received{Station: chronometer.Bench, Condition: "one latch loose, glass whole"},
		chronometer.Found{Condition: "Oil of the detent thick; the escape wheel is marked at one tooth.\nBox: the lower hinge lacks a screw."},
		chronometer.Photograph{SHA256: sum, Name: "tooth.png", Type: "image/png", Caption: "the marked tooth, under the glass, ten times"},
		chronometer.Photograph{SHA256: sum, Name: "hinge.png", Type: "image/png", Caption: "the lower hinge"},
		chronometer.Estimated{Work: "clean the escapement, oil it anew, trial at three temperatures", Hours: 12, Cost: money(62000, "EUR"), Days: 30},
		chronometer.Approved{Who: "Ελένη Παπαδημητρίου-Χατζηγεωργίου", Note: "in writing"},
		chronometer.WorkDone{Work: "Escapement taken out, cleaned, the tooth stoned; oiled and put together", Parts: "one screw of the lower hinge, a cap jewel", Measurements: "arc of the balance 430° wound, 395° after 48 h; drop even to the eye on all teeth", Hours: 9.5, Cost: money(51000, "EUR")},
		chronometer.WorkDone{Work: "Glass of the bowl renewed", Parts: "bowl glass, 92 mm", Cost: money(9500, "ISK")},
		chronometer.WorkDone{Work: "Set going, hands set", Hours: 2.25, Cost: money(13350, "EUR")})
	b := begun("53")
	write(b, chronometer.Enquired{What: "a new rating", From: "the harbour"}, chronometer.Held{With: chronometer.Brake}, chronometer.Sent{To: "Skerrow"}, chronometer.Received{Station: chronometer.Bench})
	c := begun("54")
	write(c, wholeJob[:2]...)
	begun("55")
	v := visit(t, q.fill(t))
	house(v)
	return v
}

// TestJobInBrowser holds the pages of jobs against what TestPagesInBrowser holds
// the others, and writes pictures of them to the folder named by -shots.
func TestJobInBrowser(t *testing.T) {
	v := busyBench(t)
	ctx := tab.Open(t, 0)
	site := httptest.NewServer(web.New(v.q.Workshop, func() time.Time { return v.q.now }, web.Options{Demo: true}))
	defer site.Close()
	if got := v.get("/instruments/52/job", http.StatusOK).one(t, ".notice.trouble").words(); !strings.HasPrefix(got, "The cost is 23.50 EUR over the 620.00 EUR agreed.") {
		t.Errorf("no. 52: %q", got)
	}
	said := chromedp.Console(ctx)
	for name, at52 := range map[string]string{"job": "/instruments/52/job", "job-new": "/instruments/53/job", "job-waits": "/instruments/54/job", "job-none": "/instruments/55/job", "job-room": "/", "job-papers": "/instruments/52/papers", "job-estimate": "/instruments/52/papers?show=estimate"} {
		for width, dark := range map[int64]bool{1280: false, 390: true} {
			if err := at(ctx, width, dark); err != nil {
				t.Fatal(err)
			}
			if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+at52)); err != nil {
				t.Fatal(err)
			}
			if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](`document.querySelectorAll("details").forEach((d) => { d.open = true; })`)); err != nil {
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
				t.Errorf("%s at %d px, dark %t: %s", name, width, dark, fault)
			}
			if *shots == "" {
				continue
			}
			seen, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(*shots, fmt.Sprintf("%s-%d.png", name, width)), seen, 0o644); err != nil {
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
		t.Errorf("the console says: %+v", message)
	}
}
