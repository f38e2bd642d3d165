package observe_test

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/clock"
	"timeball/internal/observe"
)

var (
	noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	sure = observe.Equation{LagS: -0.035, SDS: 0.02, ScatterS: 0.03, Measured: true}
)

// A dial 2.4 s fast shows 12:00:10 at 12:00:07.6; the observer taps 35 ms early.
func ExampleReckon() {
	taps := observe.Taps{Origin: noon, AtS: []float64{7.565, 12.575, 17.555, 23.565, 27.545, 32.585}, EveryS: 5}
	f, err := observe.Reckon(taps, clock.TwelveHour, observe.Near{ErrorS: 2, HalfS: 1, Known: true}, observe.Usual())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s, %s s, from %d taps\n", clock.DialError(f.ErrorS).Words(1.96*f.SDS), clock.DialError(0).HalfWidth(1.96*f.SDS), f.Used)
	for _, tap := range f.Taps {
		fmt.Println(strings.TrimSpace(fmt.Sprintf("%.0f s %s", tap.MarkS, tap.Dropped)))
	}
	// Output:
	// fast 2.40 s, ±0.09 s, from 5 taps
	// 10 s
	// 15 s
	// 20 s
	// 25 s 1.00 s late: another mark
	// 30 s
	// 35 s
}

// steady returns n taps everyS apart, at the marks of a dial errorS fast, of an
// observer who taps lagS late.
func steady(errorS, lagS, everyS float64, n int) []float64 {
	at := make([]float64, n)
	for i := range at {
		at[i] = everyS*float64(i+1) - math.Mod(errorS, everyS) + lagS
	}
	return at
}

// TestReckonByHand checks errors that follow from the dial shown at a known
// time; the lag is that of the observer, so that it drops out.
func TestReckonByHand(t *testing.T) {
	for _, c := range []struct {
		name   string
		errorS float64
		everyS float64
		near   observe.Near
		want   float64
	}{
		{"fast", 2.4, 5, observe.Near{ErrorS: 2, HalfS: 1, Known: true}, 2.4},
		{"slow", -37.2, 5, observe.Near{ErrorS: -37, HalfS: 1, Known: true}, -37.2},
		{"minutes fast", 160, 5, observe.Near{ErrorS: 159.8, HalfS: 1, Known: true}, 160},
		{"half a day out", 43202.4, 15, observe.Near{ErrorS: 43200, HalfS: 3, Known: true}, 43202.4},
		{"half seconds", 2.4, 0.5, observe.Near{ErrorS: 2.45, HalfS: 0.1, Known: true}, 2.4},
		{"whole minutes", -12.3, 60, observe.Near{ErrorS: 0, HalfS: 20, Known: true}, -12.3},
		{"expected across a mark", 2.45, 5, observe.Near{ErrorS: 3.1, HalfS: 1, Known: true}, 2.45},
		{"not expected", -1.3, 5, observe.Near{}, -1.3},
	} {
		f, err := observe.Reckon(observe.Taps{Origin: noon, AtS: steady(c.errorS, sure.LagS, c.everyS, 8), EveryS: c.everyS}, clock.TwelveHour, c.near, sure)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if math.Abs(f.ErrorS-c.want) > 1e-6 || f.Used != 8 {
			t.Errorf("%s: %.4f s from %d taps, want %.4f from 8", c.name, f.ErrorS, f.Used, c.want)
		}
		if c.near.Known && (math.Abs(f.FarS-(c.want-c.near.ErrorS)) > 1e-6 || len(f.Candidates) != 1) {
			t.Errorf("%s: far %v, candidates %v", c.name, f.FarS, f.Candidates)
		}
		if !c.near.Known && len(f.Candidates) < 2 {
			t.Errorf("%s: candidates %v", c.name, f.Candidates)
		}
	}
}

func TestReckonDrops(t *testing.T) {
	good := steady(2.4, sure.LagS, 5, 7)
	with := func(extra ...float64) []float64 {
		at := append(slices.Clone(good), extra...)
		slices.Sort(at)
		return at
	}
	moved := func(i int, by float64) []float64 {
		at := slices.Clone(good)
		at[i] += by
		return at
	}
	for _, c := range []struct {
		name  string
		at    []float64
		index int
		why   string
	}{
		{"a beat late", moved(3, 0.5), 3, "0.50 s late: one beat"},
		{"a beat early", moved(0, -0.52), 0, "0.52 s early: one beat"},
		{"a second early", moved(2, -1), 2, "1.00 s early: another mark"},
		{"two seconds late", moved(6, 2), 6, "2.00 s late: another mark"},
		{"a hesitation", moved(4, 0.3), 4, "0.30 s late: it stands apart"},
		{"a bounce", with(good[2] + 0.09), 3, "0.09 s after the tap before: a double tap"},
		{"twice on one mark", with(good[2] - 0.11), 2, ""}, // the first is kept
	} {
		f, err := observe.Reckon(observe.Taps{Origin: noon, AtS: c.at, EveryS: 5}, clock.TwelveHour, observe.Near{ErrorS: 2, HalfS: 1, Known: true}, sure)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !strings.HasPrefix(f.Taps[c.index].Dropped, c.why) || (c.why == "") != (f.Taps[c.index].Dropped == "") {
			t.Errorf("%s: tap %d dropped %q, want %q", c.name, c.index, f.Taps[c.index].Dropped, c.why)
		}
		if dropped := len(c.at) - f.Used; dropped != 1 {
			t.Errorf("%s: %d dropped", c.name, dropped)
		}
		if math.Abs(f.ErrorS-2.4) > 0.03 {
			t.Errorf("%s: error %.3f", c.name, f.ErrorS)
		}
	}
}

func TestReckonRefuses(t *testing.T) {
	inOneSecond := make([]float64, 10)
	everySecond := make([]float64, 12)
	for i := range everySecond {
		everySecond[i] = float64(i)
	}
	for i := range inOneSecond {
		inOneSecond[i] = 3 + 0.1*float64(i)
	}
	near := observe.Near{ErrorS: 2, HalfS: 1, Known: true}
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		name string
		taps observe.Taps
		near observe.Near
		eq   observe.Equation
		want error
	}{
		{"none", observe.Taps{Origin: noon, EveryS: 5}, near, sure, observe.ErrTooFew},
		{"two", observe.Taps{Origin: noon, AtS: []float64{5, 10}, EveryS: 5}, near, sure, observe.ErrTooFew},
		{"two and a slip", observe.Taps{Origin: noon, AtS: []float64{5, 10, 16}, EveryS: 5}, near, sure, observe.ErrTooFew},
		{"ten in one second", observe.Taps{Origin: noon, AtS: inOneSecond, EveryS: 5}, near, sure, observe.ErrIrregular},
		{"ten in one second of half-second marks", observe.Taps{Origin: noon, AtS: inOneSecond, EveryS: 0.5}, near, sure, observe.ErrIrregular},
		{"every second, said to be every five", observe.Taps{Origin: noon, AtS: everySecond, EveryS: 5}, near, sure, observe.ErrIrregular},
		{"two marks by turns", observe.Taps{Origin: noon, AtS: []float64{5, 11, 15, 21, 25, 31}, EveryS: 5}, near, sure, observe.ErrIrregular},
		{"spread over the beat", observe.Taps{Origin: noon, AtS: []float64{0.1, 0.7, 1.3, 1.55, 2.2, 2.9, 3.0, 3.6}, EveryS: 0.5}, near, sure, observe.ErrIrregular},
		{"out of order", observe.Taps{Origin: noon, AtS: []float64{5, 15, 10}, EveryS: 5}, near, sure, observe.ErrTaps},
		{"not a number", observe.Taps{Origin: noon, AtS: []float64{5, nan, 10}, EveryS: 5}, near, sure, observe.ErrTaps},
		{"infinite", observe.Taps{Origin: noon, AtS: []float64{5, 10, inf}, EveryS: 5}, near, sure, observe.ErrTaps},
		{"half an hour of them", observe.Taps{Origin: noon, AtS: []float64{5, 10, 1800}, EveryS: 5}, near, sure, observe.ErrTaps},
		{"marks no dial has", observe.Taps{Origin: noon, AtS: good(), EveryS: 7}, near, sure, observe.ErrTaps},
		{"marks not told", observe.Taps{Origin: noon, AtS: good()}, near, sure, observe.ErrTaps},
		{"expected nowhere", observe.Taps{Origin: noon, AtS: good(), EveryS: 5}, observe.Near{ErrorS: nan, Known: true}, sure, observe.ErrTaps},
		{"expected to less than nothing", observe.Taps{Origin: noon, AtS: good(), EveryS: 5}, observe.Near{HalfS: -1, Known: true}, sure, observe.ErrTaps},
		{"no personal equation", observe.Taps{Origin: noon, AtS: good(), EveryS: 5}, near, observe.Equation{SDS: nan}, observe.ErrTaps},
	} {
		if f, err := observe.Reckon(c.taps, clock.TwelveHour, c.near, c.eq); !errors.Is(err, c.want) {
			t.Errorf("%s: %.3f ± %.3f s, %v; want %v", c.name, f.ErrorS, f.SDS, err, c.want)
		}
	}
}

func good() []float64 { return steady(2.4, sure.LagS, 5, 8) }

// TestCandidates: the expected error decides between neighbours, or they are named.
func TestCandidates(t *testing.T) {
	for _, c := range []struct {
		name   string
		everyS float64
		near   observe.Near
		want   []float64
		remark string
	}{
		{"expected well", 5, observe.Near{ErrorS: 2, HalfS: 1, Known: true}, []float64{2.4}, ""},
		{"expected to 3 s", 5, observe.Near{ErrorS: 0.5, HalfS: 3, Known: true}, []float64{2.4, -2.6}, "is not excluded"},
		{"half way", 5, observe.Near{ErrorS: -0.05, HalfS: 0.5, Known: true}, []float64{2.4, -2.6}, "is not excluded"},
		// A reading by eye and ear agrees with the forecast within 0.2 s or is taken
		// again; Bessel is never over 0.2 s ("The Personal Equation", 1875).
		{"half seconds, 0.1 s away", 0.5, observe.Near{ErrorS: 2.3, HalfS: 0.05, Known: true}, []float64{2.4}, ""},
		{"half seconds, 0.22 s away", 0.5, observe.Near{ErrorS: 2.18, HalfS: 0.05, Known: true}, []float64{2.4, 1.9}, "is not excluded"},
		{"half seconds, 0.22 s away below", 0.5, observe.Near{ErrorS: 2.62, HalfS: 0.05, Known: true}, []float64{2.4, 2.9}, "is not excluded"},
		{"one second from a sharp forecast", 5, observe.Near{ErrorS: 1.4, HalfS: 0.2, Known: true}, []float64{2.4}, "misread by 1.0 s, or the dial has been moved"},
		{"far, but by no beat", 5, observe.Near{ErrorS: 1.13, HalfS: 0.1, Known: true}, []float64{2.4}, "no whole beat explains it"},
	} {
		f, err := observe.Reckon(observe.Taps{Origin: noon, AtS: steady(2.4, sure.LagS, c.everyS, 8), EveryS: c.everyS}, clock.TwelveHour, c.near, sure)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if !slices.EqualFunc(f.Candidates, c.want, func(a, b float64) bool { return math.Abs(a-b) < 1e-6 }) {
			t.Errorf("%s: candidates %v, want %v", c.name, f.Candidates, c.want)
		}
		remarks := strings.Join(f.Remarks, "\n")
		if !strings.Contains(remarks, c.remark) || c.remark == "" && remarks != "" {
			t.Errorf("%s: remarks %q, want %q", c.name, remarks, c.remark)
		}
	}
}

// TestEnough: six taps do for one whose personal equation is far less sure than
// their mean, twelve for anyone.
func TestEnough(t *testing.T) {
	for _, c := range []struct {
		taps int
		eq   observe.Equation
		want bool
	}{
		{5, observe.Usual(), false},
		{6, observe.Usual(), true},
		{6, observe.Equation{SDS: 0.02, ScatterS: 0.03, Measured: true}, false},
		{11, observe.Equation{SDS: 0.01, ScatterS: 0.03, Measured: true}, false},
		{12, observe.Equation{SDS: 0.01, ScatterS: 0.03, Measured: true}, true},
	} {
		f, err := observe.Reckon(observe.Taps{Origin: noon, AtS: steady(2.4, 0, 5, c.taps), EveryS: 5}, clock.TwelveHour, observe.Near{}, c.eq)
		if err != nil || f.Enough != c.want {
			t.Errorf("%d taps, equation ±%v s: enough %v, %v", c.taps, c.eq.SDS, f.Enough, err)
		}
	}
}

// drawn draws taps at marks with honest scatter and at most one slip.
func drawn(t *rapid.T) (taps observe.Taps, truth float64) {
	taps = observe.Taps{
		Origin: time.UnixMicro(rapid.Int64Range(0, 4e15).Draw(t, "origin")).UTC(),
		EveryS: rapid.SampledFrom([]float64{5, 10, 15, 30, 60}).Draw(t, "every"),
	}
	truth = rapid.Float64Range(-300, 300).Draw(t, "error")
	n := rapid.IntRange(5, 12).Draw(t, "taps")
	slip := rapid.IntRange(0, 2*n).Draw(t, "slip")
	start := wrapDay(-truth - utcOf(taps.Origin))
	start -= taps.EveryS * math.Floor(start/taps.EveryS)
	for i := range n {
		at := start + taps.EveryS*float64(i+1) + rapid.Float64Range(-0.06, 0.06).Draw(t, "late")
		if i == slip {
			at += rapid.SampledFrom([]float64{-1, -0.5, 0.5, 1}).Draw(t, "out")
		}
		taps.AtS = append(taps.AtS, at)
	}
	return taps, truth
}

// TestLaterTapsSlowerDial: taps d later make the dial d slower, and the error
// expected moves the answer by whole spacings alone.
func TestLaterTapsSlowerDial(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		taps, truth := drawn(t)
		near := observe.Near{ErrorS: truth + rapid.Float64Range(-0.5, 0.5).Draw(t, "expected"), HalfS: 1, Known: true}
		reckon := func(taps observe.Taps, near observe.Near) observe.Finding {
			f, err := observe.Reckon(taps, clock.TwelveHour, near, sure)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		f := reckon(taps, near)
		if math.Abs(f.ErrorS-sure.LagS-truth) > 0.06+1e-6 {
			t.Fatalf("error %v, true %v", f.ErrorS-sure.LagS, truth)
		}

		d := rapid.Float64Range(-20, 20).Draw(t, "later")
		later := taps
		later.AtS = slices.Clone(taps.AtS)
		for i := range later.AtS {
			later.AtS[i] += d
		}
		moved := near
		moved.ErrorS -= d
		if g := reckon(later, moved); math.Abs(g.ErrorS-(f.ErrorS-d)) > 1e-6 || math.Abs(g.SDS-f.SDS) > 1e-6 || g.Used != f.Used {
			t.Fatalf("%v s later: %v ± %v from %d, was %v ± %v from %d", d, g.ErrorS, g.SDS, g.Used, f.ErrorS, f.SDS, f.Used)
		}

		k := float64(rapid.IntRange(-50, 50).Draw(t, "spacings"))
		moved = near
		moved.ErrorS += k * taps.EveryS
		if g := reckon(taps, moved); math.Abs(g.ErrorS-(f.ErrorS+k*taps.EveryS)) > 1e-6 {
			t.Fatalf("expected %v spacings on: %v, was %v", k, g.ErrorS, f.ErrorS)
		}
	})
}

// TestSlipAnywhere: it does not matter which tap of several was the slip.
func TestSlipAnywhere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 10).Draw(t, "taps")
		out := rapid.SampledFrom([]float64{-2, -1, -0.5, 0.5, 1, 2}).Draw(t, "out")
		late := make([]float64, n)
		for i := range late {
			late[i] = rapid.Float64Range(-0.06, 0.06).Draw(t, "late")
		}
		var first float64
		for slip := range n + 1 {
			at := steady(2.4, 0, 5, n+1)
			for i := range at {
				switch {
				case i == slip:
					at[i] += out
				case i < slip:
					at[i] += late[i]
				default:
					at[i] += late[i-1]
				}
			}
			f, err := observe.Reckon(observe.Taps{Origin: noon, AtS: at, EveryS: 5}, clock.TwelveHour, observe.Near{ErrorS: 2.4, HalfS: 1, Known: true}, sure)
			if err != nil || f.Used != n || f.Taps[slip].Dropped == "" {
				t.Fatalf("slip at %d: %+v, %v", slip, f, err)
			}
			if slip == 0 {
				first = f.ErrorS
			} else if math.Abs(f.ErrorS-first) > 1e-9 {
				t.Fatalf("slip at %d: %v, at 0: %v", slip, f.ErrorS, first)
			}
		}
	})
}

func FuzzReckon(f *testing.F) {
	pack := func(at ...float64) []byte {
		var b []byte
		for _, a := range at {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(a))
		}
		return b
	}
	f.Add(int64(0), 5.0, pack(good()...), 2.0, 1.0, true, -0.035, 0.04, 0.03)
	f.Add(int64(-1e18), 0.5, pack(0, 0, 0, 0), 1e6, 1e6, true, 0.0, 0.0, 0.0)
	f.Add(int64(4e18), 60.0, pack(1, 2, 3, 63, 123, 183), 0.0, 0.0, true, 2.0, 2.0, 2.0)
	f.Add(int64(1), 0.4, pack(-86400, -86399.6, -86399.2), 0.0, 0.0, false, 0.0, 0.0, 0.0)
	f.Fuzz(func(t *testing.T, origin int64, everyS float64, packed []byte, near, half float64, known bool, lag, sd, scatter float64) {
		var at []float64
		for len(packed) >= 8 {
			at = append(at, math.Float64frombits(binary.LittleEndian.Uint64(packed)))
			packed = packed[8:]
		}
		taps := observe.Taps{Origin: time.Unix(0, origin), AtS: at, EveryS: everyS}
		got, err := observe.Reckon(taps, clock.TwelveHour, observe.Near{ErrorS: near, HalfS: half, Known: known}, observe.Equation{LagS: lag, SDS: sd, ScatterS: scatter})
		if err != nil {
			if !errors.Is(err, observe.ErrTaps) && !errors.Is(err, observe.ErrTooFew) && !errors.Is(err, observe.ErrIrregular) {
				t.Fatalf("an error of no kind: %v", err)
			}
			return
		}
		numbers := append([]float64{got.ErrorS, got.SDS, got.AtS, got.ScatterS, got.FarS}, got.Candidates...)
		used := 0
		for _, tap := range got.Taps {
			numbers = append(numbers, tap.MarkS, tap.ResidualS)
			if tap.MarkS < 0 || tap.MarkS >= 60 {
				t.Fatalf("mark %v", tap.MarkS)
			}
			if tap.Dropped == "" {
				used++
			}
		}
		for _, x := range numbers {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("not finite: %+v", got)
			}
		}
		if len(got.Taps) != len(at) || used != got.Used || used < 3 || len(got.Candidates) == 0 || got.SDS <= 0 {
			t.Fatalf("%d taps: %+v", len(at), got)
		}
	})
}
