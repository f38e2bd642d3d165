package cli

import (
	"math/rand/v2"
	"os"
	"strconv"
	"strings"

	"github.com/rogpeppe/go-internal/testscript"

	"timeball/internal/audio"
	"timeball/internal/simulate/sound"
)

// makeSound writes a WAV of a simulated half-second chronometer: its file, its
// seconds, and what else is given as name=number.
func makeSound(ts *testscript.TestScript, neg bool, args []string) {
	if len(args) < 2 {
		ts.Fatalf("usage: sound FILE SECONDS [rate=|ppm=|snr=|pulse=|silent=]...")
	}
	seconds, err := strconv.ParseFloat(args[1], 64)
	ts.Check(err)
	c := sound.Chronometer{JitterS: 20e-6, PatternS: 30e-6, PhaseS: 0.2, AmplitudeDeg: 225, OutOfBeatDeg: 3, FaintDB: 18}
	t := sound.Take{Seconds: seconds, SNRdB: 20, SNRWhole: true}
	for _, a := range args[2:] {
		name, text, _ := strings.Cut(a, "=")
		v, err := strconv.ParseFloat(text, 64)
		ts.Check(err)
		switch name {
		case "rate":
			c.RatePerDay = v
		case "ppm":
			t.ClockPPM = v
		case "snr":
			t.SNRdB = v
		case "pulse":
			t.SecondPulse, t.PulseJitterS = v != 0, 2e-6
		case "drop":
			t.Drops = []sound.Drop{{AtS: v, Frames: 480}}
		case "silent":
			t.SilentTo = v
		default:
			ts.Fatalf("%s is nothing a sound has", name)
		}
	}
	t.Chronometers = []sound.Chronometer{c}
	r := t.Render(rand.New(rand.NewPCG(1, 2)))
	file, err := os.Create(ts.MkAbs(args[0]))
	ts.Check(err)
	channels := 1
	samples := r.Samples
	if r.Pulse != nil {
		channels = 2
		samples = make([]float64, 0, 2*len(r.Samples))
		for i, v := range r.Samples {
			samples = append(samples, v, r.Pulse[i])
		}
	}
	w := audio.NewWAV(file, 48000, channels, 16)
	ts.Check(w.Write(samples))
	ts.Check(w.Close())
	ts.Check(file.Close())
}
