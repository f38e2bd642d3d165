package internal_test

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// layers says which packages of ours each package may import. The domain lies
// low and knows nothing of storage, pages or the command line.
var layers = map[string][]string{
	"clock":           {},
	"timescale":       {},
	"statespace":      {},
	"stability":       {},
	"audio":           {},
	"dsp":             {},
	"timebase":        {"clock", "robust"},
	"timesignal":      {"timebase", "robust"},
	"robust":          {},
	"tape":            {"dsp", "robust"},
	"fold":            {"robust"},
	"trend":           {"robust"},
	"beat":            {"clock", "dsp", "robust", "tape", "fold", "trend"},
	"tab":             {},
	"picture":         {},
	"carriage":        {"clock"},
	"reference":       {"timescale"},
	"observe":         {"clock"},
	"setting":         {"clock", "timescale"},
	"chart/pen":       {},
	"chart":           {"chart/pen"},
	"chart/heard":     {"chart", "chart/pen"},
	"chart/fittings":  {"chart/pen"},
	"posterior":       {"statespace"},
	"rating":          {"clock", "timescale", "statespace", "stability", "posterior"},
	"simulate":        {"clock", "timescale", "statespace"},
	"simulate/sound":  {},
	"chronometer":     {"clock", "timescale"},
	"ratebook":        {"chronometer", "clock", "timescale"},
	"archive":         {"chronometer", "clock", "timescale", "ratebook"},
	"store":           {"chronometer", "clock", "timescale"},
	"lanternquay":     {"chronometer", "clock", "timescale", "simulate", "observe", "trial/programme"},
	"trial/programme": {},
	"trial/going":     {},
	"trial":           {"trial/going", "trial/programme"},
	"trial/course":    {"trial", "trial/programme", "clock", "timescale"},
	"packing/measure": {},
	"packing/climate": {"packing/measure"},
	"journey":         {"clock", "timescale", "rating", "statespace"},
	"packing":         {"packing/climate", "packing/measure"},
	"packing/section": {"chart", "chart/pen", "packing", "packing/measure"},
	"regulating":      {"clock", "timescale", "statespace"},

	"together/rounds":   {"clock", "timescale"},
	"together/scoring":  {},
	"together/noise":    {"statespace", "together/rounds", "together/scoring"},
	"together/cornered": {"stability", "together/rounds", "together/scoring"},
	"together/bestutc":  {"clock", "timescale", "together/rounds"},
	"together/passage":  {},
	"together/voyage":   {"timescale", "together/rounds"},
	"together":          {"clock", "timescale", "statespace", "together/cornered", "together/noise", "together/rounds"},

	"paper/leaf":     {"chart", "chart/pen"},
	"paper/calendar": {"clock", "timescale"},
	"paper":          {"chart", "chart/pen", "clock", "paper/leaf", "setting", "timescale"},
	"adjust":         {"carriage", "journey", "chronometer", "clock", "ratebook", "rating", "regulating", "statespace", "timescale", "together", "together/bestutc", "together/rounds", "trial", "trial/course", "trial/programme", "workshop"},
	"issue":          {"carriage", "chart/fittings", "adjust", "chart", "chronometer", "clock", "paper", "paper/calendar", "paper/leaf", "rating", "setting", "timescale", "trial", "trial/programme", "workshop"},
	"workshop":       {"chronometer", "clock", "timescale", "rating", "stability", "ratebook", "archive", "store", "reference", "observe", "setting", "picture"},
	"api":            {"adjust", "issue", "trial", "trial/programme", "workshop", "reference", "store", "chronometer", "clock", "timescale", "rating", "ratebook"},
	"web/static":     {},
	"web/wording":    {"workshop", "chronometer", "clock", "rating"},
	"web/form":       {"web/wording", "chronometer", "clock", "timescale"},
	"web/logbook":    {"web/form", "web/wording", "workshop", "chronometer", "clock", "rating"},
	"web/drawing":    {"web/logbook", "web/wording", "workshop", "chronometer", "clock", "timescale", "rating", "stability", "chart", "chart/heard", "reference", "setting", "store"},
	"listening":      {"audio", "beat", "chart/heard", "chronometer", "clock", "timebase", "timesignal"},
	"web/earpiece":   {},
	"web/hearing":    {"audio", "beat", "chart", "chart/heard", "chronometer", "clock", "listening", "observe", "reference", "store", "timebase", "web/earpiece", "workshop"},
	"web/ratesheet":  {"web/logbook", "web/wording", "workshop", "chronometer", "clock", "timescale", "rating", "setting"},
	"web/papers":     {"chronometer", "clock", "issue", "paper", "timescale", "web/form", "web/wording", "workshop"},
	"web/passages":   {"adjust", "journey", "web/wording", "workshop"},
	"web/jobs":       {"chronometer", "web/logbook", "web/wording", "workshop"},
	"web/abreast":    {"adjust", "chart", "clock", "together", "together/bestutc", "web/drawing", "web/form", "web/wording", "workshop"},
	"web/journeys":   {"adjust", "carriage", "chart/fittings", "chronometer", "clock", "web/form", "web/wording", "workshop"},
	"web/trials":     {"adjust", "chart", "chronometer", "clock", "regulating", "trial", "trial/course", "trial/programme", "web/drawing", "web/form", "web/wording", "workshop"},
	"web/bench":      {"web/form", "web/wording", "workshop", "chronometer", "clock", "timescale", "observe", "reference", "setting", "rating"},
	"web":            {"carriage", "web/journeys", "web/passages", "picture", "adjust", "issue", "paper", "together", "regulating", "trial/programme", "web/papers", "web/jobs", "web/abreast", "web/trials", "web/form", "web/logbook", "web/drawing", "web/ratesheet", "web/bench", "web/static", "web/hearing", "observe", "timescale", "timebase", "listening", "web/wording", "workshop", "chronometer", "clock", "ratebook"},
}

// everything may be imported by the command line, which wires it.
const everything = "cli"

// modules are the modules that packages outside the tests may use, each with
// the reason it is here.
var modules = map[string]string{
	"gonum.org/v1/gonum":                   "linear algebra, quantiles, a minimiser",
	"modernc.org/sqlite":                   "SQLite without cgo",
	"github.com/oklog/ulid/v2":             "names of entries that sort by when they were written",
	"github.com/spf13/cobra":               "commands, completion and manual pages",
	"github.com/beevik/ntp":                "SNTP",
	"github.com/coder/websocket":           "sound from the page, over a socket",
	"codeberg.org/go-pdf/fpdf":             "PDF",
	"codeberg.org/go-fonts/liberation":     "the faces that papers are set in",
	"github.com/piglig/go-qr":              "the square code of a certificate",
	"github.com/arran4/golang-ical":        "calendars, folding and escaping",
	"golang.org/x/text":                    "letters composed as the faces have them",
	"golang.org/x/net":                     "of the SNTP client",
	"golang.org/x/tools":                   "of the minimiser of gonum",
	"golang.org/x/term":                    "whether progress is seen by anyone",
	"golang.org/x/sys":                     "one process at a time in a folder",
	"github.com/spf13/pflag":               "flags of cobra",
	"github.com/cpuguy83/go-md2man/v2":     "manual pages of cobra",
	"github.com/russross/blackfriday/v2":   "manual pages of cobra",
	"go.yaml.in/yaml/v3":                   "programmes of trials, with the line of every field",
	"github.com/inconshreveable/mousetrap": "cobra on Windows",
	"github.com/google/uuid":               "of the SQLite driver",
	"github.com/dustin/go-humanize":        "of the SQLite driver",
	"github.com/mattn/go-isatty":           "of the SQLite driver",
	"github.com/ncruces/go-strftime":       "of the SQLite driver",
	"github.com/remyoudompheng/bigfft":     "of the SQLite driver",
	"modernc.org/libc":                     "of the SQLite driver",
	"modernc.org/mathutil":                 "of the SQLite driver",
	"modernc.org/memory":                   "of the SQLite driver",
}

// TestArrows fails with the import that points the wrong way.
func TestArrows(t *testing.T) {
	packages := list(t, "-json=ImportPath,Imports", "timeball/internal/...", "timeball/cmd/...", "timeball/client/...")
	seen := 0
	for _, p := range packages {
		name, inside := strings.CutPrefix(p.ImportPath, "timeball/internal/")
		for _, imported := range p.Imports {
			of, ours := strings.CutPrefix(imported, "timeball/internal/")
			switch {
			case strings.HasPrefix(p.ImportPath, "timeball/client") && strings.HasPrefix(imported, "timeball/"):
				t.Errorf("client imports %s; it must stand alone", imported)
			case p.ImportPath == "timeball/cmd/timeball" && ours && of != everything:
				t.Errorf("the command imports %s; it calls cli and nothing else", imported)
			case inside && ours && name != everything && !slices.Contains(layers[name], of):
				t.Errorf("%s imports %s; see the layers in this test", name, of)
			}
		}
		if inside && name != everything && len(p.Imports) > 0 {
			if _, ok := layers[name]; !ok {
				t.Errorf("%s has no place in the layers of this test", name)
			}
		}
		seen++
	}
	if seen < len(layers) {
		t.Errorf("only %d packages seen", seen)
	}
	for name, banned := range map[string][]string{
		"chronometer": {"database/sql", "net/http", "html/template", "os", "log", "log/slog"},
		"rating":      {"database/sql", "net/http", "os", "log/slog"},
		"statespace":  {"database/sql", "net/http", "os"},
	} {
		for _, p := range packages {
			if p.ImportPath == "timeball/internal/"+name {
				for _, b := range banned {
					if slices.Contains(p.Imports, b) {
						t.Errorf("%s imports %s; it computes and does nothing else", name, b)
					}
				}
			}
		}
	}
}

// TestModules fails on a module that nobody has given a reason for.
func TestModules(t *testing.T) {
	for _, p := range list(t, "-deps", "-json=ImportPath,Module", "timeball/cmd/timeball") {
		if p.Module == nil || p.Module.Main {
			continue
		}
		if _, ok := modules[p.Module.Path]; !ok {
			t.Errorf("module %s (for %s) has no reason in this test", p.Module.Path, p.ImportPath)
		}
	}
}

type goPackage struct {
	ImportPath string
	Imports    []string
	Module     *struct {
		Path string
		Main bool
	}
}

func list(t *testing.T, args ...string) []goPackage {
	t.Helper()
	out, err := exec.Command("go", append([]string{"list"}, args...)...).Output()
	if err != nil {
		t.Fatal(err)
	}
	d := json.NewDecoder(strings.NewReader(string(out)))
	var all []goPackage
	for {
		var p goPackage
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}
