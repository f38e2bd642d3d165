package beat_test

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"timeball/internal/beat"
)

// clips are recordings of real clocks, 5 s each, from the ESC-10 set (K. J.
// Piczak, "ESC: Dataset for Environmental Sound Classification", Proc. ACM
// Multimedia 2015, doi 10.1145/2733373.2806390), CC BY 3.0; the originals are at
// freesound.org under the number that ends the name. The period of a full
// tick-tock, s of the file, and about two standard deviations of it were found
// apart from this program, by autocorrelation of log envelopes in several bands
// and by lines through times of arrival. halfMS is half the difference of the
// two intervals between beats, each known to 2 ms.
var clips = []struct {
	name             string
	author           string
	periodS, withinS float64
	halfMS           float64
	short            bool // too short: four periods only
	few              bool // fewer than eight loud beats: a period, but not called regular
}{
	{"esc10-4-194711-A", "doxent", 0.39986, 0.00010, 12.45, false, false},
	{"esc10-5-209833-A", "spaceemotion", 0.49859, 0.00003, 2.5, false, false},
	{"esc10-5-201194-A", "opticalnoise", 0.59930, 0.00006, 5, false, false},
	{"esc10-2-134700-A", "Setuniman", 1.1928, 0.0006, 68.5, true, false},
	{"esc10-1-48413-A", "cynical", 1.04067, 0.00010, 85.5, false, true},
	{"esc10-4-175945-A", "Ovaltine Vortex", 0.45485, 0.00008, 3.9, false, false},
	{"esc10-3-170377-A", "felix.blume", 1.00030, 0.00015, 0, false, true},
	{"esc10-4-164661-A", "Adam_N", 0, 0, 0, false, false}, // fire crackling
}

// recordings is where the clips stand beside the repository; they are no part of
// it.
const recordings = "../../../shared/data/sound"

// TestRecordedClocks: the period of each clock is that which was found apart
// from this program, half of it, or a third, if its beats are even; and the fire
// has none. Five seconds give no rate worth the name.
func TestRecordedClocks(t *testing.T) {
	t.Parallel()
	if _, err := os.Stat(recordings); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("the clips of ESC-10 must stand in %s beside the repository", filepath.Base(recordings))
		}
		t.Skipf("the clips of ESC-10 do not stand in %s beside the repository", filepath.Base(recordings))
	}
	for _, c := range clips {
		samples, rateHz, channels := readAll(t, filepath.Join(recordings, c.name+".wav"))
		if len(samples) == 0 {
			t.Errorf("%s cannot be read", c.name)
			continue
		}
		f := listenBy(samples, rateHz, channels, rateHz/10, beat.Options{}).Finding(nil)
		if c.periodS == 0 || c.short {
			if f.Heard {
				t.Errorf("%s by %s: a beat of %.5f s in what has none, or too few", c.name, c.author, f.PeriodS)
			}
			if f.Why == "" {
				t.Errorf("%s is refused without a word", c.name)
			}
			t.Logf("%s by %s: refused: %s", c.name, c.author, f.Why)
			continue
		}
		m := math.Round(c.periodS / f.PeriodS)
		off := m*f.PeriodS - c.periodS
		within := math.Hypot(c.withinS, 2*m*f.PeriodSdS)
		t.Logf("%s by %s: %.0f times %.5f ± %.5f s, off by %.5f, of %.5f; %d beats, jitter %.0f µs, loud %d, out of beat %.2f ms. %s", c.name, c.author, m, f.PeriodS, 2*f.PeriodSdS, off, within, f.Beats, 1e6*f.JitterS, f.LoudBeats, 1e3*f.OutOfBeatS, f.Why)
		if !(m >= 1 && m <= 3 && math.Abs(off) <= within) {
			t.Errorf("%s: the period is %.5f s, want %.5f within %.5f", c.name, f.PeriodS, c.periodS, within)
		}
		if c.few {
			if f.Rated || f.Heard {
				t.Errorf("%s: five beats are called regular", c.name)
			}
			continue
		}
		if !f.Heard {
			t.Errorf("%s by %s: %s", c.name, c.author, f.Why)
		}
		if f.LoudBeats == 2 && f.OutOfBeatKnown {
			near(t, c.name+", half the difference of its intervals, ms", math.Abs(1e3*f.OutOfBeatS), c.halfMS, 2)
		}
		if !f.Early && f.Rated {
			t.Errorf("%s: a rate that is not called early, from five seconds", c.name)
		}
	}
}
