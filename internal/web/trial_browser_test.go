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

// TestTrialPagesInBrowser holds the pages of trials, programmes and regulating
// in their states against what TestPagesInBrowser holds the others against, and
// with -shots writes pictures of them.
func TestTrialPagesInBrowser(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := trialQuay(t)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return today }, web.Options{Demo: true}))
	defer site.Close()
	ways := []string{"1280 light", "390 dark"}
	if *shots != "" {
		ways = []string{"1280 light", "1280 dark", "390 light", "390 dark"}
	}
	slip := `document.getElementById("f-text").value = "name: x\nperiods:\n  - {dayz: 3}\n"; document.getElementById("f-by").value = "Mats Vinter"; document.querySelector(".programme-form").requestSubmit()`
	end := `document.querySelector("input[value=finished]").click(); document.getElementById("f-by").value = "Mats Vinter"; document.querySelector("form[method=post]").requestSubmit()`
	for _, page := range []struct{ name, path, do string }{
		{"trial-going", "/instruments/61/trial", ""}, {"trial-kept", "/instruments/62/trial", ""}, {"trial-not-kept", "/instruments/63/trial", ""}, {"trial-missed", "/instruments/64/trial", ""},
		{"trial-unread", "/instruments/65/trial", ""}, {"trial-settling", "/instruments/66/trial", ""}, {"trial-broken", "/instruments/67/trial", ""}, {"trial-given-up", "/instruments/68/trial", ""},
		{"trial-sums", "/instruments/69/trial", ""}, {"trial-close", "/instruments/70/trial", ""}, {"trial-choose", "/instruments/71/trial", ""}, {"trial-twice", "/instruments/73/trial", ""}, {"trial-barred", "/instruments/72/trial", ""},
		{"trial-end", "/instruments/61/trial", end}, {"trial-card", "/instruments/61", ""},
		{"programmes", "/programmes", ""}, {"programme", "/programmes/three-temperatures", ""}, {"programme-symmetrical", "/programmes/ten-day-symmetrical", ""},
		{"programme-new", "/programmes/new?from=iso-3159", ""}, {"programme-slip", "/programmes/new", slip},
		{"regulate", "/instruments/63/regulate", ""}, {"regulate-blank", "/instruments/71/regulate", ""}, {"regulate-wrong", "/instruments/62/regulate?least=2&most=1", ""},
	} {
		for _, way := range ways {
			width := int64(1280)
			if strings.HasPrefix(way, "390") {
				width = 390
			}
			if err := at(ctx, width, strings.HasSuffix(way, "dark")); err != nil {
				t.Fatal(err)
			}
			if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+page.path)); err != nil {
				t.Fatal(err)
			}
			if page.do != "" {
				if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](page.do), chromedp.Query(".wrong")); err != nil {
					t.Fatal(err)
				}
			}
			found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](faults))
			if err != nil {
				t.Fatal(err)
			}
			for _, fault := range found {
				t.Errorf("%s, %s: %s", page.name, way, fault)
			}
			if *shots == "" {
				continue
			}
			seen, err := chromedp.Run(ctx, chromedp.FullScreenshot(100))
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(*shots, page.name+"-"+strings.ReplaceAll(way, " ", "-")+".png"), seen, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
