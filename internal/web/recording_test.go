package web_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"timeball/internal/chronometer"
	"timeball/internal/tab"
	"timeball/internal/web"
)

// wave returns a WAV file of a second of silence, 8000 samples of 16 bits: RIFF,
// "Multimedia Programming Interface and Data Specifications 1.0" (1991).
func wave() []byte {
	const samples = 8000
	b := []byte("RIFF\x00\x00\x00\x00WAVEfmt ")
	for _, v := range []any{uint32(16), uint16(1), uint16(1), uint32(samples), uint32(2 * samples), uint16(2), uint16(16)} {
		b, _ = binary.Append(b, binary.LittleEndian, v)
	}
	b = append(b, "data"...)
	b, _ = binary.Append(b, binary.LittleEndian, uint32(2*samples))
	b = append(b, make([]byte, 2*samples)...)
	binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
	return b
}

// heardOf returns the last rate heard of an instrument.
func heardOf(t *testing.T, v *visitor, number string) chronometer.Listened {
	t.Helper()
	for _, e := range v.entries(number) {
		if l, ok := e.Fact.(chronometer.Listened); ok {
			return l
		}
	}
	t.Fatal("nothing was heard")
	return chronometer.Listened{}
}

func TestRecording(t *testing.T) {
	v := visit(t, lanternQuay(t))
	const address = "/instruments/417/write/listened"
	sound := wave()
	form := v.get(address, http.StatusOK)
	if got := form.one(t, ".form"); got.attrs["enctype"] != "multipart/form-data" {
		t.Errorf("the form is sent as %q", got.attrs["enctype"])
	}
	if _, required := form.one(t, "#f-file").attrs["required"]; required || !strings.Contains(form.one(t, "#h-file").words(), "512 MB") {
		t.Error("the recording is asked for as if none could be without, or its size is not said")
	}
	page := v.follow(v.postFile(address, map[string]string{"by": "E", "rate_s_per_day": "-0.84", "rate_sd_s_per_day": "0.06"}, `C:\sound\beat <1>.wav`, sound))
	line := page.all("#logbook-lines .sound")[0]
	if got := line.one(t, "a"); got.attrs["download"] != "beat <1>.wav" || got.words() != "beat <1>.wav, 17 kB" {
		t.Errorf("to be taken home as %v %q", got.attrs, got.words())
	}
	player := line.one(t, "audio")
	if _, controls := player.attrs["controls"]; !controls || player.attrs["preload"] != "none" || player.attrs["aria-label"] == "" {
		t.Errorf("the player is %v", player.attrs)
	}
	if r := v.send(httptest.NewRequest(http.MethodGet, "/instruments/417", nil)); !strings.Contains(r.Header.Get("Content-Security-Policy"), "media-src 'self'") {
		t.Error("the policy lets nothing be played")
	}
	r := v.send(httptest.NewRequest(http.MethodGet, player.attrs["src"], nil))
	if h := r.Header; h.Get("Content-Type") != "audio/wav" || h.Get("Accept-Ranges") != "bytes" || !strings.Contains(h.Get("Content-Security-Policy"), "sandbox") || text(t, r) != string(sound) {
		t.Errorf("served as %v", h)
	}
	// RFC 9110, 14.1.2 and 15.3.7: the last bytes, and a part that is not there.
	for span, want := range map[string]int{"bytes=40-51": http.StatusPartialContent, "bytes=-4": http.StatusPartialContent, "bytes=90000-": http.StatusRequestedRangeNotSatisfiable} {
		q := httptest.NewRequest(http.MethodGet, player.attrs["src"], nil)
		q.Header.Set("Range", span)
		r := v.send(q)
		if r.StatusCode != want {
			t.Errorf("%s: status %d, want %d", span, r.StatusCode, want)
		}
		if span == "bytes=40-51" && (text(t, r) != string(sound[40:52]) || r.Header.Get("Content-Range") != fmt.Sprintf("bytes 40-51/%d", len(sound))) {
			t.Errorf("%s: %v", span, r.Header)
		}
	}
}

// TestRecordingIsKeptWithAMistake: what is wrong in the form does not ask for
// the sound again, and the entry names it in the end.
func TestRecordingIsKeptWithAMistake(t *testing.T) {
	v := visit(t, lanternQuay(t))
	const address = "/instruments/417/write/listened"
	r := v.postFile(address, map[string]string{"by": "E", "rate_s_per_day": "-0.84"}, "beat.wav", wave())
	page := parsed(t, text(t, r))
	if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(page.one(t, "#x-rate_sd_s_per_day").words(), "missing") || !strings.Contains(page.one(t, "#h-file").words(), "“beat.wav” is kept") {
		t.Fatalf("status %d: %s", r.StatusCode, page.one(t, ".wrong").words())
	}
	values := withBy(hidden(t, page, ".form"))
	values.Set("rate_s_per_day", "-0.84")
	values.Set("rate_sd_s_per_day", "0.06")
	v.follow(v.postForm(address, values))
	if got := heardOf(t, v, "417").Recording; got == nil || got.Name != "beat.wav" || got.Type != chronometer.WAV || got.Bytes != int64(len(wave())) {
		t.Errorf("the entry names %+v", got)
	}
	values = withBy(hidden(t, v.get(address, http.StatusOK), ".form"))
	values.Set("rate_s_per_day", "-0.8")
	values.Set("rate_sd_s_per_day", "0.06")
	for sum, says := range map[string]string{strings.Repeat("a", 64): "choose it again", "../../timeball.db": "choose it again"} {
		values.Set("recording", sum)
		r := v.postForm(address, values)
		if page := parsed(t, text(t, r)); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(page.one(t, "#x-file").words(), says) {
			t.Errorf("%s: status %d", sum, r.StatusCode)
		}
	}
}

func TestNoRecording(t *testing.T) {
	v := visit(t, lanternQuay(t))
	const address = "/instruments/417/write/listened"
	before := len(v.entries("417"))
	fields := map[string]string{"by": "E", "rate_s_per_day": "-0.84", "rate_sd_s_per_day": "0.06"}
	for name, file := range map[string]string{"picture": "\xff\xd8\xff\xe0\x00\x10JFIF" + strings.Repeat("\x00", 600), "page": "<html><script>alert(1)</script></html>", "nothing": ""} {
		r := v.postFile(address, fields, "beat.wav", []byte(file))
		page := parsed(t, text(t, r))
		if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(page.one(t, "#x-file").words(), "WAV or FLAC") || page.one(t, "#f-rate_s_per_day").attrs["value"] != "-0.84" {
			t.Errorf("%s as a recording: status %d", name, r.StatusCode)
		}
	}
	fields["note"] = strings.Repeat("x", 2<<20)
	if r := v.postFile(address, fields, "beat.wav", wave()); r.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("two megabytes of a note: status %d", r.StatusCode)
	}
	if n := len(v.entries("417")); n != before {
		t.Errorf("%d entries were written", n-before)
	}
	delete(fields, "note")
	v.follow(v.postFile(address, fields, "", nil)) // the field left empty
	if got := heardOf(t, v, "417"); got.Recording != nil {
		t.Errorf("the entry names %+v", got.Recording)
	}
}

// overNight returns what a recording of ten hours shows, of which tooth 7 is 48
// µs late.
func overNight() chronometer.Listened {
	l := chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: 0.11, DurationS: 10 * 3600, LiftAngleDeg: 40,
		Timebase: &chronometer.Timebase{Source: "calibrated", PPM: 12.4, PPMSD: 1.1}, Reading: &chronometer.LongReading{TeethSDUS: 2}}
	for n := range 15 {
		l.Reading.TeethUS = append(l.Reading.TeethUS, float64(n%3-1)*10)
	}
	l.Reading.TeethUS[6] = 48 // late
	for h := range 10 {
		l.Reading.Amplitude = append(l.Reading.Amplitude, chronometer.AmplitudeAt{H: float64(h) + 0.5, Deg: 225 - float64(h), SDDeg: 1})
		l.Reading.Rate = append(l.Reading.Rate, chronometer.RateAt{H: float64(h) + 0.5, SPerDay: -0.84, SDSPerDay: 0.05})
	}
	return l
}

// TestLongReading draws the curves of a recording of hours beside its entry.
func TestLongReading(t *testing.T) {
	q := lanternQuay(t)
	l, wound := overNight(), 4.0
	l.WoundH = &wound
	e := q.add(q.instruments[0], today.Add(-20*time.Hour), "E", l)
	unwound := l
	unwound.WoundH = nil
	alone := q.add(q.instruments[3], today.Add(-2*time.Hour), "E", unwound) // No. 731 has no winding
	q.fill(t)
	v := visit(t, q)
	page := v.get("/instruments/417", http.StatusOK)
	wellMade(t, "/instruments/417", page, map[string]bool{})
	if got := page.one(t, "#e-"+string(e.ID)).all("a[href=#reading-" + string(e.ID) + "]"); len(got) != 1 {
		t.Errorf("%d links lead from the entry to its curves", len(got))
	}
	for id, says := range map[string]string{
		"teeth-": "tooth 7, 48 µs late ±4",
		"wind-":  "225° ±2° at 4.5 h",
		"hours-": "Losing 0.84 s a day ±0.10 at 4.5 h since winding",
	} {
		drawn := page.all("#" + id + string(e.ID) + "-wide-desc")
		if len(drawn) != 1 || len(page.all("#"+id+string(e.ID)+"-narrow-desc")) != 1 {
			t.Errorf("%s is drawn %d times", id, len(drawn))
			continue
		}
		if got := drawn[0].words(); !strings.Contains(got, says) {
			t.Errorf("%s says %q, want %q", id, got, says)
		}
	}
	page = v.get("/instruments/731", http.StatusOK)
	if got := len(page.all("#teeth-" + string(alone.ID) + "-wide-desc")); got != 1 {
		t.Errorf("the teeth are drawn %d times", got)
	}
	if got := page.one(t, "#reading-"+string(alone.ID)).words(); got == "" || !strings.Contains(page.words(), "no entry tells when it was wound") || len(page.all("#wind-"+string(alone.ID)+"-wide-desc")) != 0 {
		t.Error("amplitude is drawn since a winding that is not known")
	}
}

// TestRecordingInBrowser plays a recording from its middle, as the policy of
// the pages and the parts of the file must let it, and holds the page with it
// and its curves against what all pages must be.
func TestRecordingInBrowser(t *testing.T) {
	ctx := tab.Open(t, 0)
	q := lanternQuay(t)
	l := overNight()
	kept, err := q.KeepRecording(t.Context(), bytes.NewReader(wave()), "beat.wav")
	if err != nil {
		t.Fatal(err)
	}
	l.Recording = &kept
	q.add(q.instruments[0], today.Add(-20*time.Hour), "E", l)
	q.fill(t)
	site := httptest.NewServer(web.New(q.Workshop, func() time.Time { return today }, web.Options{}))
	defer site.Close()
	for width, dark := range map[int64]bool{1280: false, 390: true} {
		if err := at(ctx, width, dark); err != nil {
			t.Fatal(err)
		}
		for _, page := range []string{"/instruments/417", "/instruments/417/write/listened"} {
			if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+page)); err != nil {
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
	if err := chromedp.Do(ctx, chromedp.Navigate(site.URL+"/instruments/417")); err != nil {
		t.Fatal(err)
	}
	const play = `new Promise((done) => {
  const sound = document.querySelector("#logbook-lines audio");
  sound.addEventListener("error", () => done("error " + sound.error?.message));
  sound.addEventListener("loadedmetadata", () => { sound.currentTime = sound.duration / 2; });
  sound.addEventListener("seeked", () => done(sound.duration + " s, at " + sound.currentTime));
  sound.load();
  sound.preload = "auto";
})`
	said, err := chromedp.Run(ctx, chromedp.Evaluate[string](play, chromedp.EvalAwaitPromise))
	if err != nil || said != "1 s, at 0.5" {
		t.Errorf("it plays %q, %v", said, err)
	}
}
