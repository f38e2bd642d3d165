package chronometer_test

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/chronometer"
)

const sha = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"

func ptr(v float64) *float64 { return &v }

func recording() *chronometer.Recording {
	return &chronometer.Recording{SHA256: sha, Name: "417 in the oven.wav", Type: chronometer.WAV, Bytes: 57_600_044}
}

// heard is the record of ten minutes of sound with everything in it.
func heard() chronometer.Listened {
	return chronometer.Listened{
		RateSPerDay: -0.84, RateSDSPerDay: 0.06, RecordingSDSPerDay: 0.011, DurationS: 600, Beats: 1198, Missed: 2, BeatsPerHour: 14400, BeatJitterS: 21e-6,
		Timebase:     &chronometer.Timebase{Source: "calibrated", PPM: -12.5, PPMSD: 0.6},
		AmplitudeDeg: ptr(225.4), AmplitudeSDDeg: 2, LiftAngleDeg: 40, OutOfBeatMS: ptr(-1.21), OutOfBeatSDMS: 0.05, OutOfBeatDeg: ptr(1.7),
		Verdict: "regular beat", Microphone: "bench microphone", TempC: ptr(18.5), Position: chronometer.DialUp, WoundH: ptr(3), Note: "after the round",
		Recording: recording(),
		Reading: &chronometer.LongReading{
			TeethUS: []float64{-30, 12.5, 17.5}, TeethSDUS: 2,
			Amplitude: []chronometer.AmplitudeAt{{H: 0.05, Deg: 225, SDDeg: 2}, {H: 0.15, Deg: 224, SDDeg: 2}},
			Rate:      []chronometer.RateAt{{H: 0.05, SPerDay: -0.9, SDSPerDay: 0.1}, {H: 0.15, SPerDay: -0.8, SDSPerDay: 0.1}},
		},
	}
}

// bySound is a comparison by the sound of the beat.
func bySound() chronometer.Compared {
	c := chronometer.ReadDial(9*3600 + 720.5)
	c.Method, c.SDS = chronometer.BySound, 0.008
	c.Heard = &chronometer.HeardBeat{Beats: 58, DurationS: 30, PhaseS: 0.123, BeatS: 0.5, Taken: chronometer.TakenForecast, LatencyS: 0.031, LatencySDS: 0.006, Microphone: "bench microphone", MicrophoneKey: "f3a9", Recording: recording()}
	return c
}

func TestListenedWords(t *testing.T) {
	typed := chronometer.Listened{RateSPerDay: 2.4, RateSDSPerDay: chronometer.UnknownClockSD}
	amplitude := chronometer.Listened{RateSPerDay: 0.001, RateSDSPerDay: 0.06, DurationS: 45, AmplitudeDeg: ptr(225)}
	assumed := chronometer.Listened{RateSPerDay: -2.4, RateSDSPerDay: 4.4, Timebase: &chronometer.Timebase{Source: "assumed", PPMSD: 50}}
	long := chronometer.Listened{RateSPerDay: -0.84, RateSDSPerDay: 0.004, DurationS: 8 * 3600, OutOfBeatMS: ptr(3)}
	for _, c := range []struct{ got, want string }{
		{heard().Words(), "losing 0.84 s/d ±0.12 · 10 min of sound · sampling clock calibrated · amplitude 225° ±4° · out of beat 1.2 ms ±0.1 · regular beat · 18.5 °C · dial up · after the round"},
		{typed.Words(), "gaining 2.4 s/d ±8.5"},
		{assumed.Words(), "losing 2.4 s/d ±8.6 · sampling clock not measured"},
		{amplitude.Words(), "keeping time to 0.00 s/d ±0.12 · 45 s of sound · amplitude 225° ±12°"}, // a degree in a lift angle of 40
		{long.Words(), "losing 0.840 s/d ±0.008 · 8 h of sound"},                                    // no figure without its doubt
		{bySound().Words(), "dial 9:12:00.5 · by sound · ±0.02 s"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// TestUnknownClock: a sampling clock within ±100 parts in a million, 50 for one
// standard deviation, is 8.64 and 4.32 s in the 86,400 of a day.
func TestUnknownClock(t *testing.T) {
	if want := 50e-6 * 86400; math.Abs(chronometer.UnknownClockSD-want) > 1e-12 {
		t.Errorf("%v s/d, want %v", chronometer.UnknownClockSD, want)
	}
}

func TestListenedRefuses(t *testing.T) {
	type listened = chronometer.Listened
	for _, c := range []struct {
		name string
		harm func(*listened)
		says string
	}{
		{"no doubt", func(l *listened) { l.RateSDSPerDay = 0 }, "no rate is without doubt"},
		{"a negative doubt", func(l *listened) { l.RateSDSPerDay = -0.1 }, "rate_sd_s_per_day -0.1"},
		{"NaN", func(l *listened) { l.RateSPerDay = math.NaN() }, "rate_s_per_day NaN"},
		{"infinite", func(l *listened) { l.RateSDSPerDay = math.Inf(1) }, "rate_sd_s_per_day +Inf"},
		{"an hour a day", func(l *listened) { l.RateSPerDay = 4000 }, "outside -3600 to 3600"},
		{"less than the recording", func(l *listened) { l.RecordingSDSPerDay = 0.07 }, "everything in it"},
		{"less than the sampling clock", func(l *listened) { l.Timebase.PPMSD = 50 }, "hides the doubt of the sampling clock, 4.32 s/d"},
		{"less than both", func(l *listened) { l.RecordingSDSPerDay, l.Timebase.PPMSD = 0.059, 0.6 }, "hides the doubt"},
		{"a sampling clock without doubt", func(l *listened) { l.Timebase.PPMSD = 0 }, "no clock is without doubt"},
		{"a sampling clock from nowhere", func(l *listened) { l.Timebase.Source = " " }, "timebase.source is missing"},
		{"a sampling clock of half", func(l *listened) { l.Timebase.PPM = -500_000 }, "timebase.ppm"},
		{"doubt of no amplitude", func(l *listened) { l.AmplitudeDeg = nil }, "without amplitude_deg"},
		{"more than a turn", func(l *listened) { l.AmplitudeDeg = ptr(361) }, "amplitude_deg"},
		{"doubt of nothing out of beat", func(l *listened) { l.OutOfBeatMS = nil }, "without out_of_beat_ms"},
		{"months", func(l *listened) { l.DurationS = 90 * 86400 }, "duration_s"},
		{"beats", func(l *listened) { l.Beats = -1 }, "beats -1"},
		{"beats an hour", func(l *listened) { l.BeatsPerHour = 7 }, "vibrations an hour"},
		{"a long verdict", func(l *listened) { l.Verdict = strings.Repeat("x", 1001) }, "verdict has 1001 bytes"},
		{"position", func(l *listened) { l.Position = "sideways" }, "position"},
		{"another file", func(l *listened) { l.Recording.Type = "audio/mpeg" }, "audio/flac"},
		{"no file", func(l *listened) { l.Recording.SHA256 = "../etc" }, "hexadecimal"},
		{"an empty file", func(l *listened) { l.Recording.Bytes = 0 }, "recording.bytes"},
		{"many teeth", func(l *listened) { l.Reading.TeethUS = make([]float64, 401) }, "at most 400"},
		{"many amplitudes", func(l *listened) { l.Reading.Amplitude = make([]chronometer.AmplitudeAt, 401) }, "at most 400"},
		{"many rates", func(l *listened) { l.Reading.Rate = make([]chronometer.RateAt, 401) }, "at most 400"},
		{"teeth without doubt", func(l *listened) { l.Reading.TeethSDUS = 0 }, "teeth_sd_us is missing"},
		{"a tooth that is no number", func(l *listened) { l.Reading.TeethUS[1] = math.NaN() }, "teeth_us NaN"},
		{"an amplitude without doubt", func(l *listened) { l.Reading.Amplitude[1].SDDeg = 0 }, "no doubt"},
		{"an amplitude that is no number", func(l *listened) { l.Reading.Amplitude[0].Deg = math.Inf(-1) }, "deg -Inf"},
		{"points out of order", func(l *listened) { l.Reading.Rate[1].H = 0.05 }, "order of time"},
		{"a point before the sound", func(l *listened) { l.Reading.Rate[0].H = -1 }, "reading.rate.h -1"},
		{"a point that is no number", func(l *listened) { l.Reading.Rate[0].H = math.NaN() }, "reading.rate.h NaN"},
	} {
		l := heard()
		c.harm(&l)
		err := newBook(t).entry(1, l).Check()
		if !errors.Is(err, chronometer.ErrEntry) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want it to say %q", c.name, err, c.says)
		}
	}
	if err := newBook(t).entry(1, heard()).Check(); err != nil {
		t.Error(err)
	}
}

func TestListenedJSON(t *testing.T) {
	b := newBook(t)
	for _, fact := range []chronometer.Fact{heard(), bySound(), chronometer.Listened{RateSDSPerDay: 0.1}} {
		e := b.write(1, fact)
		text, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		var got chronometer.Entry
		if err := json.Unmarshal(text, &got); err != nil {
			t.Fatalf("%v in %s", err, text)
		}
		if d := cmp.Diff(e, got); d != "" {
			t.Error(d)
		}
	}
	for text, says := range map[string]string{
		`{"rate_sd_s_per_day":0.1}`:                       "rate_s_per_day is missing",
		`{"rate_s_per_day":null,"rate_sd_s_per_day":0.1}`: "rate_s_per_day is missing",
		`null`:                 "rate_s_per_day is missing",
		`{"rate_s_per_day":1}`: "no rate is without doubt",
		`{"rate_s_per_day":1,"rate_sd_s_per_day":0.1,"colour":""}`: "unknown field",
	} {
		if _, err := chronometer.DecodeFact(chronometer.KindListened, []byte(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v, want it to say %q", text, err, says)
		}
	}
}

// TestListenedLeavesTheRun: what is heard neither begins nor ends a run nor
// counts as a comparison, and tells the temperature and the position.
func TestListenedLeavesTheRun(t *testing.T) {
	b := newBook(t)
	b.write(1, heard())
	if s := b.log().State(); s.Runs != 0 || s.Motion != chronometer.NotKnown || len(b.log().Runs()) != 0 {
		t.Errorf("a run begins: %+v", s)
	}
	b.write(2, compared(3))
	before := b.log().State()
	warm := heard()
	warm.TempC, warm.Position = ptr(30), chronometer.VIUp
	b.write(3, warm)
	after := b.log().State()
	if len(b.log().Runs()) != 1 || after.Compares != before.Compares || after.Compared != before.Compared || after.RunSince != before.RunSince {
		t.Errorf("%+v became %+v", before, after)
	}
	if after.TempC == nil || *after.TempC != 30 || after.Position != chronometer.VIUp {
		t.Errorf("state %+v", after)
	}
}

func TestAdmitsListening(t *testing.T) {
	now := start.Add(30 * 24 * time.Hour)
	for _, c := range []struct {
		name string
		prep func(b *book)
		says string
	}{
		{"nothing is known", func(*book) {}, ""},
		{"going", func(b *book) { b.write(1, compared(1)) }, ""},
		{"stopped", func(b *book) { b.write(1, chronometer.Stopped{Why: "run down"}) }, "then listen"},
		{"held", func(b *book) { b.write(1, chronometer.Held{With: chronometer.Brake}) }, "then listen"},
		{"carried", func(b *book) {
			b.write(1, chronometer.Held{With: chronometer.Brake})
			b.write(1.1, chronometer.Sent{})
		}, "received first"},
	} {
		b := newBook(t)
		c.prep(b)
		err := b.log().Admits(b.entry(2, heard()), now)
		if c.says == "" && err != nil || c.says != "" && (!errors.Is(err, chronometer.ErrRefused) || !strings.Contains(err.Error(), c.says)) {
			t.Errorf("%s: %v, want it to say %q", c.name, err, c.says)
		}
	}
}

func TestHeardRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		harm func(*chronometer.Compared)
		says string
	}{
		{"by tap", func(c *chronometer.Compared) { c.Method = chronometer.ByTap }, `write "sound"`},
		{"less than the delay", func(c *chronometer.Compared) { c.SDS = 0.005 }, "microphone's delay"},
		{"the usual doubt, less than the delay", func(c *chronometer.Compared) { c.SDS, c.Heard.LatencySDS = 0, 0.03 }, "microphone's delay"},
		{"no beats", func(c *chronometer.Compared) { c.Heard.Beats = 0 }, "heard.beats"},
		{"beyond the beat", func(c *chronometer.Compared) { c.Heard.PhaseS = 0.6 }, "heard.phase_s"},
		{"no number", func(c *chronometer.Compared) { c.Heard.PhaseS = math.NaN() }, "heard.phase_s"},
		{"no beat", func(c *chronometer.Compared) { c.Heard.BeatS = 0 }, "heard.beat_s"},
		{"not told", func(c *chronometer.Compared) { c.Heard.Taken = "" }, "heard.taken is missing"},
		{"guessed", func(c *chronometer.Compared) { c.Heard.Taken = "guess" }, "forecast, tap, typed"},
		{"a long delay", func(c *chronometer.Compared) { c.Heard.LatencyS = 9 }, "heard.latency_s"},
		{"another file", func(c *chronometer.Compared) { c.Heard.Recording.Type = "image/png" }, "heard.recording.type"},
	} {
		f := bySound()
		c.harm(&f)
		if err := newBook(t).entry(1, f).Check(); !errors.Is(err, chronometer.ErrEntry) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want it to say %q", c.name, err, c.says)
		}
	}
	f := bySound()
	if f.Heard.LatencySDS = 0.015; newBook(t).entry(1, f).Check() == nil {
		t.Error("a reading surer than the delay that was taken off")
	}
	if f.SDS = 0; newBook(t).entry(1, f).Check() != nil {
		t.Error("the usual doubt of a comparison by sound, 0.02 s, covers 0.015 s")
	}
}

// TestRecordingType reads the heads that EBU Tech 3306 (RF64), Microsoft and
// IBM's Multimedia Programming Interface (RIFF WAVE) and RFC 9639, section 8
// (FLAC) give.
func TestRecordingType(t *testing.T) {
	for head, want := range map[string]string{
		"RIFF\x24\x08\x00\x00WAVEfmt ":     chronometer.WAV,
		"RF64\xff\xff\xff\xffWAVEds64":     chronometer.WAV,
		"fLaC\x00\x00\x00\x22\x10\x00\x10": chronometer.FLAC,
		"RIFF\x24\x08\x00\x00AVI LIST":     "",
		"RIFF\x24\x08\x00\x00WAV":          "",
		"\xff\xd8\xff\xe0\x00\x10JFIF\x00": "",
		"":                                 "",
	} {
		if got, ok := chronometer.RecordingType([]byte(head)); got != want || ok != (want != "") {
			t.Errorf("%q is %q, %v, want %q", head, got, ok, want)
		}
	}
}

func TestAttached(t *testing.T) {
	for _, c := range []struct {
		fact chronometer.Fact
		want string
	}{
		{heard(), sha}, {bySound(), sha}, {chronometer.Photograph{SHA256: sha}, sha}, {chronometer.Listened{}, ""}, {compared(1), ""}, {chronometer.Note{Text: sha}, ""},
	} {
		if got := chronometer.Attached(c.fact); got != c.want {
			t.Errorf("%T names %q, want %q", c.fact, got, c.want)
		}
	}
}
