package workshop_test

import (
	"bytes"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

// sounded is a comparison by sound of a dial out by errorS.
func sounded(errorS, sdS, latencySDS float64) chronometer.Compared {
	return chronometer.Compared{
		ErrorS: &errorS, SDS: sdS, Method: chronometer.BySound,
		Heard: &chronometer.HeardBeat{Beats: 60, DurationS: 30, PhaseS: 0.1, BeatS: 0.5, Taken: chronometer.TakenForecast, LatencyS: 0.03, LatencySDS: latencySDS, MicrophoneKey: "bench"},
	}
}

// TestDelayOfAMicrophoneIsShared: an instrument, steady as few are, is heard
// every day by one microphone whose delay is known to 40 ms; however often,
// the error is known no better than that.
func TestDelayOfAMicrophoneIsShared(t *testing.T) {
	const histories, days = 200, 25
	const delaySD, own = 0.040, 0.015
	within, apart := 0, 0
	for n := range histories {
		r := rand.New(rand.NewPCG(8, uint64(n)))
		start := now.AddDate(0, 0, -days)
		delay, rate, error := delaySD*r.NormFloat64(), -0.5+0.2*r.NormFloat64(), 5*r.NormFloat64()
		entries := []chronometer.Entry{{ID: "0", At: start, Fact: chronometer.Instrument{Number: "1"}}}
		for d := range days {
			if d > 0 {
				error += rate + 0.02*r.NormFloat64()
			}
			at := start.AddDate(0, 0, d).Add(time.Hour)
			entries = append(entries, chronometer.Entry{ID: chronometer.ID(at.Format("20060102")), At: at, Fact: sounded(error+delay+own*r.NormFloat64(), math.Hypot(delaySD, own), delaySD)})
		}
		h := workshop.History(clock.TwelveHour, chronometer.NewLogbook(entries))
		if h.SharedS != delaySD {
			t.Fatalf("the readings share %g s, want %g", h.SharedS, delaySD)
		}
		for _, shared := range []float64{h.SharedS, 0} {
			h.SharedS = shared
			got, err := rating.Rate(h, rating.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if inside := got.Error.Lo95 <= error && error <= got.Error.Hi95; inside && shared > 0 {
				within++
			} else if inside {
				apart++
			}
		}
	}
	t.Logf("%d of %d inside, %d if each delay were another", within, histories, apart)
	// 99.9% band of a true 95%: 179 to 198 of 200.
	if within < 179 {
		t.Errorf("%d of %d inside the 95%% interval", within, histories)
	}
	if apart >= 179 {
		t.Errorf("%d of %d inside if each delay were another: this test shows nothing", apart, histories)
	}
}

// TestListenedInHistory: a rate heard is no reading; the thermometer and the
// position are seen, and the position ends with the sound.
func TestListenedInHistory(t *testing.T) {
	at := func(h float64) time.Time { return now.Add(time.Duration(h * float64(time.Hour))) }
	e, c := 1.0, 8.5
	entries := []chronometer.Entry{
		{ID: "1", At: at(0), Fact: chronometer.Compared{ErrorS: &e, Position: chronometer.DialUp}},
		{ID: "2", At: at(2), Fact: chronometer.Listened{RateSPerDay: 900, RateSDSPerDay: 0.1, DurationS: 1800, TempC: &c, Position: chronometer.DialDown}},
		{ID: "3", At: at(24), Fact: chronometer.Compared{ErrorS: &e, Position: chronometer.DialUp}},
		{ID: "4", At: at(25), Fact: chronometer.Listened{RateSPerDay: 1, RateSDSPerDay: 0.1, DurationS: 7200}},
		{ID: "5", At: at(26), Fact: chronometer.Compared{ErrorS: &e, Position: chronometer.DialDown}}, // while it is heard
	}
	h := workshop.History(clock.TwelveHour, chronometer.NewLogbook(entries))
	if len(h.Readings) != 3 || h.SharedS != 0 || len(h.Events) != 0 {
		t.Errorf("%d readings, %g s shared, %v; a rate heard is none", len(h.Readings), h.SharedS, h.Events)
	}
	if d := cmp.Diff([]rating.TemperatureAt{{At: at(2), C: 8.5}}, h.Temperatures); d != "" {
		t.Error(d)
	}
	want := []rating.PositionAt{{At: at(0), Position: "dial up"}, {At: at(2), Position: "dial down"}, {At: at(2.5), Position: "dial up"}, {At: at(26), Position: "dial down"}}
	if d := cmp.Diff(want, h.Positions); d != "" {
		t.Error(d)
	}
}

// TestRateBookKnowsWhatWasHeard: a rate book carries neither the sound behind
// a comparison nor the curves of a long reading, and brings back what it holds
// as held already.
func TestRateBookKnowsWhatWasHeard(t *testing.T) {
	w := open(t)
	id := enter(t, w, "9")
	write := func(h float64, f chronometer.Fact) {
		t.Helper()
		if _, err := w.Write(t.Context(), "keeper", id, now.Add(-time.Duration(h*float64(time.Hour))), f); err != nil {
			t.Fatal(err)
		}
	}
	write(3, sounded(1.25, 0.01, 0.006))
	write(2, chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: 0.1, DurationS: 3600,
		Reading: &chronometer.LongReading{Rate: []chronometer.RateAt{{H: 0.5, SPerDay: -0.8, SDSPerDay: 0.1}}}})
	seen, err := w.See(t.Context(), "9")
	if err != nil {
		t.Fatal(err)
	}
	var book bytes.Buffer
	if err := ratebook.Write(&book, ratebook.FromEntries(seen.Logbook.Standing())); err != nil {
		t.Fatal(err)
	}
	p, err := w.Preview(t.Context(), id, "keeper", &book)
	if err != nil {
		t.Fatal(err)
	}
	if p.New != 0 || p.Held != 2 {
		t.Errorf("%d new and %d held, want none and 2", p.New, p.Held)
	}
}

func TestKeepRecording(t *testing.T) {
	w := open(t)
	wav := "RIFF\x24\x00\x00\x00WAVEfmt " + strings.Repeat("\x00", 5000)
	kept, err := w.KeepRecording(t.Context(), strings.NewReader(wav), `C:\sound\beat.wav`)
	if err != nil {
		t.Fatal(err)
	}
	if kept.Name != "beat.wav" || kept.Type != chronometer.WAV || kept.Bytes != int64(len(wav)) {
		t.Errorf("kept as %+v", kept)
	}
	mediaType, file, err := w.Attachment(t.Context(), kept.SHA256)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	if _, err := file.Seek(8, io.SeekStart); err != nil {
		t.Fatal(err)
	}
	part := make([]byte, 4)
	if _, err := io.ReadFull(file, part); err != nil || string(part) != "WAVE" || mediaType != chronometer.WAV {
		t.Errorf("%s: %q, %v", mediaType, part, err)
	}
	again, err := w.Recording(t.Context(), kept.SHA256, "beat.wav")
	if d := cmp.Diff(kept, again); d != "" || err != nil {
		t.Error(err, d)
	}
	if _, err := w.Recording(t.Context(), strings.Repeat("a", 64), ""); !errors.Is(err, workshop.ErrUnknown) {
		t.Errorf("a recording that is not kept: %v", err)
	}
	long, err := w.KeepRecording(t.Context(), strings.NewReader("fLaC"+wav), strings.Repeat("ö", 900))
	if err != nil || len(long.Name) > 200 || long.Type != chronometer.FLAC {
		t.Errorf("a long name: %+v, %v", long, err)
	}
	for _, bad := range []string{"", "RIFF", "RIFF\x24\x00\x00\x00AVI LIST", "ID3\x04 a song in another form"} {
		if _, err := w.KeepRecording(t.Context(), strings.NewReader(bad), "x.wav"); !errors.Is(err, chronometer.ErrEntry) || !strings.Contains(err.Error(), "WAV or FLAC") {
			t.Errorf("%q: %v", bad, err)
		}
	}
	cut := errors.New("the line was cut")
	if _, err := w.KeepRecording(t.Context(), io.MultiReader(strings.NewReader(wav), failing{cut}), "x.wav"); !errors.Is(err, cut) || errors.Is(err, chronometer.ErrEntry) {
		t.Errorf("a line that was cut: %v", err)
	}
	if r, err := w.Verify(t.Context()); err != nil || !r.Whole() {
		t.Errorf("after all this: %+v, %v", r, err)
	}
}

// TestTooLongARecording sends a byte more than is kept, which is refused in
// words and leaves nothing behind.
func TestTooLongARecording(t *testing.T) {
	w := open(t)
	sound := io.MultiReader(strings.NewReader("fLaC"), io.LimitReader(silence{}, chronometer.MostRecording-3))
	if _, err := w.KeepRecording(t.Context(), sound, "long.flac"); !errors.Is(err, chronometer.ErrEntry) || !strings.Contains(err.Error(), "512 MB") {
		t.Errorf("one byte too many: %v", err)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

type silence struct{}

func (silence) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

func TestMicrophones(t *testing.T) {
	w := open(t)
	if _, ok, err := w.Microphone(t.Context(), "bench"); ok || err != nil {
		t.Errorf("known before it was kept: %v, %v", ok, err)
	}
	bench := store.Microphone{Key: "bench", Name: "bench microphone", Seen: now, LatencyS: 0.031, LatencySDS: 0.006, LatencyHow: "check tone", LatencyAt: now}
	door := store.Microphone{Key: "door", Name: "by the door", Seen: now.Add(-time.Hour)}
	for _, m := range []store.Microphone{door, bench} {
		if err := w.KeepMicrophone(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	got, ok, err := w.Microphone(t.Context(), "bench")
	if d := cmp.Diff(bench, got); !ok || err != nil || d != "" {
		t.Error(ok, err, d)
	}
	all, err := w.Microphones(t.Context())
	if d := cmp.Diff([]store.Microphone{bench, door}, all); err != nil || d != "" {
		t.Error(err, d)
	}
}
