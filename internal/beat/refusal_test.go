package beat_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"timeball/internal/audio"
	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// TestRefusals: of a hundred sounds in which there is no instrument at most one
// is taken for one, and none has a rate. By default each second of the
// twenty kinds is heard.
func TestRefusals(t *testing.T) {
	t.Parallel()
	n, step := 10, 2
	if full() {
		n, step = sound.Refusals, 1
	}
	found := make([]string, n*step)
	rated := make([]bool, n*step)
	each(n, func(i int) {
		i *= step
		name, samples := sound.Refusal(i, source("refusal", i), 22050)
		f := listen(samples, 22050, beat.Options{}).Finding(nil)
		if f.Heard {
			found[i] = fmt.Sprintf("%d, %s: %g/h usual %v, rate %.2f sd %.2f, %d beats, jitter %.0f µs", i, name, f.PerHour, f.Usual, float64(f.Rate), f.RateSd, f.Beats, 1e6*f.JitterS)
			rated[i] = f.Rated
		} else if f.Why == "" {
			t.Errorf("%d, %s: refused without a word", i, name)
		}
	})
	falsely := 0
	for i, what := range found {
		if what == "" {
			continue
		}
		falsely++
		t.Log("heard in ", what)
		if rated[i] {
			t.Errorf("rated: %s", what)
		}
	}
	t.Logf("%d false beats in %d", falsely, n)
	if falsely > 1 {
		t.Errorf("%d false beats in %d", falsely, n)
	}
}

// spoken are the texts of the speech: of the invented workshop.
var spoken = []string{
	`The chronometer came in on Monday, losing two seconds a day. It had been carried from the ship in its box, wrapped in a blanket, and set down
on the bench at Lantern Quay. Nobody wound it until noon. We compared it with the clock on the wall, wrote the figure in the book, and left it alone
for the night. In the morning it was cold, the window had stood open, and the rate was no longer what it had been.`,
	`Ten, nine, eight, seven, six, five, four, three, two, one, zero. Ten, nine, eight, seven, six, five, four, three, two, one, zero. Stop. Again.
Ten, nine, eight, seven, six, five, four, three, two, one, zero. That was half a second late. Once more, and listen to the ball as it drops.`,
	`Tick tock, tick tock, tick tock, said the child, and walked around the table. Tick tock, tick tock. Left, right, left, right, left, right. Tick
tock, tick tock, tick tock, tick tock. Then it stopped and asked how a wheel knows when to wait. Tick tock, tick tock, tick tock, tick tock.`,
	`Die Uhr geht nach. Man hört es nicht, aber man sieht es am Abend, wenn die Lampe brennt und das Schiff schon fort ist. Eins, zwei, drei, vier,
fünf, sechs, sieben, acht, neun, zehn. Der Hafen von Skerrow liegt still, und über dem Kai fällt der Ball, genau um eins.`,
	`Le chronomètre est arrivé lundi matin. Il retardait de deux secondes par jour. On l'a comparé à midi, puis encore le soir. Un, deux, trois,
quatre, cinq, six, sept, huit, neuf, dix. La fenêtre était ouverte et il faisait froid dans l'atelier du quai.`,
}

// TestSpeech: nothing that a voice says is a beat, at most one excepted.
func TestSpeech(t *testing.T) {
	t.Parallel()
	espeak, err := exec.LookPath("espeak-ng")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("espeak-ng, which speaks here, is not installed; sh tools.sh")
		}
		t.Skip("espeak-ng, which speaks here, is not installed")
	}
	type voice struct {
		name  string
		speed int
		text  int
	}
	voices := []voice{{"en", 175, 1}, {"en+f3", 150, 2}, {"de", 160, 3}}
	if full() {
		voices = nil
		for i, name := range []string{"en", "en-us+m3", "en+f3", "en+whisper", "en+croak"} {
			for text := range 3 {
				voices = append(voices, voice{name, []int{100, 140, 180, 220, 260}[(i+2*text)%5], text})
			}
		}
		for _, speed := range []int{90, 130, 175, 240} {
			voices = append(voices, voice{"de", speed, 3}, voice{"de+f2", speed, 3}, voice{"fr", speed, 4})
		}
	}
	dir := t.TempDir()
	found := make([]string, len(voices))
	each(len(voices), func(i int) {
		v := voices[i]
		file := filepath.Join(dir, fmt.Sprintf("%d.wav", i))
		text := spoken[v.text]
		if v.speed > 150 { // so that it lasts 20 s
			text += " " + text
		}
		if out, err := exec.Command(espeak, "-v", v.name, "-s", fmt.Sprint(v.speed), "-w", file, strings.ReplaceAll(text, "\n", " ")).CombinedOutput(); err != nil {
			t.Errorf("espeak-ng: %v: %s", err, out)
			return
		}
		samples, rateHz, channels := readAll(t, file)
		if seconds := float64(len(samples)) / float64(rateHz*channels); seconds < 15 || seconds > 90 {
			t.Errorf("%v speaks for %.0f s", v, seconds)
		}
		if f := listenBy(samples, rateHz, channels, rateHz/10, beat.Options{}).Finding(nil); f.Heard {
			found[i] = fmt.Sprintf("%v: %g/h usual %v, rated %v, rate %.2f sd %.2f, %d beats, jitter %.0f µs", v, f.PerHour, f.Usual, f.Rated, float64(f.Rate), f.RateSd, f.Beats, 1e6*f.JitterS)
		}
	})
	falsely := 0
	for _, what := range found {
		if what != "" {
			falsely++
			t.Log("heard in ", what)
		}
	}
	t.Logf("%d false beats in %d", falsely, len(voices))
	if falsely > 1 {
		t.Errorf("%d false beats in %d", falsely, len(voices))
	}
}

// readAll returns the samples of a recording.
func readAll(t *testing.T, name string) (samples []float64, rateHz, channels int) {
	t.Helper()
	file, err := os.Open(name)
	if err != nil {
		t.Error(err)
		return nil, 1, 1
	}
	defer file.Close()
	r, err := audio.Open(file)
	if err != nil {
		t.Error(err)
		return nil, 1, 1
	}
	buffer := make([]float64, 4096*r.Channels)
	for {
		n, err := r.Read(buffer)
		samples = append(samples, buffer[:n*r.Channels]...)
		if err != nil {
			return samples, r.RateHz, r.Channels
		}
	}
}

// usualPeriods are the oscillations and beats, s, of the usual numbers of
// vibrations an hour. Common practice, no source.
var usualPeriods = []float64{0.5, 0.25, 0.4, 0.2, 1. / 3, 1. / 6, 0.125, 0.1, 7200. / 19800, 3600. / 19800, 7200. / 16200, 3600. / 16200, 1, 2}

// TestDrumMachine: a beat that is exact and no instrument's has no rate against
// that of an instrument, unless one of its steps is one.
func TestDrumMachine(t *testing.T) {
	t.Parallel()
	steps := []float64{0.125, 0.137, 0.155}
	if full() {
		for i := range 40 {
			steps = append(steps, 0.1+0.0025*float64(i)+0.0007)
		}
	}
	texts := make([]string, len(steps))
	each(len(steps), func(i int) {
		samples := sound.DrumMachine(rand.New(rand.NewPCG(uint64(i), 3)), 22050, steps[i], 40)
		f := listen(samples, 22050, beat.Options{}).Finding(nil)
		usual := false
		for m := 1.0; m <= 16; m++ {
			for _, p := range usualPeriods {
				usual = usual || math.Abs(m*steps[i]/p-1) < 0.0062
			}
		}
		texts[i] = fmt.Sprintf("step %.4f: heard %v, rated %v, %.1f/h, period %.5f s, sd %.3f s/d", steps[i], f.Heard, f.Rated, f.PerHour, f.PeriodS, f.RateSd)
		if f.Rated && !usual {
			t.Errorf("a rate of %.2f s/d for %s", float64(f.Rate), texts[i])
		}
		if f.Heard { // what is heard is a multiple of the step
			m := f.PeriodS / steps[i]
			if off := math.Abs(m - math.Round(m)); off > 0.003*m && math.Abs(2*m-math.Round(2*m)) > 0.003*m {
				t.Errorf("no multiple of it: %s", texts[i])
			}
		}
	})
	for _, text := range texts {
		t.Log(text)
	}
}
