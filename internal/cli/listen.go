package cli

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"runtime/debug"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"timeball/internal/audio"
	"timeball/internal/chart/heard"
	"timeball/internal/listening"
	"timeball/internal/timebase"
	"timeball/internal/timesignal"
)

// listenFlags are the flags of listen.
type listenFlags struct {
	channel, pulse int
	perHour, lift  float64
	timebase       string
	from, to       string
	times          string
	servers        string
	json           bool
}

func (c console) listen() *cobra.Command {
	var f listenFlags
	cmd := &cobra.Command{
		Use:   "listen FILE",
		Short: "a recording in, rate and beat times out",
		Long: `Finds every beat of a recording, WAV or FLAC, and prints the rate with its doubt
and what that consists of, how steadily it beats, what sound is missing, and a
verdict. It refuses to name a rate where there is no regular beat.

A recording counts time by the clock of the recorder, which may be some seconds a
day wrong. --timebase says what is known of it: its error in parts in a million,
fast positive, and one standard deviation of that. --pulse-channel names a channel
with one pulse a second of true time, which settles it.

With --lift-angle, the angle in degrees through which the balance turns from
unlocking to drop, the amplitude is told too.

A dash reads standard input, also while it is still being written: the rate is
told as it comes, and frames are counted against UTC as they arrive.`,
		Example: "  timeball listen no-417.wav\n" +
			"  timeball listen no-417.flac --timebase \"+12.3 sd 0.5\" --lift-angle 40 --beat-times beats.csv\n" +
			"  arecord -t wav -f S16_LE -r 48000 | timeball listen -",
		Args: oneFile,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.listenTo(cmd, args[0], f)
		}),
	}
	cmd.Flags().IntVar(&f.channel, "channel", 0, "the channel to listen to, counted from 1 (the one that beats best)")
	cmd.Flags().IntVar(&f.pulse, "pulse-channel", 0, "the channel that bears one pulse a second")
	cmd.Flags().Float64Var(&f.perHour, "beats-per-hour", 0, "vibrations an hour, 14400 for a half-second beat (found by itself)")
	cmd.Flags().Float64Var(&f.lift, "lift-angle", 0, "turn of the balance from unlocking to drop, degrees")
	cmd.Flags().StringVar(&f.timebase, "timebase", "", `error of the sampling clock, "+12.3 sd 0.5" in parts in a million, or unknown`)
	cmd.Flags().StringVar(&f.from, "from", "", "where to begin, seconds, m:ss or h:mm:ss")
	cmd.Flags().StringVar(&f.to, "to", "", "where to end")
	cmd.Flags().StringVar(&f.times, "beat-times", "", "a CSV file to write the time of every beat to")
	serversFlag(cmd, &f.servers)
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

// ask returns what the flags ask for.
func (f listenFlags) ask(cmd *cobra.Command) (listening.Options, error) {
	o := listening.Options{Channel: f.channel, PulseChannel: f.pulse}
	given := cmd.Flags().Changed
	for _, n := range []struct {
		flag       string
		value      float64
		from, to   float64
		what, unit string
	}{
		{"beats-per-hour", f.perHour, 1800, 72000, "vibrations an hour", ""},
		{"lift-angle", f.lift, 5, 120, "", "°"},
		{"channel", float64(f.channel), 1, 64, "", ""},
		{"pulse-channel", float64(f.pulse), 1, 64, "", ""},
	} {
		if given(n.flag) && !(n.value >= n.from && n.value <= n.to) {
			return o, usage("--%s %g is not between %g and %g%s", n.flag, n.value, n.from, n.to, n.unit)
		}
	}
	o.PerHour, o.LiftDeg = f.perHour, f.lift
	var err error
	if f.timebase != "" {
		if o.Timebase, err = timebase.Parse(f.timebase); err != nil {
			return o, usage("--timebase: %s", err)
		}
		if f.pulse > 0 {
			return o, usage("give --timebase or --pulse-channel, not both: the pulses tell the sampling clock")
		}
	}
	for _, t := range []struct {
		flag, text string
		into       *float64
	}{{"from", f.from, &o.FromS}, {"to", f.to, &o.ToS}} {
		if *t.into, err = parsePlace(t.text); err != nil {
			return o, usage("--%s: %s", t.flag, err)
		}
	}
	return o, nil
}

// parsePlace reads a place in a recording: seconds, m:ss or h:mm:ss.
func parsePlace(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	parts := strings.Split(text, ":")
	bad := fmt.Errorf("%.30q is no place in a recording; write seconds, m:ss or h:mm:ss", text)
	if len(parts) > 3 {
		return 0, bad
	}
	total := 0.0
	for i, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || !(v >= 0 && v <= 1e7) || i > 0 && v >= 60 || i < len(parts)-1 && v != math.Trunc(v) {
			return 0, bad
		}
		total = 60*total + v
	}
	return total, nil
}

// listenMemory is how much memory the collector is held to while a file is
// listened to, so that a day of sound needs no more than a minute.
const listenMemory = 28 << 20

func (c console) listenTo(cmd *cobra.Command, name string, f listenFlags) error {
	defer debug.SetMemoryLimit(debug.SetMemoryLimit(listenMemory))
	o, err := f.ask(cmd)
	if err != nil {
		return err
	}
	in, err := c.open(name)
	if err != nil {
		return err
	}
	defer in.Close()
	recording, err := audio.Open(in)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	var h listening.Hearing
	if name == "-" {
		h, err = c.listenLive(cmd, recording, o, f)
	} else {
		var done func()
		o.Each, done = c.heardSoFar(name, recording)
		h, err = listening.File(cmd.Context(), recording, o)
		done()
	}
	switch {
	case errors.Is(err, listening.ErrAsked):
		return usage("%s: %s", name, err)
	case errors.Is(err, timesignal.ErrNoSeconds):
		return fmt.Errorf("%s, %w", name, err)
	case err != nil:
		return fmt.Errorf("%s: %w", name, err)
	}
	if f.times != "" {
		if err := writeBeatTimes(f.times, h); err != nil {
			return err
		}
	}
	if f.json {
		return writeJSON(c.out, newListened(h))
	}
	return reportListened(c.out, name, recording, h)
}

// heardSoFar returns what shows on a terminal how far a long file has been
// heard, and what ends it.
func (c console) heardSoFar(name string, r *audio.Recording) (each func(float64), done func()) {
	f, ok := c.err.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, func() {}
	}
	last, said := c.now(), false
	return func(atS float64) {
			now := c.now()
			if now.Sub(last).Milliseconds() < 300 {
				return
			}
			last, said = now, true
			if r.Known && r.Frames > 0 {
				fmt.Fprintf(f, "\rlistening to %s, %.0f%% …", name, 100*atS*float64(r.RateHz)/float64(r.Frames))
			} else {
				fmt.Fprintf(f, "\rlistening to %s, %s …", name, placeWords(atS))
			}
		}, func() {
			if said {
				fmt.Fprint(f, "\r\x1b[K")
			}
		}
}

// placeWords writes a place in a recording, m:ss or h:mm:ss.
func placeWords(s float64) string {
	whole := int(s)
	if whole >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", whole/3600, whole/60%60, whole%60)
	}
	return fmt.Sprintf("%d:%02d", whole/60, whole%60)
}

// beatTimesHead is the header of the file of beat times.
var beatTimesHead = []string{"beat", "at_s", "late_s", "level", "likeness", "used", "stretch", "beats"}

func writeBeatTimes(name string, h listening.Hearing) error {
	file, err := os.Create(name)
	if err != nil {
		return fmt.Errorf("beat times: %w; choose another file", err)
	}
	w := csv.NewWriter(bufio.NewWriterSize(file, 1<<16))
	number := func(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }
	err = w.Write(beatTimesHead)
	for _, s := range h.Strokes {
		if err != nil {
			break
		}
		used := "0"
		if s.Used {
			used = "1"
		}
		err = w.Write([]string{strconv.FormatInt(s.Number, 10), number(h.FromS+s.AtS, 7), number(s.LateS, 7), number(s.Level, 3), number(s.Fit, 3), used, strconv.Itoa(s.Segment), strconv.Itoa(s.Beats)})
	}
	w.Flush()
	if err = errors.Join(err, w.Error(), file.Close()); err != nil {
		return fmt.Errorf("beat times in %s: %w", name, err)
	}
	return nil
}

// listened is what listen prints as JSON.
type listened struct {
	BeatsPerHour float64  `json:"beats_per_hour"`
	Beats        int      `json:"beats"`
	Missed       int      `json:"missed"`
	DurationS    float64  `json:"duration_s"`
	Rate         *float64 `json:"rate_s_per_day"`
	RateSD       *float64 `json:"rate_sd_s_per_day"`
	RecordingSD  *float64 `json:"rate_sd_recording_s_per_day"`
	Timebase     struct {
		Source string  `json:"source"`
		PPM    float64 `json:"ppm"`
		PPMSD  float64 `json:"ppm_sd"`
	} `json:"timebase"`
	JitterS   *float64     `json:"beat_jitter_s"`
	Gaps      []gap        `json:"gaps"`
	Amplitude *float64     `json:"amplitude_deg"`
	Verdict   string       `json:"verdict"`
	Regular   bool         `json:"regular"`
	Period    *float64     `json:"period_s"`
	PeriodSD  *float64     `json:"period_sd_s"`
	Loud      int          `json:"beats_per_oscillation"`
	Channel   int          `json:"channel"`
	OutOfBeat *float64     `json:"out_of_beat_s"`
	OutAngle  *float64     `json:"out_of_beat_deg"`
	AmpSD     *float64     `json:"amplitude_sd_deg"`
	AmpOthers []float64    `json:"amplitude_other_readings_deg,omitempty"`
	TeethUS   []float64    `json:"teeth_us,omitempty"`
	Enough    bool         `json:"enough"`
	Second    *secondHeard `json:"second,omitempty"`
	Remarks   []string     `json:"remarks,omitempty"`
}

type gap struct {
	AtS      float64 `json:"at_s"`
	MissingS float64 `json:"missing_s"`
}

type secondHeard struct {
	BeatsPerHour float64  `json:"beats_per_hour"`
	Rate         *float64 `json:"rate_s_per_day"`
	Difference   *float64 `json:"rate_difference_s_per_day"`
	DifferenceSD *float64 `json:"rate_difference_sd_s_per_day"`
	LaterS       *float64 `json:"later_s"`
	LevelDB      float64  `json:"level_db"`
}

func newListened(h listening.Hearing) listened {
	l := listened{
		BeatsPerHour: h.PerHour, Beats: h.Beats, Missed: h.Missed, DurationS: h.DurationS, Gaps: []gap{}, Verdict: h.Verdict(),
		Regular: h.Heard, Loud: h.LoudBeats, Channel: h.Channel + 1, Enough: h.Enough(), Remarks: h.Remarks,
	}
	l.Timebase.Source, l.Timebase.PPM, l.Timebase.PPMSD = string(h.Timebase.Source), h.Timebase.PPM, h.Timebase.SdPPM
	if h.Rated && !h.Overlapped {
		rate := float64(h.TrueRate)
		l.Rate, l.RateSD, l.RecordingSD = &rate, &h.Sd, &h.RateSd
	}
	if h.PeriodS > 0 {
		l.Period, l.PeriodSD, l.JitterS = &h.PeriodS, &h.PeriodSdS, &h.JitterS
	}
	for _, g := range h.Gaps {
		l.Gaps = append(l.Gaps, gap{AtS: h.FromS + g.AtS, MissingS: g.MissingS})
	}
	if h.Amplitude > 0 {
		l.Amplitude, l.AmpSD, l.AmpOthers = &h.Amplitude, &h.AmplitudeSd, h.AmplitudeOthers
	}
	if h.OutOfBeatKnown {
		l.OutOfBeat = &h.OutOfBeatS
		if h.Amplitude > 0 {
			l.OutAngle = &h.OutOfBeatDeg
		}
	}
	for _, t := range h.Teeth {
		l.TeethUS = append(l.TeethUS, math.Round(1e8*t)/100)
	}
	if s := h.Second; s != nil {
		o := &secondHeard{BeatsPerHour: s.PerHour, LevelDB: s.LevelDB}
		if s.RateKnown {
			rate := h.Timebase.Rate(float64(s.Rate))
			o.Rate = &rate
		}
		if s.Alike {
			less := float64(s.Less)
			o.Difference, o.DifferenceSD, o.LaterS = &less, &s.LessSd, &s.LaterS
		}
		l.Second = o
	}
	return l
}

// reportListened prints what was heard in words, with a plot.
func reportListened(w io.Writer, name string, r *audio.Recording, h listening.Hearing) error {
	channels := "one channel"
	if r.Channels > 1 {
		channels = fmt.Sprintf("channel %d of %d", h.Channel+1, r.Channels)
	}
	fmt.Fprintf(w, "%s: %s %d bits, %d Hz, %s, %s of sound.\n\n", name, r.Name, r.Bits, r.RateHz, channels, placeWords(h.DurationS))
	verdict := h.Verdict()
	if !h.Heard {
		fmt.Fprintf(w, "%s.\n", capital(verdict))
		return remarks(w, h.Remarks)
	}
	if rating := h.Rating(); rating != "" {
		fmt.Fprintf(w, "%s.\n%s.\n\n", capital(rating), capital(verdict))
		fmt.Fprintf(w, "The doubt, to 95%%:\n")
		for _, p := range h.Parts() {
			fmt.Fprintf(w, "  %-22s ±%.*f s a day\n", p.Words, decimals(listening.Normal*p.Sd), listening.Normal*p.Sd)
		}
		fmt.Fprintf(w, "Sampling clock: %s.\n\n", h.Timebase.Source.Words())
	} else {
		fmt.Fprintf(w, "%s.\n\n", capital(verdict))
	}
	fmt.Fprintf(w, "%.0f vibrations an hour, %s; %d beats, %s; they scatter by %.0f µs.\n", h.PerHour, escapement(h.LoudBeats), h.Beats, missedWords(h.Missed), 1e6*h.JitterS)
	half := listening.Normal * h.PeriodSdS
	fmt.Fprintf(w, "One oscillation takes %.*f s ±%.*f by the sampling clock.\n", periodDecimals(half), h.PeriodS, periodDecimals(half), half)
	if h.Amplitude > 0 {
		fmt.Fprintf(w, "Amplitude %.0f° ±%.0f°, from %.2f ms between unlocking and drop.\n", h.Amplitude, math.Ceil(listening.Normal*h.AmplitudeSd), 1e3*h.DelayS)
		for _, a := range h.AmplitudeOthers {
			fmt.Fprintf(w, "  If the other loud sound is the drop, %.0f°.\n", a)
		}
	}
	if h.OutOfBeatKnown {
		fmt.Fprintf(w, "Out of beat by %.2f ms", 1e3*math.Abs(h.OutOfBeatS))
		if h.Amplitude > 0 {
			fmt.Fprintf(w, ", %.1f° of the balance", math.Abs(h.OutOfBeatDeg))
		}
		fmt.Fprintln(w, ".")
	}
	if n := len(h.Teeth); n > 0 {
		fmt.Fprintf(w, "Escape wheel of %d teeth: its pattern, %.0f µs rms, is taken off.\n", n, 1e6*rms(h.Teeth))
	}
	if s := h.Second; s != nil {
		fmt.Fprintf(w, "Another instrument of %.0f vibrations an hour is heard", s.PerHour)
		if s.Alike {
			fmt.Fprintf(w, ", %.0f ms later, %s a day ±%.3f against the first", 1e3*s.LaterS, s.Less.Words(listening.Normal*s.LessSd), listening.Normal*s.LessSd)
		}
		fmt.Fprintln(w, ".")
	}
	for _, g := range h.Gaps {
		fmt.Fprintf(w, "At %s: %s.\n", placeWords(h.FromS+g.AtS), g.Words())
	}
	fmt.Fprintln(w)
	const columns = 78
	fmt.Fprint(w, heard.TextBeat(h.Beat(), columns, 14))
	fmt.Fprintln(w)
	fmt.Fprint(w, heard.Text(h.Line(), columns, 16))
	return remarks(w, h.Remarks)
}

func remarks(w io.Writer, all []string) error {
	for _, words := range all {
		fmt.Fprintf(w, "! %s.\n", capital(words))
	}
	return nil
}

func escapement(loud int) string {
	if loud == 2 {
		return "two beats an oscillation"
	}
	return "one loud beat an oscillation"
}

func missedWords(n int) string {
	switch n {
	case 0:
		return "none missed"
	case 1:
		return "one missed"
	}
	return fmt.Sprintf("%d missed", n)
}

// decimals returns the places that show two figures of a doubt.
func decimals(v float64) int {
	if v <= 0 {
		return 3
	}
	return min(5, max(1, 1-int(math.Floor(math.Log10(v)))))
}

// periodDecimals returns the places that show two figures of the doubt of a
// period.
func periodDecimals(half float64) int {
	if half <= 0 {
		return 10
	}
	return min(10, max(4, 1-int(math.Floor(math.Log10(half)))))
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
