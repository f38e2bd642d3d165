// Package tab opens a tab of a real browser for the tests of pages.
package tab

import (
	"context"
	"os"
	"os/exec"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// names are what Chromium is called on one system or another.
var names = []string{"chromium", "chromium-browser", "google-chrome"}

// Open returns a tab of a headless Chromium, closed when the test ends and at
// the latest after most (0: never). Without a Chromium the test fails where
// CI=true and is skipped elsewhere.
func Open(t *testing.T, most time.Duration, flags ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	path := ""
	for _, name := range names {
		if found, err := exec.LookPath(name); err == nil {
			path = found
			break
		}
	}
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("no Chromium is installed; the pages must be tried in a browser")
		}
		t.Skip("no Chromium is installed; the pages are not tried in a browser")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.Flag("disable-quic", true))
	if os.Geteuid() == 0 {
		options = append(options, chromedp.NoSandbox)
	}
	ctx := context.Background()
	if most > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, most)
		t.Cleanup(cancel)
	}
	ctx, stop := chromedp.NewExecAllocator(ctx, append(options, flags...)...)
	t.Cleanup(stop)
	ctx, shut := chromedp.NewContext(ctx)
	t.Cleanup(shut)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	return ctx
}
