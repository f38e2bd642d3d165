package archive_test

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/oklog/ulid/v2"
	"pgregory.net/rapid"

	"timeball/internal/archive"
	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

var start = time.Date(2027, 1, 18, 9, 0, 0, 0, time.UTC)

// exact compares facts, whose dial readings have a type of their own.
var exact = cmp.Exporter(func(reflect.Type) bool { return true })

func id(n int) chronometer.ID {
	var u ulid.ULID
	if err := u.SetTime(uint64(start.UnixMilli()) + uint64(n)); err != nil {
		panic(err)
	}
	u[15] = byte(n)
	return chronometer.ID(u.String())
}

func entry(n, subject int, fact chronometer.Fact) chronometer.Entry {
	at := start.Add(time.Duration(n) * time.Hour)
	return chronometer.Entry{ID: id(n), Subject: id(subject), At: at, Written: at.Add(time.Minute), By: "Ida", Fact: fact}
}

func instrument(number string) chronometer.Instrument {
	return chronometer.Instrument{Number: number, Maker: "Corvane", Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve, GoingH: 56}
}

func ptr(v float64) *float64 { return &v }

func attachment(text string) archive.Attachment {
	hash := sha256.Sum256([]byte(text))
	return archive.Attachment{
		SHA256: hex.EncodeToString(hash[:]), Name: "dial.jpg", Type: "image/jpeg", Size: int64(len(text)),
		Open: func() (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(text)), nil },
	}
}

// workshop is two instruments with the same number, an owner and a picture.
func workshop() ([]chronometer.Entry, []archive.Attachment) {
	picture := attachment("a picture")
	return []chronometer.Entry{
		entry(1, 1, chronometer.Owner{Name: "Harbour Museum", Place: "Skerrow"}),
		entry(2, 2, instrument("417 <A>")),
		entry(3, 2, chronometer.Compared{ErrorS: ptr(4.5), SDS: 0.1, Observer: "=Ida"}),
		entry(4, 2, chronometer.Compared{ErrorS: ptr(64.5)}),
		entry(5, 2, chronometer.StruckOut{Entry: id(4), Why: "misread"}),
		entry(6, 6, instrument("417 <a>")),
		entry(7, 6, chronometer.Wound{HalfTurns: 7.5}),
		entry(8, 2, chronometer.Photograph{SHA256: picture.SHA256, Name: "dial.jpg"}),
		entry(9, 9, instrument("..")),
	}, []archive.Attachment{picture, attachment(""), attachment("another")}
}

func sequence(entries []chronometer.Entry) iter.Seq2[chronometer.Entry, error] {
	return func(yield func(chronometer.Entry, error) bool) {
		for _, e := range entries {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func write(t testing.TB, entries []chronometer.Entry, attachments []archive.Attachment) []byte {
	t.Helper()
	var out bytes.Buffer
	if err := archive.Write(&out, sequence(entries), attachments, logbooks(entries)); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func read(t testing.TB, b []byte) (*archive.Archive, []chronometer.Entry) {
	t.Helper()
	a, err := archive.Read(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	entries := []chronometer.Entry{}
	for e, err := range a.Entries() {
		if err != nil {
			t.Fatal(err)
		}
		entries = append(entries, e)
	}
	if len(entries) != a.Len() {
		t.Fatalf("%d entries, Len %d", len(entries), a.Len())
	}
	return a, entries
}

func TestReadGivesWhatWasWritten(t *testing.T) {
	entries, attachments := workshop()
	a, got := read(t, write(t, entries, attachments))
	if diff := cmp.Diff(entries, got, exact); diff != "" {
		t.Error(diff)
	}
	texts := map[string]bool{}
	for _, at := range a.Attachments() {
		r, err := at.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil || r.Close() != nil || int64(len(text)) != at.Size || at.Type != "image/jpeg" {
			t.Error(err, at)
		}
		texts[string(text)] = true
	}
	if diff := cmp.Diff(map[string]bool{"a picture": true, "": true, "another": true}, texts); diff != "" {
		t.Error(diff)
	}
}

// TestMembers opens an archive as a stranger would, with the zip, JSON, CSV
// and SHA-256 of the standard library alone.
func TestMembers(t *testing.T) {
	entries, attachments := workshop()
	b := write(t, entries, attachments)
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	var manifest struct {
		Format                                     string
		Version, Entries, Attachments, Comparisons int
		Members                                    []struct {
			Name, SHA256 string
			Size         int
		}
	}
	texts := map[string]string{}
	var order []string
	for _, f := range z.File {
		if !f.Modified.Equal(time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)) {
			t.Errorf("%s bears the time %v", f.Name, f.Modified)
		}
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		texts[f.Name] = string(text)
		order = append(order, f.Name)
	}
	if err := json.Unmarshal([]byte(texts["timeball.json"]), &manifest); err != nil {
		t.Fatal(err)
	}
	if manifest.Version != 1 || manifest.Entries != 9 || manifest.Attachments != 3 || manifest.Comparisons != 2 || len(manifest.Members) != len(order)-1 {
		t.Errorf("%+v", manifest)
	}
	slices.Sort(order)
	for i, m := range manifest.Members {
		hash := sha256.Sum256([]byte(texts[m.Name]))
		if m.SHA256 != hex.EncodeToString(hash[:]) || m.Size != len(texts[m.Name]) || m.Name != order[i] {
			t.Errorf("%+v", m)
		}
	}
	if n := strings.Count(texts["entries.jsonl"], "\n"); n != 9 {
		t.Errorf("%d lines", n)
	}
	rows, err := csv.NewReader(strings.NewReader(texts["comparisons/417--A.csv"])).ReadAll()
	if err != nil {
		t.Fatal(err, order)
	}
	want := [][]string{{"utc", "error_s", "sd_s", "observer"}, {"2027-01-18T12:00:00Z", "+4.5", "0.1", "'=Ida"}}
	if diff := cmp.Diff(want, rows); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(texts["comparisons/417--a-2.csv"], "wound 7.5") {
		t.Errorf("the instrument of the same number: %v", order)
	}
	for _, name := range []string{"entries.jsonl", "attachments.jsonl", "attachments/", "comparisons/", "timeball.json"} {
		if !strings.Contains(texts["README.txt"], name) {
			t.Errorf("README.txt does not tell of %s", name)
		}
	}
}

func TestOrderOfAttachmentsDoesNotMatter(t *testing.T) {
	entries, attachments := workshop()
	one := write(t, entries, attachments)
	slices.Reverse(attachments)
	if !bytes.Equal(one, write(t, entries, attachments)) {
		t.Error("other bytes")
	}
}

func TestEmptyWorkshop(t *testing.T) {
	var out bytes.Buffer
	if err := archive.Write(&out, sequence(nil), nil, nil); err != nil {
		t.Fatal(err)
	}
	if a, entries := read(t, out.Bytes()); len(entries)+len(a.Attachments()) != 0 {
		t.Error(entries)
	}
}

// TestWriteRefuses checks that what could not be restored is not exported.
func TestWriteRefuses(t *testing.T) {
	lower := entry(1, 1, instrument("417"))
	lower.ID = chronometer.ID(strings.ToLower(string(lower.ID)))
	nobody := entry(1, 1, instrument("417"))
	nobody.By = " "
	old := entry(1, 1, instrument("417"))
	old.At = time.Date(1066, 10, 14, 9, 0, 0, 0, time.UTC)
	long := entry(1, 1, instrument("417"))
	long.By = strings.Repeat("x", 1<<20)
	damaged := attachment("a picture")
	damaged.Open = attachment("a pictvre").Open
	short := attachment("a picture")
	short.Open = attachment("a pict").Open
	grown := attachment("a picture")
	grown.Open = attachment("a picture and more").Open
	gone := attachment("a picture")
	errGone := errors.New("no such file")
	gone.Open = func() (io.ReadCloser, error) { return nil, errGone }
	misnamed := attachment("a picture")
	misnamed.SHA256 = "../../etc"
	for _, c := range []struct {
		name        string
		entries     []chronometer.Entry
		attachments []archive.Attachment
		says        string
	}{
		{"twice", []chronometer.Entry{entry(1, 1, instrument("417")), entry(1, 1, instrument("417"))}, nil, "stands twice"},
		{"out of order", []chronometer.Entry{entry(2, 2, instrument("417")), entry(1, 1, instrument("418"))}, nil, "in the order of their IDs"},
		{"small letters", []chronometer.Entry{lower}, nil, "capital letters"},
		{"nobody", []chronometer.Entry{nobody}, nil, "has no name"},
		{"before UTC", []chronometer.Entry{old}, nil, "could not be read back"},
		{"long", []chronometer.Entry{long}, nil, "attach the text as a file"},
		{"damaged", nil, []archive.Attachment{damaged}, "bring the file back from a backup"},
		{"short", nil, []archive.Attachment{short}, "not what was attached (6 bytes, expected 9"},
		{"grown", nil, []archive.Attachment{grown}, "not what was attached"},
		{"gone", nil, []archive.Attachment{gone}, "no such file"},
		{"misnamed", nil, []archive.Attachment{misnamed}, "64 hexadecimal digits"},
		{"nothing to open", nil, []archive.Attachment{{SHA256: attachment("a").SHA256, Size: 1}}, "no bytes to open"},
		{"given twice", nil, []archive.Attachment{attachment("a"), attachment("a")}, "given twice"},
	} {
		var out bytes.Buffer
		err := archive.Write(&out, sequence(c.entries), c.attachments, nil)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %.200v, want %q", c.name, err, c.says)
		}
		if _, err := archive.Read(bytes.NewReader(out.Bytes()), int64(out.Len())); err == nil {
			t.Errorf("%s: what was written before the error reads as an archive", c.name)
		}
	}
}

func TestWritePassesErrorsOn(t *testing.T) {
	errStore := errors.New("the database is locked")
	failing := func(yield func(chronometer.Entry, error) bool) {
		_ = yield(entry(1, 1, instrument("417")), nil) && yield(chronometer.Entry{}, errStore)
	}
	if err := archive.Write(io.Discard, failing, nil, nil); !errors.Is(err, errStore) {
		t.Error(err)
	}
	books := func(yield func(chronometer.Logbook, error) bool) { yield(chronometer.Logbook{}, errStore) }
	if err := archive.Write(io.Discard, sequence(nil), nil, books); !errors.Is(err, errStore) {
		t.Error(err)
	}
}

// TestLongestLine writes the longest entry that fits a line, and one byte more.
func TestLongestLine(t *testing.T) {
	e := entry(1, 1, instrument("417"))
	text, err := json.Marshal(e)
	if err != nil {
		t.Fatal(err)
	}
	e.By += strings.Repeat("x", 1<<20-1-len(text))
	_, got := read(t, write(t, []chronometer.Entry{e}, nil))
	if diff := cmp.Diff([]chronometer.Entry{e}, got, exact); diff != "" {
		t.Error(diff)
	}
	e.By += "x"
	if err := archive.Write(io.Discard, sequence([]chronometer.Entry{e}), nil, nil); err == nil {
		t.Error("a line that Read refuses was written")
	}
}

// anyEntries draws the logbooks of a workshop.
func anyEntries(t *rapid.T) []chronometer.Entry {
	text := rapid.OneOf(rapid.SampledFrom([]string{"", "=1", "a\nb", `"`, "<b>&", "\u2028", "\x00", " "}), rapid.String())
	needed := rapid.Map(text, func(s string) string { return "x" + s })
	var entries []chronometer.Entry
	var subjects []int
	n := 0
	for range rapid.IntRange(1, 25).Draw(t, "entries") {
		n += rapid.IntRange(1, 300).Draw(t, "later")
		if len(subjects) == 0 || rapid.IntRange(0, 5).Draw(t, "new") == 0 {
			number := rapid.StringMatching(`[0-9A-Za-z. №"-]{1,12}|CON|nul`).Draw(t, "number")
			if strings.TrimSpace(number) == "" {
				number = "1"
			}
			subjects = append(subjects, n)
			entries = append(entries, entry(n, n, instrument(number)))
			continue
		}
		var fact chronometer.Fact
		switch rapid.IntRange(0, 9).Draw(t, "kind") {
		case 0:
			fact = chronometer.Compared{ErrorS: ptr(rapid.Float64Range(-1e6, 1e6).Draw(t, "error")), Note: text.Draw(t, "note"), Observer: text.Draw(t, "observer")}
		case 1:
			fact = chronometer.ReadDial(clock.DialReading(rapid.Float64Range(0, 86399).Draw(t, "dial")))
		case 2:
			fact = chronometer.Note{Text: needed.Draw(t, "text")}
		case 3:
			fact = chronometer.WorkDone{Work: needed.Draw(t, "work"), Parts: text.Draw(t, "parts"), Service: rapid.Bool().Draw(t, "service")}
		case 4:
			fact = chronometer.StruckOut{Entry: rapid.SampledFrom(entries).Draw(t, "struck").ID, Why: needed.Draw(t, "why")}
		case 5:
			fact = chronometer.Photograph{SHA256: attachment(text.Draw(t, "picture")).SHA256}
		case 6:
			fact = chronometer.Placed{Where: text.Draw(t, "where"), TempC: ptr(rapid.Float64Range(-60, 80).Draw(t, "temp"))}
		case 7:
			fact = chronometer.Wound{HalfTurns: rapid.Float64Range(0, 60).Draw(t, "turns")}
		case 8:
			l := listened(attachment(text.Draw(t, "recording")).SHA256)
			l.RateSPerDay, l.Note = rapid.Float64Range(-3600, 3600).Draw(t, "rate"), text.Draw(t, "note")
			if rapid.Bool().Draw(t, "by hand") {
				l = chronometer.Listened{RateSPerDay: l.RateSPerDay, RateSDSPerDay: rapid.Float64Range(0.001, 10).Draw(t, "rate sd"), Note: l.Note}
			}
			fact = l
		case 9:
			c := chronometer.Compared{ErrorS: ptr(rapid.Float64Range(-1e6, 1e6).Draw(t, "error")), Method: chronometer.BySound, SDS: 0.01}
			c.Heard = &chronometer.HeardBeat{Beats: 60, DurationS: 30, PhaseS: rapid.Float64Range(0, 0.5).Draw(t, "phase"), BeatS: 0.5, Taken: chronometer.TakenForecast,
				LatencyS: 0.031, LatencySDS: 0.006, Recording: listened(attachment("s").SHA256).Recording}
			fact = c
		}
		e := entry(n, rapid.SampledFrom(subjects).Draw(t, "subject"), fact)
		e.By = needed.Draw(t, "by")
		e.At = time.UnixMicro(rapid.Int64Range(-8e15, 7e15).Draw(t, "at")).In(time.FixedZone("", rapid.IntRange(-12, 12).Draw(t, "zone")*3600))
		entries = append(entries, e)
	}
	return entries
}

// TestWriteReadWriteIsTheSame: what was read writes the same bytes again.
func TestWriteReadWriteIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		entries := anyEntries(t)
		var attachments []archive.Attachment
		for _, text := range rapid.SliceOfNDistinct(rapid.String(), 0, 4, rapid.ID[string]).Draw(t, "attachments") {
			attachments = append(attachments, attachment(text))
		}
		first := new(bytes.Buffer)
		if err := archive.Write(first, sequence(entries), attachments, logbooks(entries)); err != nil {
			t.Fatal(err)
		}
		a, err := archive.Read(bytes.NewReader(first.Bytes()), int64(first.Len()))
		if err != nil {
			t.Fatal(err)
		}
		var got []chronometer.Entry
		for e, err := range a.Entries() {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, e)
		}
		second := new(bytes.Buffer)
		if err := archive.Write(second, a.Entries(), a.Attachments(), logbooks(got)); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(first.Bytes(), second.Bytes()) {
			t.Fatalf("%d bytes, then %d other bytes", first.Len(), second.Len())
		}
	})
}

// years yields n entries of ten instruments without holding them, and calls
// each after every tenth of them.
func years(n int, each func()) iter.Seq2[chronometer.Entry, error] {
	return func(yield func(chronometer.Entry, error) bool) {
		rng := rand.New(rand.NewPCG(7, 7))
		for i := range n {
			e := entry(i+1, i%10+1, chronometer.Compared{ErrorS: ptr(float64(rng.IntN(100000)) / 1000), SDS: 0.1, Method: chronometer.ByTap, Observer: "Ida", TempC: ptr(18.5)})
			if i < 10 {
				e.Fact = instrument(fmt.Sprint(400 + i))
			}
			if !yield(e, nil) {
				return
			}
			if (i+1)%(n/10) == 0 {
				each()
			}
		}
	}
}

// TestStreams writes and reads 100,000 entries and looks at the live memory
// on the way: it must not grow with the number of entries.
func TestStreams(t *testing.T) {
	const n, bound = 100_000, 6 << 20
	live := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var most uint64
	watch := func() { most = max(most, live()) }

	before := live()
	if err := archive.Write(io.Discard, years(n, watch), nil, nil); err != nil {
		t.Fatal(err)
	}
	if most > before+bound {
		t.Errorf("writing held %d kB", (most-before)>>10)
	}

	var out bytes.Buffer
	if err := archive.Write(&out, years(n, func() {}), nil, nil); err != nil {
		t.Fatal(err)
	}
	before, most = live(), 0
	a, err := archive.Read(bytes.NewReader(out.Bytes()), int64(out.Len()))
	if err != nil {
		t.Fatal(err)
	}
	i := 0
	for _, err := range a.Entries() {
		if err != nil {
			t.Fatal(err)
		}
		if i++; i%(n/10) == 0 {
			watch()
		}
	}
	if i != n || most > before+bound {
		t.Errorf("%d entries; reading held %d kB", i, (int64(most)-int64(before))>>10)
	}
}

func BenchmarkWrite(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if err := archive.Write(io.Discard, years(100_000, func() {}), nil, nil); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRead(b *testing.B) {
	var out bytes.Buffer
	if err := archive.Write(&out, years(100_000, func() {}), nil, nil); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	b.SetBytes(int64(out.Len()))
	for b.Loop() {
		if _, err := archive.Read(bytes.NewReader(out.Bytes()), int64(out.Len())); err != nil {
			b.Fatal(err)
		}
	}
}

// logbooks returns the logbook of each subject of the entries, in the order of
// the subjects, as Write wants them.
func logbooks(entries []chronometer.Entry) iter.Seq2[chronometer.Logbook, error] {
	of := map[chronometer.ID][]chronometer.Entry{}
	var subjects []chronometer.ID
	for _, e := range entries {
		if _, known := of[e.Subject]; !known {
			subjects = append(subjects, e.Subject)
		}
		of[e.Subject] = append(of[e.Subject], e)
	}
	slices.Sort(subjects)
	return func(yield func(chronometer.Logbook, error) bool) {
		for _, s := range subjects {
			if !yield(chronometer.NewLogbook(of[s]), nil) {
				return
			}
		}
	}
}
