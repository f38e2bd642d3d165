package ratebook_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
)

// exact compares facts, whose dial readings have a type of their own.
var exact = cmp.Exporter(func(reflect.Type) bool { return true })

func mustRead(t testing.TB, text string) ratebook.Book {
	t.Helper()
	book, err := ratebook.Read(strings.NewReader(text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return book
}

func dial(t testing.TB, s string) chronometer.Compared {
	t.Helper()
	r, err := clock.ParseDial(s)
	if err != nil {
		t.Fatal(err)
	}
	return chronometer.ReadDial(r)
}

func ptr(v float64) *float64 { return &v }

// TestReads checks that files which say the same read as the same facts.
func TestReads(t *testing.T) {
	read := dial(t, "9:12:04.5")
	read.SDS, read.Method, read.Position, read.TempC = 0.1, chronometer.ByTap, chronometer.DialUp, ptr(18.5)
	const plain = "utc,dial,sd_s,method,temp_c,position\n2027-03-04T09:12:00Z,9:12:04.5,0.1,tap,18.5,dial up\n"
	for _, c := range []struct {
		name, text string
		remarks    []string
	}{
		{"plain", plain, nil},
		{"CRLF", strings.ReplaceAll(plain, "\n", "\r\n"), nil},
		{"CR", strings.ReplaceAll(plain, "\n", "\r"), nil},
		{"byte order mark", "\ufeff" + plain, nil},
		{"no line end at the end", strings.TrimSuffix(plain, "\n"), nil},
		{"comments and blank lines", "# of no. 417\n\n" + strings.Replace(plain, "\n", "\n # warm\n,,,\n   \n", 1) + "#", nil},
		{"capitals", "UTC,Dial,SD_S,Method,Temp_C,Position\n2027-03-04t09:12:00z,9:12:04.5,.1,TAP,+18.5,Dial Up\n", nil},
		{"any order", "position,temp_c,method,sd_s,dial,utc\nCH,1.85e1,tap,0.100,09:12:04.500,2027-03-04 10:12:00+01:00\n", nil},
		{"quoted", "\"utc\", \"dial\",sd_s,method,temp_c,position\n\"2027-03-04T09:12:00Z\" , \" 9:12:04.5\",\"0.1\",tap,18.5,\"dial up\"\n", nil},
		{"both columns", "utc,error_s,dial,sd_s,method,temp_c,position\n2027-03-04T09:12:00Z,,9:12:04.5,0.1,tap,18.5,dial up\n", nil},
		{"empty columns", "utc,dial,sd_s,method,temp_c,position,,\n2027-03-04T09:12:00Z,9:12:04.5,0.1,tap,18.5,dial up,,\n", nil},
		{"semicolons", strings.ReplaceAll(plain, ",", ";"), []string{"the cells are parted by semicolons"}},
		{"tabs", strings.ReplaceAll(plain, ",", "\t"), []string{"the cells are parted by tabs"}},
		{"decimal commas", strings.ReplaceAll(strings.ReplaceAll(plain, ",", ";"), ".", ","),
			[]string{"the cells are parted by semicolons", "decimal commas are read as points, first in line 2"}},
		{"repeated", plain + "2027-03-04T09:12:00.0Z,9:12:04.50,0.10,tap,18.5,dial up\n", []string{"1 repeat was dropped: line 3 says the same as line 2"}},
		{"compared", "utc,dial,sd_s,method,temp_c,position,event\n2027-03-04T09:12:00Z,9:12:04.5,0.1,tap,18.5,dial up,compared\n", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			book := mustRead(t, c.text)
			at := time.Date(2027, 3, 4, 9, 12, 0, 0, time.UTC)
			want := []ratebook.Row{{Line: book.Rows[0].Line, At: at, Facts: []chronometer.Fact{read}}}
			if diff := cmp.Diff(want, book.Rows, exact); diff != "" {
				t.Error(diff)
			}
			if diff := cmp.Diff(c.remarks, book.Remarks); diff != "" {
				t.Error(diff)
			}
			if !book.HasDial {
				t.Error("no dial reading was seen")
			}
		})
	}
}

// TestReadsEvents checks what the column event says, alone and beside others.
func TestReadsEvents(t *testing.T) {
	reading := chronometer.Compared{ErrorS: ptr(4.5)}
	at := func(position chronometer.Position, temp *float64) chronometer.Compared {
		return chronometer.Compared{ErrorS: ptr(4.5), Position: position, TempC: temp}
	}
	for _, c := range []struct {
		cells string // error_s, temp_c, position, event, note
		want  []chronometer.Fact
	}{
		{"+4.5,,,,", []chronometer.Fact{reading}},
		{"4.5,,,,calm", []chronometer.Fact{chronometer.Compared{ErrorS: ptr(4.5), Note: "calm"}}},
		{"\u22124.5,,,,", []chronometer.Fact{chronometer.Compared{ErrorS: ptr(-4.5)}}},
		{",,,hands moved +60,", []chronometer.Fact{chronometer.Moved{ByS: 60}}},
		{",,,Hands  Moved 60 s,one turn", []chronometer.Fact{chronometer.Moved{ByS: 60, Note: "one turn"}}},
		{",,,hands moved by +1.5 min,", []chronometer.Fact{chronometer.Moved{ByS: 90}}},
		{",,,hands set,", []chronometer.Fact{chronometer.Set{}}},
		{",,,hands set,on the signal", []chronometer.Fact{chronometer.Set{Note: "on the signal"}}},
		{",,,stopped,", []chronometer.Fact{chronometer.Stopped{Why: "not said"}}},
		{",,,stopped,run down", []chronometer.Fact{chronometer.Stopped{Why: "run down"}}},
		{",,,stopped: run down,found on Monday", []chronometer.Fact{chronometer.Stopped{Why: "run down", Note: "found on Monday"}}},
		{",,,started,", []chronometer.Fact{chronometer.Started{}}},
		{",,,started on the signal,", []chronometer.Fact{chronometer.Started{How: "on the signal"}}},
		{",,,regulated,", []chronometer.Fact{chronometer.Regulated{What: "not said"}}},
		{",,,regulated timing screws,a quarter out", []chronometer.Fact{chronometer.Regulated{What: "timing screws", Note: "a quarter out"}}},
		{",,,carried,by hand", []chronometer.Fact{chronometer.Carried{How: "by hand"}}},
		{",,,serviced,", []chronometer.Fact{chronometer.WorkDone{Work: "serviced", Service: true}}},
		{",,,serviced,cleaned and oiled", []chronometer.Fact{chronometer.WorkDone{Work: "serviced: cleaned and oiled", Service: true}}},
		{",,,work done new foot,polished", []chronometer.Fact{chronometer.WorkDone{Work: "new foot; polished"}}},
		{",,,wound,", []chronometer.Fact{chronometer.Wound{}}},
		{",,,wound 7½,", []chronometer.Fact{chronometer.Wound{HalfTurns: 7.5}}},
		{`,,,"wound 7.5 half-turns, up-and-down 32 h",`, []chronometer.Fact{chronometer.Wound{HalfTurns: 7.5, UpDownH: ptr(32)}}},
		{",,,balance held Wedge,cork", []chronometer.Fact{chronometer.Held{With: chronometer.Wedge, Note: "cork"}}},
		{",,,received on the bench,", []chronometer.Fact{chronometer.Received{Station: chronometer.Bench}}},
		{",,,sent to Skerrow,", []chronometer.Fact{chronometer.Sent{To: "to Skerrow"}}},
		{",8,dial down,placed,", []chronometer.Fact{chronometer.Placed{Position: chronometer.DialDown, TempC: ptr(8)}}},
		{`,8,,"placed in a trial, ice box",`, []chronometer.Fact{chronometer.Placed{Station: chronometer.Trial, Where: "ice box", TempC: ptr(8)}}},
		{",,,placed XII up,", []chronometer.Fact{chronometer.Placed{Position: chronometer.XIIUp}}},
		{",,,placed oven,", []chronometer.Fact{chronometer.Placed{Where: "oven"}}},
		{",18.5,,temperature,", []chronometer.Fact{chronometer.Temperature{TempC: 18.5}}},
		{",,,listened -0.84,", []chronometer.Fact{chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: chronometer.UnknownClockSD}}},
		{",18.5,dial up,listened \u22120.84 s/d sd 0.06 s/d,at noon", []chronometer.Fact{chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: 0.06, TempC: ptr(18.5), Position: chronometer.DialUp, Note: "at noon"}}},
		{`,,,"listened {""rate_s_per_day"":2,""rate_sd_s_per_day"":0.1,""duration_s"":300}",`, []chronometer.Fact{chronometer.Listened{RateSPerDay: 2, RateSDSPerDay: 0.1, DurationS: 300}}},
		{"4.5,8,dial up,listened +2 sd 0.1,", []chronometer.Fact{chronometer.Listened{RateSPerDay: 2, RateSDSPerDay: 0.1, TempC: ptr(8), Position: chronometer.DialUp}, at(chronometer.DialUp, ptr(8))}},
		{",,,temperature 18.5 °C,", []chronometer.Fact{chronometer.Temperature{TempC: 18.5}}},
		{`,,,"placed {""where"":""oven"",""note"":""door ajar""}",`, []chronometer.Fact{chronometer.Placed{Where: "oven", Note: "door ajar"}}},
		// a row with the temperature, the position or a note alone
		{",18.5,,,", []chronometer.Fact{chronometer.Temperature{TempC: 18.5}}},
		{",18.5,VI up,,by the window", []chronometer.Fact{chronometer.Placed{Position: chronometer.VIUp, TempC: ptr(18.5), Note: "by the window"}}},
		{",,,,the lamp was out", []chronometer.Fact{chronometer.Note{Text: "the lamp was out"}}},
		// an event that does not take the temperature leaves it a reading of its own
		{",18.5,,wound,", []chronometer.Fact{chronometer.Wound{}, chronometer.Temperature{TempC: 18.5}}},
		{",18.5,dial up,cased,", []chronometer.Fact{chronometer.Cased{}, chronometer.Placed{Position: chronometer.DialUp, TempC: ptr(18.5)}}},
		{",,dial up,temperature 8,", []chronometer.Fact{chronometer.Temperature{TempC: 8}, chronometer.Placed{Position: chronometer.DialUp}}},
		// an event comes before the reading of its row, unless it ends the going
		{"4.5,,,started,", []chronometer.Fact{chronometer.Started{}, reading}},
		{"4.5,,,hands moved +60,", []chronometer.Fact{chronometer.Moved{ByS: 60}, reading}},
		{"4.5,,,carried,", []chronometer.Fact{chronometer.Carried{}, reading}},
		{"4.5,,,stopped,for work", []chronometer.Fact{reading, chronometer.Stopped{Why: "for work"}}},
		{"4.5,,,sent,", []chronometer.Fact{reading, chronometer.Sent{}}},
		{"4.5,,,balance held brake,", []chronometer.Fact{reading, chronometer.Held{With: chronometer.Brake}}},
		{"4.5,8,dial up,placed,", []chronometer.Fact{chronometer.Placed{Position: chronometer.DialUp, TempC: ptr(8)}, at(chronometer.DialUp, ptr(8))}},
		{"4.5,8,,wound 7,", []chronometer.Fact{chronometer.Wound{HalfTurns: 7}, at("", ptr(8))}},
	} {
		book := mustRead(t, "utc,error_s,temp_c,position,event,note\n2027-03-04T09:12:00Z,"+c.cells+"\n")
		if diff := cmp.Diff(c.want, book.Rows[0].Facts, exact); diff != "" {
			t.Errorf("%s:\n%s", c.cells, diff)
		}
	}
}

// TestEveryKindHasItsPlace checks that each kind of entry is an event of the
// file, unless it is about an instrument, a person or another entry.
func TestEveryKindHasItsPlace(t *testing.T) {
	values := map[chronometer.Kind]string{chronometer.KindMoved: " +60", chronometer.KindHeld: " brake", chronometer.KindReceived: " on the bench", chronometer.KindListened: " -0.84"}
	elsewhere := []chronometer.Kind{chronometer.KindEntered, chronometer.KindOwner, chronometer.KindEquation, chronometer.KindHouse, chronometer.KindProgramme, chronometer.KindJourney, chronometer.KindStepDone, chronometer.KindEnquired, chronometer.KindEstimated, chronometer.KindApproved, chronometer.KindReady, chronometer.KindTrialBegun, chronometer.KindTrialEnded, chronometer.KindCertified, chronometer.KindPhotograph, chronometer.KindUpheld, chronometer.KindStruckOut, chronometer.KindCompared}
	for _, k := range chronometer.Kinds() {
		book, err := ratebook.Read(strings.NewReader("utc,dial,temp_c,event,note\n2027-03-04T09:12:00Z,,18," + string(k) + values[k] + ",x\n"))
		if slices.Contains(elsewhere, k) {
			if err == nil || strings.Contains(err.Error(), "is not known") {
				t.Errorf("%s: %v", k, err)
			}
			continue
		}
		if err != nil || book.Rows[0].Facts[0].Kind() != k {
			t.Errorf("%s: %v, %v", k, book.Rows, err)
		}
	}
}

func TestSortsAndSaysSo(t *testing.T) {
	book := mustRead(t, "utc,error_s,event\n2027-03-05T09:00:00Z,2,\n2027-03-04T09:00:00Z,1,\n2027-03-05T09:00:00Z,,wound\n2027-03-03T09:00:00Z,0,\n")
	var lines []int
	for _, r := range book.Rows {
		lines = append(lines, r.Line)
	}
	if diff := cmp.Diff([]int{5, 3, 2, 4}, lines); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff([]string{"the rows are not in the order of time (line 3 is earlier than line 2); they were sorted"}, book.Remarks); diff != "" {
		t.Error(diff)
	}
}

// TestTwoObserversMayReadOneInstant: each of them is named, so both readings
// are comparisons.
func TestTwoObserversMayReadOneInstant(t *testing.T) {
	book := mustRead(t, "utc,error_s,observer\n2027-03-04T09:00:00Z,2.1,Ida\n2027-03-04T09:00:00Z,2.3,Tom\n")
	if len(book.Rows) != 2 || len(book.Remarks) != 0 {
		t.Errorf("%d rows, %q", len(book.Rows), book.Remarks)
	}
}

func TestSaysWhenTheFileMayBeCutOff(t *testing.T) {
	book := mustRead(t, "utc,error_s,note\n2027-03-04T09:00:00Z,2.1,\n2027-03-05T09:00:00Z,2.3")
	want := []string{"line 3, the last, has no line end and fewer cells than the header; see whether the file was cut off"}
	if diff := cmp.Diff(want, book.Remarks); diff != "" {
		t.Error(diff)
	}
}

// TestDialHours checks what readings tell of the dial: after noon a 12-hour
// dial begins anew, a 24-hour dial goes on, and in the morning both show the same.
func TestDialHours(t *testing.T) {
	for _, c := range []struct {
		name, rows string
		want       clock.Dial
		remarks    int
	}{
		{"morning", "2027-03-04T09:12:00Z,9:12:04.5\n", 0, 0},
		{"half past noon", "2027-03-04T12:30:00Z,12:30:04.5\n", 0, 0},
		{"afternoon of 24 h", "2027-03-04T21:12:00Z,21:12:04.5\n", clock.TwentyFourHour, 0},
		{"afternoon of 12 h", "2027-03-04T21:12:00Z,9:12:04.5\n", clock.TwelveHour, 0},
		{"past midnight", "2027-03-04T00:12:00Z,12:12:04.5\n", clock.TwelveHour, 0},
		{"written both ways", "2027-03-04T21:12:00Z,9:12:04.5\n2027-03-05T21:12:00Z,21:12:05.5\n", clock.TwelveHour, 1},
		{"error of hours", "2027-03-04T21:12:00Z,4:00:00\n", 0, 0},
	} {
		book := mustRead(t, head+c.rows)
		if book.DialHours != c.want || len(book.Remarks) != c.remarks {
			t.Errorf("%s: %d h, %q; want %d h", c.name, book.DialHours, book.Remarks, c.want)
		}
	}
}

// TestReadsSimulatedHistories reads five histories that were simulated for
// checking estimators, and counts what stands in them.
func TestReadsSimulatedHistories(t *testing.T) {
	for name, want := range map[string]map[chronometer.Kind]int{
		"blunders":    {chronometer.KindCompared: 29},
		"carriage":    {chronometer.KindCompared: 33, chronometer.KindStopped: 1, chronometer.KindCarried: 1, chronometer.KindStarted: 1},
		"moves":       {chronometer.KindCompared: 56, chronometer.KindMoved: 1},
		"position":    {chronometer.KindCompared: 26, chronometer.KindPlaced: 2},
		"temperature": {chronometer.KindCompared: 40, chronometer.KindPlaced: 6},
	} {
		file, err := os.Open(filepath.Join("testdata", "estimation_ex_"+name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		book, err := ratebook.Read(file)
		_ = file.Close()
		if err != nil {
			t.Fatal(err)
		}
		got := map[chronometer.Kind]int{}
		for _, row := range book.Rows {
			for _, f := range row.Facts {
				got[f.Kind()]++
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s:\n%s", name, diff)
		}
		if len(book.Remarks) != 0 || len(book.Comments) != 1 || !book.HasDial {
			t.Errorf("%s: remarks %q, comments %q, dial %v", name, book.Remarks, book.Comments, book.HasDial)
		}
	}
}

func TestWriteIsPlain(t *testing.T) {
	read := dial(t, "9:12:04.25")
	read.Method, read.Observer, read.TempC, read.SDS = chronometer.EyeAndEar, "-Ida", ptr(18), 0.15
	at := time.Date(2027, 3, 4, 9, 12, 0, 500000, time.UTC)
	rows := []ratebook.Row{
		{At: at.AddDate(0, 0, 1), By: "Tom", Facts: []chronometer.Fact{
			chronometer.Moved{ByS: 60}, chronometer.Compared{ErrorS: ptr(64.5), Note: "=1+1"}, chronometer.Stopped{Why: `"run" down, it seems`},
		}},
		{At: at, Facts: []chronometer.Fact{read, chronometer.Placed{Where: "oven", Position: chronometer.DialUp, TempC: ptr(30)}}},
		{At: at.AddDate(0, 0, 2), Facts: []chronometer.Fact{chronometer.Regulated{What: "screws", Much: "a turn", ForS: ptr(-1.5)}}},
	}
	var out strings.Builder
	if err := ratebook.Write(&out, rows); err != nil {
		t.Fatal(err)
	}
	const want = `utc,dial,error_s,sd_s,method,observer,temp_c,position,event,note
2027-03-04T09:12:00.0005Z,9:12:04.25,,0.15,eye and ear,'-Ida,18,,,
2027-03-04T09:12:00.0005Z,,,,,,30,dial up,placed oven,
2027-03-05T09:12:00.0005Z,,,,,Tom,,,hands moved +60,
2027-03-05T09:12:00.0005Z,,+64.5,,,,,,,'=1+1
2027-03-05T09:12:00.0005Z,,,,,Tom,,,stopped,"""run"" down, it seems"
2027-03-06T09:12:00.0005Z,,,,,,,,"regulated {""what"":""screws"",""much"":""a turn"",""for_s_per_day"":-1.5}",
`
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Error(diff)
	}
}

// TestWriteListened: the curves of a long reading stay out of the file, and
// the rest comes back.
func TestWriteListened(t *testing.T) {
	at := time.Date(2027, 3, 4, 9, 12, 0, 0, time.UTC)
	l := chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: 0.06}
	long := l
	long.DurationS, long.Timebase = 3600, &chronometer.Timebase{Source: "calibrated", PPM: -3, PPMSD: 0.5}
	long.Reading = &chronometer.LongReading{TeethSDUS: 2}
	for i := range 400 {
		long.Reading.TeethUS = append(long.Reading.TeethUS, 1.0/3)
		long.Reading.Rate = append(long.Reading.Rate, chronometer.RateAt{H: float64(i) / 3, SPerDay: -1.0 / 3, SDSPerDay: 1.0 / 3})
	}
	var out bytes.Buffer
	if err := ratebook.Write(&out, []ratebook.Row{{At: at, Facts: []chronometer.Fact{l}}, {At: at.Add(time.Hour), Facts: []chronometer.Fact{long}}}); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	if !strings.Contains(text, "\n2027-03-04T09:12:00Z,,listened -0.84 sd 0.06\n") || len(text) > 500 {
		t.Errorf("written:\n%s", text)
	}
	book := mustRead(t, text)
	long.Reading = nil
	if diff := cmp.Diff([]chronometer.Fact{l, long}, []chronometer.Fact{book.Rows[0].Facts[0], book.Rows[1].Facts[0]}, exact); diff != "" {
		t.Error(diff)
	}
}

func TestWriteRefusesWhatItCannotHold(t *testing.T) {
	for _, f := range []chronometer.Fact{nil, chronometer.Owner{Name: "x"}, chronometer.Instrument{}, chronometer.Photograph{}, chronometer.Upheld{}, chronometer.StruckOut{}} {
		var out bytes.Buffer
		err := ratebook.Write(&out, []ratebook.Row{{Facts: []chronometer.Fact{chronometer.Cased{}, f}}})
		if !errors.Is(err, ratebook.ErrKind) || out.Len() > 0 {
			t.Errorf("%T: %v after %q", f, err, &out)
		}
	}
}

func TestFromEntriesLeavesOutWhatHasNoRow(t *testing.T) {
	at := time.Date(2027, 3, 4, 9, 12, 0, 0, time.UTC)
	rows := ratebook.FromEntries([]chronometer.Entry{
		{ID: "B", At: at.Add(time.Hour), By: "Ida", Fact: chronometer.Cased{}},
		{ID: "C", At: at, By: "Ida", Fact: chronometer.Photograph{}},
		{ID: "A", At: at, By: "Tom", Fact: chronometer.Wound{}},
	})
	want := []ratebook.Row{
		{At: at, By: "Tom", Facts: []chronometer.Fact{chronometer.Wound{}}},
		{At: at.Add(time.Hour), By: "Ida", Facts: []chronometer.Fact{chronometer.Cased{}}},
	}
	if diff := cmp.Diff(want, rows); diff != "" {
		t.Error(diff)
	}
}

// line is one fact of a book with all that a round trip keeps.
type line struct {
	At   time.Time
	By   string
	Fact chronometer.Fact
}

func flat(rows []ratebook.Row) []line {
	var all []line
	for _, r := range rows {
		for _, f := range r.Facts {
			l := line{r.At, r.By, f}
			if _, ok := f.(chronometer.Compared); ok {
				l.By = ""
			}
			all = append(all, l)
		}
	}
	return all
}

// anyText draws text that CSV finds hard.
func anyText() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.Just(""),
		rapid.SampledFrom([]string{"=1+1", "'=x", "''+", "'", "-5 min", "@home", "a,b;c", `"`, `a "b"`, "line\nline", "cr\rcr", "\r\n", " led", "trailed ", "# no comment", "not said",
			"dial up", "on the bench", "in a trial, oven", "{}", "serviced: x", ": x", ", x", "½", "7.5", "+60", "\u2212", "\ufeff", "\u00a0", "up-and-down"}),
		rapid.StringMatching(`[a-z=+@'",;: \n\t-]{0,12}`),
		rapid.Map(rapid.String(), func(s string) string { return strings.ReplaceAll(s, "\x00", "") }),
	)
}

func said() *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		s := anyText().Draw(t, "text")
		if strings.TrimSpace(s) == "" {
			return "x" + s
		}
		return s
	})
}

func maybe(lo, hi float64) *rapid.Generator[*float64] {
	return rapid.Custom(func(t *rapid.T) *float64 {
		if rapid.Bool().Draw(t, "given") {
			return ptr(rapid.Float64Range(lo, hi).Draw(t, "value"))
		}
		return nil
	})
}

func pick[T ~string](choices []string) *rapid.Generator[T] {
	return rapid.Map(rapid.SampledFrom(choices), func(s string) T { return T(s) })
}

func orNone[T ~string](choices []string) *rapid.Generator[T] {
	return pick[T](append([]string{""}, choices...))
}

// anyFact draws a fact of every kind that a comparison file can hold.
func anyFact() *rapid.Generator[chronometer.Fact] {
	return rapid.Custom(func(t *rapid.T) chronometer.Fact {
		text, need := anyText(), said()
		s := func() string { return text.Draw(t, "s") }
		n := func() string { return need.Draw(t, "n") }
		position := func() chronometer.Position {
			return orNone[chronometer.Position](chronometer.Position("").Choices()).Draw(t, "position")
		}
		switch rapid.IntRange(0, 20).Draw(t, "kind") {
		case 0:
			return chronometer.Wound{HalfTurns: rapid.Float64Range(0, 60).Draw(t, "turns"), UpDownH: maybe(0, 1000).Draw(t, "h"), Note: s()}
		case 1:
			return chronometer.Started{How: s(), Note: s()}
		case 2:
			return chronometer.Stopped{Why: n(), Note: s()}
		case 3:
			return chronometer.Moved{ByS: rapid.Float64Range(1e-9, 86400).Draw(t, "by"), Note: s()}
		case 4:
			return chronometer.Set{Note: s()}
		case 5:
			return chronometer.Regulated{What: n(), Much: s(), ForS: maybe(-3600, 3600).Draw(t, "for"), Note: s()}
		case 6:
			return chronometer.Placed{Position: position(), Station: orNone[chronometer.Station](chronometer.Station("").Choices()).Draw(t, "station"),
				Where: s(), TempC: maybe(-60, 80).Draw(t, "temp"), Note: s()}
		case 7:
			return chronometer.Temperature{TempC: rapid.Float64Range(-60, 80).Draw(t, "temp"), Note: s()}
		case 8:
			return chronometer.Held{With: pick[chronometer.Hold](chronometer.Hold("").Choices()).Draw(t, "with"), Note: s()}
		case 9:
			return chronometer.Released{Note: s()}
		case 10:
			return chronometer.FromGimbals{Note: s()}
		case 11:
			return chronometer.IntoGimbals{Note: s()}
		case 12:
			return chronometer.Found{Condition: n()}
		case 13:
			return chronometer.WorkDone{Work: n(), Parts: s(), Measurements: s(), Service: rapid.Bool().Draw(t, "service")}
		case 14:
			return chronometer.Packed{How: n()}
		case 15:
			return chronometer.Sent{To: s(), With: s(), Note: s()}
		case 16:
			return chronometer.Received{Station: pick[chronometer.Station](chronometer.Station("").Choices()).Draw(t, "station"), Condition: s(), Note: s()}
		case 17:
			return chronometer.Cased{Note: s()}
		case 18:
			return chronometer.Carried{How: s()}
		case 19:
			l := chronometer.Listened{RateSPerDay: rapid.Float64Range(-3600, 3600).Draw(t, "rate"), RateSDSPerDay: rapid.Float64Range(1e-9, 600).Draw(t, "rate sd"),
				TempC: maybe(-60, 80).Draw(t, "temp"), Position: position(), Note: s()}
			if rapid.Bool().Draw(t, "by machine") {
				l.DurationS, l.Beats, l.WoundH = rapid.Float64Range(0, 86400).Draw(t, "duration"), rapid.IntRange(0, 1000).Draw(t, "beats"), maybe(0, 1000).Draw(t, "wound")
				l.AmplitudeDeg = maybe(10, 360).Draw(t, "amplitude")
			}
			return l
		}
		return chronometer.Note{Text: n()}
	})
}

func anyCompared() *rapid.Generator[chronometer.Fact] {
	return rapid.Custom(func(t *rapid.T) chronometer.Fact {
		c := chronometer.Compared{ErrorS: ptr(rapid.Float64Range(-1e6, 1e6).Draw(t, "error"))}
		if rapid.Bool().Draw(t, "dial") {
			r, err := clock.ParseDial(clock.DialReading(float64(rapid.Int64Range(0, 86399999).Draw(t, "ms")) / 1000).String())
			if err != nil {
				t.Fatal(err)
			}
			c = chronometer.ReadDial(r)
		}
		c.SDS = rapid.Float64Range(0, 600).Draw(t, "sd")
		c.StandardSD = rapid.Float64Range(0, 600).Draw(t, "standard sd")
		c.TempC, c.WoundH = maybe(-60, 80).Draw(t, "temp"), maybe(0, 1000).Draw(t, "wound")
		c.Method = orNone[chronometer.Method](chronometer.Method("").Choices()).Draw(t, "method")
		c.Position = orNone[chronometer.Position](chronometer.Position("").Choices()).Draw(t, "position")
		c.Observer, c.Standard, c.Note = anyText().Draw(t, "observer"), anyText().Draw(t, "standard"), anyText().Draw(t, "note")
		return c
	})
}

// TestWriteAndReadGiveTheFactsBack draws books of any facts, one reading an
// instant at most.
func TestWriteAndReadGiveTheFactsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := time.UnixMicro(rapid.Int64Range(-5e15, 5e15).Draw(t, "from")).UTC()
		var rows []ratebook.Row
		for range rapid.IntRange(1, 6).Draw(t, "rows") {
			at = at.Add(time.Duration(rapid.Int64Range(1, 1e12).Draw(t, "gap")) * time.Microsecond)
			row := ratebook.Row{At: at, By: anyText().Draw(t, "by"), Facts: []chronometer.Fact{anyFact().Draw(t, "fact")}}
			if rapid.Bool().Draw(t, "compared too") {
				row.Facts = append(row.Facts, anyCompared().Draw(t, "compared"))
			}
			rows = append(rows, row)
		}
		var out bytes.Buffer
		if err := ratebook.Write(&out, rows); err != nil {
			t.Fatal(err)
		}
		text := out.String()
		book, err := ratebook.Read(&out)
		if err != nil {
			t.Fatalf("%v in\n%s", err, text)
		}
		if diff := cmp.Diff(flat(rows), flat(book.Rows), exact); diff != "" {
			t.Fatalf("%s\nin\n%s", diff, text)
		}
		for _, r := range book.Remarks {
			if !strings.Contains(r, "-hour dial") {
				t.Fatalf("a file of our own has the remark %q", r)
			}
		}
	})
}

// month is a file of n comparisons and windings.
func month(n int) []byte {
	var b bytes.Buffer
	b.WriteString("utc,dial,sd_s,method,observer,temp_c,position,event,note\n")
	at := time.Date(2020, 1, 1, 8, 0, 0, 0, time.UTC)
	for i := range n {
		at = at.Add(time.Hour + time.Second)
		if i%10 == 9 {
			fmt.Fprintf(&b, "%s,,,,Ida,,,wound 7.5,\"after, the round\"\n", at.Format(time.RFC3339))
			continue
		}
		fmt.Fprintf(&b, "%s,%s.25,0.10,tap,Ida,18.5,dial up,,calm\n", at.Format(time.RFC3339), at.Format("15:04:05"))
	}
	return b.Bytes()
}

func BenchmarkRead(b *testing.B) {
	text := month(100_000)
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	for b.Loop() {
		book, err := ratebook.Read(bytes.NewReader(text))
		if err != nil || len(book.Rows) != 100_000 {
			b.Fatal(err, len(book.Rows))
		}
	}
}

// TestHoldsLittleMemory reads 100,000 rows and asks what they keep: about the
// size of the facts, and nothing of the text of the file.
func TestHoldsLittleMemory(t *testing.T) {
	text := month(100_000)
	live := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := live()
	book, err := ratebook.Read(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	perRow := float64(live()-before) / float64(len(book.Rows))
	runtime.KeepAlive(book)
	runtime.KeepAlive(text)
	t.Logf("%.0f bytes a row", perRow)
	if perRow > 320 {
		t.Error("more than the facts need")
	}
}

func FuzzRead(f *testing.F) {
	for _, c := range refusals {
		if len(c.text) < 2000 {
			f.Add([]byte(c.text))
		}
	}
	files, err := filepath.Glob("testdata/*.csv")
	if err != nil || len(files) == 0 {
		f.Fatal(err, files)
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text[:min(len(text), 900)])
	}
	f.Add([]byte("utc;error_s;event;note;temp_c;position;observer;wound_h;standard;standard_sd_s\n2027-03-04T09:12:00Z;4,5;\"placed {\"\"where\"\":\"\"x\"\"}\";'=a;8;CH;\"b\nc\";3;radio;0,02\n"))
	f.Add(month(12))
	f.Fuzz(func(t *testing.T, text []byte) {
		book, err := ratebook.Read(bytes.NewReader(text))
		if err != nil {
			if _, ok := err.(*ratebook.Error); !ok || len(book.Rows) > 0 || err.Error() == "" {
				t.Fatalf("%T %v with %d rows", err, err, len(book.Rows))
			}
			return
		}
		for i, r := range book.Rows {
			if len(r.Facts) == 0 || r.Line < 2 || r.At.IsZero() || i > 0 && r.At.Before(book.Rows[i-1].At) {
				t.Fatalf("row %d: %+v", i, r)
			}
			for _, fact := range r.Facts {
				e := chronometer.Entry{ID: "00000000000000000000000000", Subject: "00000000000000000000000000", At: r.At, Written: r.At, By: "x", Fact: fact}
				if err := e.Check(); err != nil {
					t.Fatal(err)
				}
			}
		}
		var out bytes.Buffer
		if err := ratebook.Write(&out, book.Rows); err != nil {
			t.Fatal(err)
		}
		written := out.String()
		again, err := ratebook.Read(&out)
		if err != nil {
			if len(written) > 60_000 {
				return // a row that was just short enough has grown by its quotation marks
			}
			t.Fatalf("%v in\n%s", err, written)
		}
		if diff := cmp.Diff(flat(book.Rows), flat(again.Rows), exact); diff != "" {
			t.Fatalf("%s\nin\n%s", diff, written)
		}
	})
}
