package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"timeball/internal/lanternquay"
	"timeball/internal/store"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"timeball": func() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
	})
}

// TestScripts runs every command as a user would, one script a command.
func TestScripts(t *testing.T) {
	examples, err := filepath.Abs("../../docs/examples")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("EXAMPLES", examples)
			env.Setenv("TIMEBALL_FOLDER", filepath.Join(env.WorkDir, "folder"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"sound": makeSound,
			"lanternquay": func(ts *testscript.TestScript, neg bool, args []string) {
				now := time.Date(2026, 3, 4, 9, 14, 0, 0, time.UTC)
				if len(args) > 1 { // today, for what asks about now
					now = time.Now()
				}
				db, err := store.Open(context.Background(), ts.MkAbs(args[0]), time.Now)
				ts.Check(err)
				ts.Check(db.Add(context.Background(), lanternquay.Entries(now)))
				ts.Check(db.Close())
			},
		},
	})
}

// TestContract holds the JSON of rate to the names that scripts rely on.
func TestContract(t *testing.T) {
	var out, errs bytes.Buffer
	code := run(context.Background(), []string{"rate", "../../docs/examples/invented-blunders.csv", "--json", "--at", "2025-05-01T12:00:00Z", "--horizon", "30"},
		console{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now, getenv: os.Getenv})
	if code != done {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	var got map[string]any
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{
		"comparisons", "used", "set_aside", "epoch", "error_s", "error_sd_s", "rate_s_per_day", "rate_sd_s_per_day", "steadiness_s_per_day",
		"runs", "temperature", "changes", "forecast", "unrecorded",
	} {
		if _, ok := got[name]; !ok {
			t.Errorf("%s is missing", name)
		}
	}
	within := func(list, what string, names ...string) {
		t.Helper()
		items, ok := got[list].([]any)
		if !ok || len(items) == 0 {
			t.Errorf("%s is empty", list)
			return
		}
		for _, n := range names {
			if _, ok := items[0].(map[string]any)[n]; !ok {
				t.Errorf("%s of %s is missing", n, what)
			}
		}
	}
	within("set_aside", "a reading set aside", "line", "utc", "residual_s", "reason")
	within("runs", "a run", "from", "to", "comparisons", "rate_s_per_day", "rate_sd_s_per_day")
	within("forecast", "a forecast", "at", "error_s", "sd_s", "lo95_s", "hi95_s")
	asked := false
	for _, f := range got["forecast"].([]any) {
		asked = asked || f.(map[string]any)["at"] == "2025-05-01T12:00:00Z"
	}
	if !asked {
		t.Error("the instant asked for is not in the forecast")
	}
	if line := got["set_aside"].([]any)[0].(map[string]any)["line"]; line != float64(8) {
		t.Errorf("line %v, want 8", line)
	}
}

// TestDemoServes opens the demonstration as a reader of the README does, and
// stops it.
func TestDemoServes(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	r, w := io.Pipe()
	finished := make(chan int, 1)
	var errs bytes.Buffer
	go func() {
		finished <- run(ctx, []string{"demo", "--listen", "127.0.0.1:0", "--servers", "none"}, console{in: strings.NewReader(""), out: w, err: &errs, now: time.Now, getenv: os.Getenv})
		w.Close()
	}()
	lines := bufio.NewScanner(r)
	address := ""
	for address == "" && lines.Scan() {
		if _, rest, ok := strings.Cut(lines.Text(), "http://"); ok {
			address, _, _ = strings.Cut(rest, "/")
		}
	}
	go func() { _, _ = io.Copy(io.Discard, r) }()
	get := func(host, path string) (int, string) {
		req, err := http.NewRequest("GET", "http://"+address+path, nil)
		if err != nil {
			t.Fatal(err)
		}
		if host != "" {
			req.Host = host
		}
		resp, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		if err != nil {
			t.Fatal(err)
		}
		return resp.StatusCode, string(body)
	}
	// A slow machine is still rating when it is asked first, and the page says
	// that it will ask again.
	for n := 0; n < 100; n++ {
		if _, body := get("", "/"); !strings.Contains(body, `http-equiv="refresh"`) {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	if code, body := get("", "/"); code != 200 || !strings.Contains(body, "The room") || !strings.Contains(body, "No. 417") {
		t.Errorf("the room: %d, %.200s", code, body)
	}
	if code, body := get("", "/api/v1/instruments"); code != 200 || !strings.Contains(body, `"417"`) {
		t.Errorf("the API: %d, %.200s", code, body)
	}
	if code, _ := get("elsewhere.example", "/"); code != http.StatusMisdirectedRequest {
		t.Errorf("under another name: %d", code)
	}
	stop()
	if code := <-finished; code != done {
		t.Errorf("exit %d, %s", code, errs.String())
	}
}

// TestManualTellsEverything: every command has its page, made from the same
// usage text.
func TestManualTellsEverything(t *testing.T) {
	for _, name := range []string{"", "demo", "serve", "rate", "correct", "start", "standard", "import", "export", "verify"} {
		var out, errs bytes.Buffer
		args := []string{"manual"}
		if name != "" {
			args = append(args, name)
		}
		if code := run(context.Background(), args, console{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now, getenv: os.Getenv}); code != done {
			t.Errorf("manual %s: exit %d: %s", name, code, errs.String())
		}
		if !strings.HasPrefix(out.String(), ".") || !strings.Contains(out.String(), ".TH \"TIMEBALL") || (name != "" && !strings.Contains(out.String(), fmt.Sprintf("timeball-%s", name)) && !strings.Contains(out.String(), "timeball "+name)) {
			t.Errorf("manual %s: %.300s", name, out.String())
		}
	}
}

func TestExitCodes(t *testing.T) {
	for _, c := range []struct {
		args string
		want int
	}{
		{"version", done}, {"--help", done}, {"rate ../../docs/examples/invented-blunders.csv", done},
		{"rate nosuch.csv", couldNot}, {"rate", usedWrong}, {"rate a b", usedWrong}, {"nosuch", usedWrong},
		{"rate --nosuch", usedWrong}, {"correct x.csv", usedWrong}, {"manual nosuch", usedWrong}, {"serve --listen 0.0.0.0:1", usedWrong},
	} {
		var out, errs bytes.Buffer
		got := run(context.Background(), strings.Fields(c.args), console{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now, getenv: os.Getenv})
		if got != c.want {
			t.Errorf("%q: exit %d, want %d: %s", c.args, got, c.want, errs.String())
		}
		if got != done && (!strings.HasPrefix(errs.String(), "timeball: ") || out.Len() > 0) {
			t.Errorf("%q: said %q and printed %q", c.args, errs.String(), out.String())
		}
	}
}
