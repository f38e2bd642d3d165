package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// contract is the fields that scripts rely on, each with its type in JSON:
// what `timeball rate FILE --json` promises.
var contract = map[string]string{
	"comparisons": "number", "used": "number",
	"set_aside": "list", "set_aside.line": "number", "set_aside.utc": "instant", "set_aside.residual_s": "number", "set_aside.reason": "text",
	"epoch": "instant", "error_s": "number", "error_sd_s": "number", "rate_s_per_day": "number", "rate_sd_s_per_day": "number", "steadiness_s_per_day": "number",
	"runs": "list", "runs.from": "instant", "runs.to": "instant", "runs.comparisons": "number", "runs.rate_s_per_day": "number", "runs.rate_sd_s_per_day": "number",
	"temperature.reference_c": "number", "temperature.linear_s_per_day_per_c": "number", "temperature.quadratic_s_per_day_per_c2": "number",
	"changes": "list", "changes.at": "instant", "changes.kind": "text", "changes.rate_change_s_per_day": "number", "changes.sd": "number", "changes.p": "number",
	"forecast": "list", "forecast.at": "instant", "forecast.error_s": "number", "forecast.sd_s": "number", "forecast.lo95_s": "number", "forecast.hi95_s": "number",
	"unrecorded": "list", "unrecorded.between": "list", "unrecorded.moved_s": "number",
}

// histories are rated by an independent implementation of the same method too.
var histories = []string{"blunders", "moves", "carriage", "temperature", "position"}

// ratedFile returns the rating of a reference history, as the command line
// makes it.
func ratedFile(t testing.TB, name string, opt rating.Options) rating.Rating {
	t.Helper()
	book, err := ratebook.Read(strings.NewReader(referenceBook(t, name)))
	if err != nil {
		t.Fatal(err)
	}
	r, err := workshop.RateFile(book, clock.TwelveHour, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestContract finds every promised field, with its name, its place and its
// type, in the ratings of the reference histories, and no other type anywhere.
func TestContract(t *testing.T) {
	found := map[string]bool{}
	for _, name := range histories {
		text, err := json.Marshal(FromRating(ratedFile(t, name, rating.Options{})))
		if err != nil {
			t.Fatal(err)
		}
		var tree map[string]any
		if err := json.Unmarshal(text, &tree); err != nil {
			t.Fatal(err)
		}
		if _, ok := tree["temperature"]; !ok {
			t.Error("temperature is left out, want it or null")
		}
		walk(tree, "", func(path string, v any) {
			want, ok := contract[path]
			if !ok {
				return
			}
			if got := typeOf(v); got != want {
				t.Errorf("%s: %s is %s, want %s: %v", name, path, got, want, v)
			}
			found[path] = true
		})
		for _, e := range tree["set_aside"].([]any) {
			if _, ok := e.(map[string]any)["entry"]; ok {
				t.Errorf("%s: a comparison of a file is named by an entry: %v", name, e)
			}
		}
	}
	// None of the histories moves its hands unrecorded.
	text, _ := json.Marshal(FromRating(rating.Rating{Unrecorded: []rating.UnrecordedMove{{After: morning, Before: morning.Add(time.Hour), MovedS: 60}}}))
	if want := `"unrecorded":[{"between":["2027-03-04T09:14:32Z","2027-03-04T10:14:32Z"],"moved_s":60}]`; !bytes.Contains(text, []byte(want)) {
		t.Errorf("no %s in %s", want, text)
	}
	for path := range contract {
		if !found[path] && path != "unrecorded.between" && path != "unrecorded.moved_s" {
			t.Errorf("%s was never written", path)
		}
	}
}

func walk(v any, path string, visit func(string, any)) {
	if path != "" {
		visit(path, v)
	}
	switch v := v.(type) {
	case map[string]any:
		for name, inner := range v {
			walk(inner, strings.TrimPrefix(path+"."+name, "."), visit)
		}
	case []any:
		for _, inner := range v {
			if m, ok := inner.(map[string]any); ok {
				for name, of := range m {
					walk(of, path+"."+name, visit)
				}
			}
		}
	}
}

func typeOf(v any) string {
	switch v := v.(type) {
	case float64:
		return "number"
	case []any:
		return "list"
	case string:
		if at, err := time.Parse(time.RFC3339Nano, v); err == nil && strings.HasSuffix(v, "Z") && !at.IsZero() {
			return "instant"
		}
		return "text"
	}
	return fmt.Sprintf("%T", v)
}

// independent is what the independent implementation, in another language,
// gives for a reference history.
type independent struct {
	SetAside []struct {
		Line     int     `json:"line"`
		Residual float64 `json:"residual_s"`
		SD       float64 `json:"sd_s"`
		Slip     float64 `json:"slip_s"`
	} `json:"set_aside"`
	Epoch    time.Time `json:"epoch"`
	ErrorS   float64   `json:"error_s"`
	ErrorSD  float64   `json:"error_sd_s"`
	Rate     float64   `json:"rate_s_per_day"`
	RateSD   float64   `json:"rate_sd_s_per_day"`
	Forecast []struct {
		Days  float64 `json:"days"`
		Error float64 `json:"error_s"`
		SD    float64 `json:"sd_s"`
	} `json:"forecast"`
}

// TestImportedHistories brings each reference history into an instrument over
// HTTP and holds the rating that comes back against the independent one: means
// within 5% of the standard deviation, standard deviations within 5%.
func TestImportedHistories(t *testing.T) {
	w, _ := openQuay(t)
	d := newDesk(t, w)
	for _, name := range histories {
		text, err := os.ReadFile("../workshop/testdata/estimation_ex_" + name + ".reference.json")
		if err != nil {
			t.Fatal(err)
		}
		var want independent
		if err := json.Unmarshal(text, &want); err != nil {
			t.Fatal(err)
		}
		d.ask(t, post("/instruments", fmt.Sprintf(`{"by":"R. Halvane","instrument":{"number":%q,"make":"box chronometer","beat":"half-second","dial":"12 h","going_h":56}}`, name)), 201)
		book := referenceBook(t, name)
		preview := read[Preview](t, d.ask(t, postBook("/instruments/"+name+"/comparisons?by=R.+Halvane&preview=1", book), 200))
		d.ask(t, postBook("/instruments/"+name+"/comparisons?by=R.+Halvane", book), 200)
		got := read[Rating](t, d.ask(t, get("/instruments/%s/rating", name), 200))
		near := func(what string, mean, sd Figure, wantMean, wantSD float64) {
			t.Helper()
			if math.Abs(float64(mean)-wantMean) > 0.05*wantSD || math.Abs(float64(sd)-wantSD) > 0.05*wantSD {
				t.Errorf("%s: %s %v (sd %v), want %v (%v)", name, what, mean, sd, wantMean, wantSD)
			}
		}
		near("error", got.ErrorS, got.ErrorSDS, want.ErrorS, want.ErrorSD)
		near("rate", got.Rate, got.RateSD, want.Rate, want.RateSD)
		for i, f := range want.Forecast {
			near("forecast", got.Forecast[i].ErrorS, got.Forecast[i].SDS, f.Error, f.SD)
			if float64(got.Forecast[i].Days) != f.Days {
				t.Errorf("%s: forecast %v days ahead, want %v", name, got.Forecast[i].Days, f.Days)
			}
		}
		if !got.Epoch.Equal(want.Epoch) || len(got.SetAside) != len(want.SetAside) || len(preview.SetAside) != len(want.SetAside) {
			t.Fatalf("%s: epoch %s, set aside %v, previewed %v, want %s, %v", name, got.Epoch, got.SetAside, preview.SetAside, want.Epoch, want.SetAside)
		}
		for i, s := range want.SetAside {
			line, saved := preview.SetAside[i], got.SetAside[i]
			if line.Line != s.Line || line.Entry != "" || float64(line.SlipS) != s.Slip || math.Abs(float64(line.ResidualS)-s.Residual) > 0.05*s.SD {
				t.Errorf("%s: previewed as set aside %+v, want %+v", name, line, s)
			}
			if saved.Line != 0 || len(saved.Entry) != 26 || saved.ResidualS != line.ResidualS {
				t.Errorf("%s: set aside %+v, previewed %+v", name, saved, line)
			}
		}
	}
}

// TestAsked wants the instants asked for among the horizons, each once, in the
// order of time, with what the rating says of them.
func TestAsked(t *testing.T) {
	epoch := ratedFile(t, "blunders", rating.Options{}).Epoch
	week := timescale.AddDays(epoch, 7)
	r := ratedFile(t, "blunders", rating.Options{At: []time.Time{timescale.AddDays(epoch, 400), week, epoch.AddDate(0, 0, -10), timescale.AddDays(epoch, 3.5), week}})
	got := FromRating(r)
	var days []string
	for _, f := range got.Forecast {
		days = append(days, strconv.FormatFloat(float64(f.Days), 'f', 1, 64))
	}
	if want := "-10.0 1.0 3.5 7.0 30.0 60.0 400.0"; strings.Join(days, " ") != want {
		t.Errorf("days %v, want %s", days, want)
	}
	for _, asked := range r.Asked {
		for _, f := range got.Forecast {
			if f.At.Equal(asked.At) && (math.Abs(float64(f.ErrorS)-asked.Error.Mean) > 1e-6 || math.Abs(float64(f.SDS)-asked.Error.SD) > 1e-6) {
				t.Errorf("%s: %+v, want %+v", f.At, f, asked)
			}
		}
	}
}

// TestOneComparison wants the rate of a run with one comparison null, and its
// lists and the others empty and never null.
func TestOneComparison(t *testing.T) {
	text, err := json.Marshal(FromRating(rating.Rating{Epoch: morning, Runs: []rating.RunRate{{From: morning, To: morning, Comparisons: 1}}}))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`"runs":[{"from":"2027-03-04T09:14:32Z","to":"2027-03-04T09:14:32Z","comparisons":1,"rate_s_per_day":null,"rate_sd_s_per_day":null,"rate_lo95_s_per_day":null,"rate_hi95_s_per_day":null}]`,
		`"set_aside":[]`, `"temperature":null`, `"positions":[]`, `"changes":[]`, `"forecast":[]`, `"unrecorded":[]`, `"warnings":[]`,
	} {
		if !bytes.Contains(text, []byte(want)) {
			t.Errorf("no %s in %s", want, text)
		}
	}
}

// TestWhateverTheFigures fills ratings with any numbers, NaN and infinities
// among them: JSON has none of these, and lists are never null.
func TestWhateverTheFigures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var r rating.Rating
		fill(t, reflect.ValueOf(&r).Elem())
		text, err := json.Marshal(FromRating(r))
		if err != nil {
			t.Fatal(err)
		}
		var tree map[string]any
		if err := json.Unmarshal(text, &tree); err != nil {
			t.Fatal(err)
		}
		for _, list := range []string{"set_aside", "runs", "positions", "changes", "forecast", "unrecorded", "warnings"} {
			if _, ok := tree[list].([]any); !ok {
				t.Fatalf("%s is no list: %s", list, text)
			}
		}
		var back Rating
		if err := json.Unmarshal(text, &back); err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(back)
		if err != nil || !bytes.Equal(again, text) {
			t.Fatalf("read back and written again (%v):\n%s\n%s", err, text, again)
		}
	})
}

// fill draws every field of a value.
func fill(t *rapid.T, v reflect.Value) {
	if v.Type() == reflect.TypeFor[time.Time]() {
		v.Set(reflect.ValueOf(morning.Add(time.Duration(rapid.Int64Range(-1e15, 1e15).Draw(t, "ns")))))
		return
	}
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(rapid.OneOf(rapid.Float64(), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, math.Copysign(0, -1), 1e-300, -1e-9, 1e300})).Draw(t, "figure"))
	case reflect.String:
		v.SetString(rapid.String().Draw(t, "text"))
	case reflect.Int:
		v.SetInt(rapid.Int64Range(0, 1e6).Draw(t, "count"))
	case reflect.Bool:
		v.SetBool(rapid.Bool().Draw(t, "whether"))
	case reflect.Struct:
		for i := range v.NumField() {
			fill(t, v.Field(i))
		}
	case reflect.Slice:
		n := rapid.IntRange(0, 2).Draw(t, "length")
		if n > 0 {
			v.Set(reflect.MakeSlice(v.Type(), n, n))
		}
		for i := range n {
			fill(t, v.Index(i))
		}
	case reflect.Pointer:
		if rapid.Bool().Draw(t, "there") {
			v.Set(reflect.New(v.Type().Elem()))
			fill(t, v.Elem())
		}
	}
}

// TestRounding wants millionths, no negative nought, and the digits of small
// probabilities kept.
func TestRounding(t *testing.T) {
	for _, test := range []struct {
		got  Figure
		want string
	}{
		{figure(1.23456749), "1.234567"}, {figure(-1e-7), "0"}, {figure(0.1 + 0.2), "0.3"}, {figure(-43199.9999996), "-43200"},
		{scale(1.23456789e-12), "1.23457e-12"}, {scale(0), "0"}, {figure(math.Inf(1)), "null"}, {scale(math.NaN()), "null"},
	} {
		text, err := json.Marshal(test.got)
		if err != nil || string(text) != test.want {
			t.Errorf("%s %v, want %s", text, err, test.want)
		}
	}
}
