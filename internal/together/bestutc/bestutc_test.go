package bestutc_test

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"timeball/internal/together/bestutc"
	"timeball/internal/together/rounds"
	"timeball/internal/together/voyage"
)

// printed says whether got rounds to want, which is written to its last digit.
func printed(t *testing.T, what string, got float64, want string) {
	t.Helper()
	decimals := 0
	if i := strings.IndexByte(want, '.'); i >= 0 {
		decimals = len(want) - i - 1
	}
	if text := strconv.FormatFloat(got, 'f', decimals, 64); text != want {
		t.Errorf("%s = %s (%.8g), want %s", what, text, got, want)
	}
}

// C. Stechert, Das Marine-Chronometer und seine Verwendung in der nautischen
// Praxis, Aus dem Archiv der Deutschen Seewarte 17 (1894) no. 4, pp. 47 and
// 45: the best value of three chronometers by weights; seconds of Stand. The
// second is printed as 21m14.0s; its weights give 21m14.10s.
func TestWeightedBest(t *testing.T) {
	for _, tt := range []struct {
		weights, stand []float64
		exact          string
	}{
		{[]float64{.60, .31, .09}, []float64{47.6, 46.8, 53.6}, "47.892"},
		{[]float64{.68, .25, .07}, []float64{21*60 + 10.7, 21*60 + 36.9, 20*60 + 25.7}, "1274.10"},
	} {
		var clues []bestutc.Clue
		for i, w := range tt.weights {
			// Stand is true time less the dial. The doubts are those under which
			// the three agree.
			clues = append(clues, bestutc.Clue{Name: strconv.Itoa(i), ErrorS: -tt.stand[i], ErrorSD: 30 / math.Sqrt(w)})
		}
		b, err := bestutc.Combine(voyage.Noon, clues)
		if err != nil {
			t.Fatal(err)
		}
		printed(t, "best", b.OffsetS, tt.exact)
		if b.Agreement != bestutc.Agree {
			t.Errorf("%s: %v", b.Agreement, b)
		}
		for i, v := range b.Voices {
			if math.Abs(v.Weight-tt.weights[i]) > 1e-12 {
				t.Errorf("weight %g, want %g", v.Weight, tt.weights[i])
			}
		}
		printed(t, "doubt", b.OffsetSD, "30")
	}
}

// A best UTC of chronometers of which one is known to have jumped, or none is
// to be believed, or they say nothing that can be used.
func TestBestLeavesOut(t *testing.T) {
	clues := []bestutc.Clue{
		{Name: "A", DialS: 10, ErrorS: 12.5, ErrorSD: 0.5}, {Name: "B", DialS: 11, ErrorS: 13.4, ErrorSD: 0.7},
		{Name: "C", DialS: 71, ErrorS: 12, ErrorSD: 0.1, Doubted: "it jumped on 3 Jan 2026"},
	}
	b, err := bestutc.Combine(voyage.Noon, clues)
	if err != nil {
		t.Fatal(err)
	}
	// UTC is the instant plus dial less error: -2.5 s and -2.4 s.
	wa, wb := 1/0.25, 1/0.49
	if want := (-2.5*wa - 2.4*wb) / (wa + wb); math.Abs(b.OffsetS-want) > 1e-9 || b.Voices[2].Weight != 0 || b.Agreement != bestutc.Agree {
		t.Errorf("%+v, want %g", b, want)
	}
	if want := voyage.Noon.Add(time.Duration(b.OffsetS * 1e9)); b.UTC.Sub(want).Abs() > time.Microsecond {
		t.Errorf("%s, want %s", b.UTC, want)
	}
	// C's dial stands 59 s before its error says, against 2.5 s after.
	if !strings.Contains(strings.Join(b.Words, " "), "it is fast 61.5 s") {
		t.Errorf("%q", b.Words)
	}
	clues[2].Doubted = "" // found out without being told
	if b, err = bestutc.Combine(voyage.Noon, clues); err != nil || b.Agreement != bestutc.OneAside || b.Voices[2].Reason == "" || b.Voices[2].Weight != 0 {
		t.Errorf("%v %+v", err, b)
	}
	two, err := bestutc.Combine(voyage.Noon, []bestutc.Clue{clues[0], clues[2]})
	if err != nil || two.Agreement != bestutc.Disagree || two.Lo95 > -2.5 || two.Hi95 < 59 || !(two.Birge > 10) {
		t.Errorf("%v %+v", err, two)
	}
	if one, err := bestutc.Combine(voyage.Noon, clues[:1]); err != nil || one.Agreement != bestutc.Alone || one.OffsetSD != 0.5 {
		t.Errorf("%v %+v", err, one)
	}
	if _, err := bestutc.Combine(voyage.Noon, nil); !errors.Is(err, rounds.ErrAlone) {
		t.Error(err)
	}
	for _, bad := range []bestutc.Clue{{ErrorS: math.NaN(), ErrorSD: 1}, {ErrorSD: 0}, {ErrorSD: math.NaN()}, {ErrorSD: -1}, {DialS: math.Inf(1), ErrorSD: 1}} {
		if _, err := bestutc.Combine(voyage.Noon, []bestutc.Clue{bad}); !errors.Is(err, rounds.ErrBook) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// The time that several make between them, when their ratings are right and
// when one has jumped far.
func TestBestIsHonest(t *testing.T) {
	const runs = 2000
	for _, n := range []int{2, 3, 4, 6} {
		for _, jump := range []float64{0, 3, 10, 60} {
			rng := voyage.Seeded(6)
			hold, framed := 0, 0
			for range runs {
				var clues []bestutc.Clue
				for i := range n {
					sd := 0.5 * math.Pow(6, rng.Float64())
					d := sd * rng.NormFloat64()
					if i == 0 {
						d += jump * sd
					}
					clues = append(clues, bestutc.Clue{Name: string(rune('A' + i)), DialS: d, ErrorSD: sd})
				}
				b, err := bestutc.Combine(voyage.Noon, clues)
				if err != nil {
					t.Fatal(err)
				}
				if b.Lo95 <= 0 && 0 <= b.Hi95 {
					hold++
				}
				for _, v := range b.Voices[1:] {
					if v.Reason != "" {
						framed++
					}
				}
			}
			if jump == 3 { // it hides among the others; the comment of Combine says so
				t.Logf("%d, one jumped by 3 of its sd: %.1f%%", n, 100*float64(hold)/runs)
				continue
			}
			t.Logf("%d, one jumped by %g of its sd: held in %d of %d, an innocent set aside %d times", n, jump, hold, runs, framed)
			if err := voyage.Held(hold, runs); err != nil {
				t.Errorf("%d, one jumped by %g: %v", n, jump, err)
			}
			if err := voyage.AtMost(framed, runs, 0.05); err != nil {
				t.Errorf("%d, one jumped by %g: an innocent set aside: %v", n, jump, err)
			}
		}
	}
}
