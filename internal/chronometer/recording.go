package chronometer

import (
	"bytes"
	"fmt"
	"strings"
)

// MostRecording is the most bytes of a recording that is kept: an hour and a
// half of one channel of 16 bits at 48,000 samples a second.
const MostRecording = 512 << 20

// RecordingHint says in words which recordings are kept.
const RecordingHint = "WAV or FLAC, at most 512 MB"

// The media types of recordings.
const (
	WAV  = "audio/wav"
	FLAC = "audio/flac"
)

// RecordingType returns the media type that the first 12 bytes of a file tell,
// WAV (also RF64, EBU Tech 3306) or FLAC (RFC 9639), or false if it is neither.
func RecordingType(head []byte) (string, bool) {
	switch {
	case len(head) >= 12 && (bytes.HasPrefix(head, []byte("RIFF")) || bytes.HasPrefix(head, []byte("RF64"))) && string(head[8:12]) == "WAVE":
		return WAV, true
	case bytes.HasPrefix(head, []byte("fLaC")):
		return FLAC, true
	}
	return "", false
}

// Recording names a kept recording by the SHA-256 of its bytes.
type Recording struct {
	SHA256 string `json:"sha256"`
	Name   string `json:"name,omitempty"` // of the file
	Type   string `json:"type"`           // media type, WAV or FLAC
	Bytes  int64  `json:"bytes"`
}

func (r *Recording) check(field string) error {
	if r == nil {
		return nil
	}
	switch {
	case !isSHA256(r.SHA256):
		return fmt.Errorf("%s.sha256 %.70q is not 64 hexadecimal digits", field, r.SHA256)
	case r.Type != WAV && r.Type != FLAC:
		return fmt.Errorf("%s.type %.40q is not known; write one of: %s, %s", field, r.Type, WAV, FLAC)
	case r.Bytes < 1 || r.Bytes > 1<<50:
		return fmt.Errorf("%s.bytes %d is no size of a file; write its number of bytes", field, r.Bytes)
	}
	return line(field+".name", r.Name)
}

func isSHA256(s string) bool { return len(s) == 64 && strings.Trim(s, "0123456789abcdef") == "" }

// Attached returns the SHA-256 of the file that a fact names, a picture or a
// recording, empty if it names none.
func Attached(f Fact) string {
	switch f := f.(type) {
	case Photograph:
		return f.SHA256
	case Certified:
		return f.PDF
	case Listened:
		if f.Recording != nil {
			return f.Recording.SHA256
		}
	case Compared:
		if f.Heard != nil && f.Heard.Recording != nil {
			return f.Heard.Recording.SHA256
		}
	}
	return ""
}

// longestLine is the most bytes of a name or a verdict.
const longestLine = 1000

func line(field, s string) error {
	if len(s) > longestLine {
		return fmt.Errorf("%s has %d bytes; write at most %d", field, len(s), longestLine)
	}
	return nil
}

// Taken says by what the whole beats of a comparison by sound were resolved,
// since the sound alone tells the error modulo the beat.
type Taken string

// The ways to resolve the whole beats.
const (
	TakenForecast Taken = "forecast" // the nearest to the rating's forecast
	TakenTap      Taken = "tap"      // the nearest to one tap on a mark
	TakenTyped    Taken = "typed"    // the nearest to a reading that was typed
)

// Choices returns the ways to resolve the whole beats.
func (Taken) Choices() []string {
	return []string{string(TakenForecast), string(TakenTap), string(TakenTyped)}
}

// HeardBeat is the sound behind a comparison, kept so that it can be reckoned
// again.
type HeardBeat struct {
	Beats         int        `json:"beats"`      // heard
	DurationS     float64    `json:"duration_s"` // of the sound, s
	PhaseS        float64    `json:"phase_s"`    // instant of the beats, UTC modulo the beat, s, from 0 to BeatS, the delay taken off
	BeatS         float64    `json:"beat_s"`     // the beat, s
	Taken         Taken      `json:"taken"`      // by what the whole beats were resolved
	LatencyS      float64    `json:"latency_s"`  // constant delay of microphone and device that was taken off, s, + late
	LatencySDS    float64    `json:"latency_sd_s"`
	Microphone    string     `json:"microphone,omitempty"`     // name of the sound input
	MicrophoneKey string     `json:"microphone_key,omitempty"` // by which it is known
	Recording     *Recording `json:"recording,omitempty"`
}

func (h *HeardBeat) check() error {
	if h == nil {
		return nil
	}
	if h.Beats < 1 || h.Beats > mostBeats {
		return fmt.Errorf("heard.beats %d is outside 1 to %d", h.Beats, mostBeats)
	}
	return first(within("heard.duration_s", h.DurationS, 0, longestSound, "s"), within("heard.beat_s", h.BeatS, 0.1, 5, "s"),
		within("heard.phase_s", h.PhaseS, 0, h.BeatS, "s"), need("heard.taken", string(h.Taken), "say by what the whole beats were resolved"),
		oneOf("heard.taken", h.Taken, Taken("").Choices()), within("heard.latency_s", h.LatencyS, -5, 5, "s"), within("heard.latency_sd_s", h.LatencySDS, 0, 5, "s"),
		line("heard.microphone", h.Microphone), line("heard.microphone_key", h.MicrophoneKey), h.Recording.check("heard.recording"))
}

// heardFits holds the sound behind a comparison against the rest of it: the
// doubt of the delay does not average out, so it is in that of the reading.
func (c Compared) heardFits() error {
	if c.Heard == nil {
		return nil
	}
	if c.Method != BySound {
		return fmt.Errorf("heard belongs to a comparison by sound, and the method is %.40q; write %q", string(c.Method), string(BySound))
	}
	sd := c.SDS
	if sd == 0 {
		sd = c.Method.UsualSD()
	}
	if h := c.Heard.LatencySDS; sd < rounded*h {
		return fmt.Errorf("sd_s %s is smaller than the doubt of the microphone's delay, %s s; write the doubt with that in it", number(sd), number(h))
	}
	return nil
}

// rounded is what a doubt may lose when it is written in few digits.
const rounded = 0.99
