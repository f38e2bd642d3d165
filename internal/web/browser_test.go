package web_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"image/png"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"timeball/internal/tab"
	"timeball/internal/web"
)

var shots = flag.String("shots", "", "folder for pictures of the pages")

// at sets width and colours.
func at(ctx context.Context, width int64, dark bool) error {
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900)); err != nil {
		return err
	}
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	return err
}

// startAsked asks for the plan of a start.
const startAsked = "hands=6:10&seconds=40&ready=2&error=0&from=2027-03-04T09:14:00Z"

// faults are what a page must not have, as one expression that returns the
// sentences.
const faults = `(() => {
  const found = [];
  const wide = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > wide) {
    found.push("page is " + document.documentElement.scrollWidth + " px wide in " + wide);
    for (const e of document.querySelectorAll("main *")) {
      if (e.getBoundingClientRect().right > wide + 1 && !e.closest(".scroll") && !e.closest(".unseen")) { found.push("too wide: " + e.outerHTML.slice(0, 120)); break; }
    }
  }
  const shown = (e) => e.getClientRects().length > 0 && !e.closest("svg") && !e.closest(".skip, .unseen, details:not([open]) > :not(summary)");
  for (const e of document.querySelectorAll("a, button, input, select, textarea, summary")) {
    if (wide > 500 || !shown(e)) continue;
    let box = e.getBoundingClientRect();
    const label = e.closest("label");
    if (label && /radio|checkbox/.test(e.type)) box = label.getBoundingClientRect();
    const inText = e.localName === "a" && getComputedStyle(e).display === "inline";
    if (box.height < 43.5 && !inText) found.push("target " + Math.round(box.height) + " px high: " + e.outerHTML.slice(0, 120));
  }
  const light = (c) => { const v = c.match(/[\d.]+/g).slice(0, 3).map((n) => { n /= 255; return n <= 0.04045 ? n / 12.92 : ((n + 0.055) / 1.055) ** 2.4; }); return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
  const ground = (e) => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!/, 0\)$|transparent/.test(c)) return c; } return "rgb(255, 255, 255)"; };
  const seen = new Set();
  for (const e of document.querySelectorAll("body *")) {
    if (e.closest("svg") || ![...e.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim())) continue;
    const ink = getComputedStyle(e).color, back = ground(e), pair = ink + " on " + back;
    if (seen.has(pair)) continue;
    seen.add(pair);
    const [a, b] = [light(ink), light(back)].sort((x, y) => y - x);
    const contrast = (a + 0.05) / (b + 0.05);
    if (contrast < 4.5) found.push("contrast " + contrast.toFixed(2) + ": " + pair + ": " + e.outerHTML.slice(0, 80));
  }
  return found;
})()`

// TestPagesInBrowser holds the pages against WCAG 2.2: 1.4.3 (contrast 4.5:1),
// 1.4.10 (no scrolling in two directions), 2.1.1 (keyboard) and 2.5.5
// (targets of 44 px).
func TestPagesInBrowser(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := lanternQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return today }, web.Options{Demo: true}))
	defer site.Close()
	empty := httptest.NewServer(web.New(emptyQuay(t).Workshop, func() time.Time { return today }, web.Options{}))
	defer empty.Close()
	said := chromedp.Console(ctx)
	for _, page := range []string{
		site.URL + "/", site.URL + "/instruments/417?wrote=" + string(q.instruments[0].entries[3].ID), site.URL + "/instruments/88", site.URL + "/instruments/731", site.URL + "/instruments/417/write",
		site.URL + "/instruments/417/write/compared", site.URL + "/instruments/417/write/balance-held", site.URL + "/instruments/new", site.URL + "/instruments/417/import",
		site.URL + "/instruments/417/strike/" + string(q.instruments[0].entries[3].ID), site.URL + "/owners", site.URL + "/owners/" + string(q.owners[0]), empty.URL + "/",
		site.URL + "/instruments/417/compare", site.URL + "/instruments/19/compare", site.URL + "/instruments/19/start", site.URL + "/instruments/19/start?" + startAsked,
		site.URL + "/round", site.URL + "/standard", site.URL + "/observers", empty.URL + "/round",
		site.URL + "/instruments/417/listen", site.URL + "/instruments/731/listen",
	} {
		for width, dark := range map[int64]bool{1280: false, 390: true} {
			if err := at(ctx, width, dark); err != nil {
				t.Fatal(err)
			}
			if err := chromedp.Do(ctx, chromedp.Navigate(page)); err != nil {
				t.Fatal(err)
			}
			found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](faults))
			if err != nil {
				t.Fatal(err)
			}
			for _, fault := range found {
				t.Errorf("%s at %d px, dark %t: %s", page, width, dark, fault)
			}
		}
	}
	// What was said before this is in the iterator by the time the mark is.
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

// TestKeyboard steps through a page with the tab key: every control that is
// shown takes the focus once and shows that it has it.
func TestKeyboard(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := lanternQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return today }, web.Options{}))
	defer site.Close()
	for _, page := range []string{"/", "/instruments/417", "/instruments/731/write/compared", "/instruments/417/compare", "/instruments/19/start", "/round", "/observers", "/instruments/417/listen"} {
		if err := at(ctx, 390, false); err != nil {
			t.Fatal(err)
		}
		if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+page)); err != nil {
			t.Fatal(err)
		}
		want, err := chromedp.Run(ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex='0']")].filter((e) => e.getClientRects().length > 0 && e.tabIndex >= 0 && e.checkVisibility() && !e.disabled && !(e.type === "radio" && !e.checked)).length`))
		if err != nil {
			t.Fatal(err)
		}
		reached := map[string]bool{}
		for range want {
			if err := chromedp.Do(ctx, chromedp.KeyEvent("\t")); err != nil {
				t.Fatal(err)
			}
			focus, err := chromedp.Run(ctx, chromedp.Evaluate[string](`(() => { const e = document.activeElement, s = getComputedStyle(e); e.dataset.step ??= String(window.step = (window.step ?? 0) + 1); return e === document.body ? "" : (s.outlineStyle === "none" ? "unseen " : "") + e.dataset.step + " " + e.outerHTML.slice(0, 90); })()`))
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasPrefix(focus, "unseen ") {
				t.Errorf("%s: the focus cannot be seen on %s", page, focus)
			}
			reached[focus] = true
		}
		delete(reached, "")
		if len(reached) != want {
			missed, _ := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.querySelectorAll("a[href], button, input, select, textarea, summary, [tabindex='0']")].filter((e) => e.getClientRects().length > 0 && e.tabIndex >= 0 && e.checkVisibility() && !e.disabled && !e.dataset.step).map((e) => e.outerHTML.slice(0, 120)).join("; ")`))
			t.Errorf("%s: tab reaches %d of %d controls, not %s", page, len(reached), want, missed)
		}
	}
}

// TestScripts tries what the modules add.
func TestScripts(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := lanternQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return today }, web.Options{}))
	defer site.Close()
	if err := at(ctx, 1280, false); err != nil {
		t.Fatal(err)
	}
	for _, try := range []struct{ page, script, want string }{
		{"/instruments/417", `new Promise((done) => setTimeout(() => done(document.getElementById("clock").textContent.slice(0, 5)), 300))`, "09:14"},
		{"/instruments/417", `(() => { const box = document.getElementById("filter-text"); box.value = "hair crack"; box.dispatchEvent(new Event("input")); return [...document.querySelectorAll("#logbook-lines tbody tr:not([hidden])")].map((e) => e.querySelector(".kind").textContent.trim()).join() + " " + document.getElementById("filter-count").textContent; })()`, "Note 1 of the 40 lines shown here"},
		{"/instruments/417", `(() => { const mark = document.querySelector(".chart-wide [data-entry]"); mark.dispatchEvent(new PointerEvent("pointerover", { bubbles: true })); const said = document.querySelector(".pointed"); return String(!said.hidden && said.textContent.length > 10); })()`, "true"},
		{"/instruments/417", `(() => { const marks = [...document.querySelectorAll(".chart-wide [data-entry]")].filter((e) => e.tabIndex === 0); const first = marks[0]; first.focus(); const before = document.activeElement.getAttribute("data-entry"); first.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowLeft", bubbles: true })); return marks.length + " " + String(before !== document.activeElement.getAttribute("data-entry") && document.activeElement.tabIndex === 0); })()`, "3 true"},
		{"/instruments/417/write/compared", `(() => { const field = document.getElementById("f-at"); field.value = ""; document.querySelector("[data-take] button").click(); return field.value.slice(0, 16); })()`, "2027-03-04 09:14"},
	} {
		if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+try.page)); err != nil {
			t.Fatal(err)
		}
		got, err := chromedp.Run(ctx, chromedp.Evaluate[string](try.script, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatal(err)
		}
		if got != try.want {
			t.Errorf("%s: got %q, want %q from %s", try.page, got, try.want, try.script)
		}
	}
}

// TestPictures writes pictures of the pages to the folder named by -shots, to
// be looked at; without it, those of the room and an instrument as they print.
func TestPictures(t *testing.T) {
	folder, ways, most := *shots, []string{"1280 light", "1280 dark", "390 light", "390 dark", "794 print"}, 100
	if folder == "" {
		folder, ways, most = t.TempDir(), ways[4:], 2
	}
	ctx := tab.Open(t, 0)
	q := lanternQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return today }, web.Options{Demo: true}))
	defer site.Close()
	empty := httptest.NewServer(web.New(emptyQuay(t).Workshop, func() time.Time { return today }, web.Options{}))
	defer empty.Close()
	strike := "/instruments/417/strike/" + string(q.instruments[0].entries[3].ID)
	pictures := []struct {
		name, url string
		do        string // in the page, before the picture
	}{
		{"room", site.URL + "/", ""}, {"instrument", site.URL + "/instruments/417", ""}, {"trouble", site.URL + "/instruments/88", ""}, {"thin", site.URL + "/instruments/731", ""}, {"empty", empty.URL + "/", ""},
		{"typed", site.URL + "/instruments/417/write/compared", ""}, {"compare", site.URL + "/instruments/417/compare", ""}, {"start", site.URL + "/instruments/19/start?" + startAsked, ""},
		{"listen", site.URL + "/instruments/417/listen", ""}, {"begin", site.URL + "/instruments/19/start", ""}, {"round", site.URL + "/round", ""}, {"standard", site.URL + "/standard", ""}, {"observers", site.URL + "/observers", ""}, {"work", site.URL + "/instruments/417/write/work-done", ""}, {"kinds", site.URL + "/instruments/417/write", ""},
		{"wrong", site.URL + "/instruments/417/write/compared", `document.getElementById("f-dial").value = "9:12"; document.getElementById("f-by").value = "Mats Vinter"; document.querySelector(".form").requestSubmit()`},
		{"preview", site.URL + "/instruments/731/import", `const t = new DataTransfer(); t.items.add(new File(["utc;error_s\n2027-02-20T10:00:00Z;-10.9\n2027-02-21T10:00:00Z;48.7\n2027-02-22T10:00:00Z;-11.7\n2027-02-23T10:00:00Z;-12.2\n"], "book.csv")); document.getElementById("f-file").files = t.files; document.getElementById("f-by").value = "Mats Vinter"; document.querySelector(".form").requestSubmit()`},
		{"new", site.URL + "/instruments/new", ""}, {"import", site.URL + "/instruments/417/import", ""}, {"owners", site.URL + "/owners", ""}, {"owner", site.URL + "/owners/" + string(q.owners[0]), ""}, {"strike", site.URL + strike, ""}, {"lost", site.URL + "/nowhere", ""},
	}
	for _, picture := range pictures[:min(most, len(pictures))] {
		for _, way := range ways {
			var width int64
			var look string
			if _, err := fmt.Sscan(way, &width, &look); err != nil {
				t.Fatal(err)
			}
			if err := at(ctx, width, look == "dark"); err != nil {
				t.Fatal(err)
			}
			if look == "print" {
				if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}); err != nil {
					t.Fatal(err)
				}
			}
			if err := chromedp.Do(ctx, chromedp.Navigate(picture.url)); err != nil {
				t.Fatal(err)
			}
			if picture.do != "" {
				if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](picture.do), chromedp.Query(".wrong, #read-head")); err != nil {
					t.Fatal(err)
				}
			}
			seen, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := png.DecodeConfig(bytes.NewReader(seen)); err != nil {
				t.Errorf("%s, %s: %v", picture.name, way, err)
			}
			if err := os.WriteFile(filepath.Join(folder, picture.name+"-"+strings.ReplaceAll(way, " ", "-")+".png"), seen, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
