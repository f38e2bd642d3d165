package reference

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func instant(s float64) time.Time {
	return time.Date(2027, 3, 4, 9, 12, 0, 0, time.UTC).Add(time.Duration(math.Round(s * 1e9)))
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > within {
		t.Errorf("%s: %.9f, want %.9f", what, got, want)
	}
}

// TestExchange checks offset, delay and bound against the formulas of RFC 5905,
// 8, worked by hand.
func TestExchange(t *testing.T) {
	for _, c := range []struct {
		name                 string
		t1, t2, t3, t4, step float64
		offset, delay, bound float64
	}{
		{"fast server", 10.000000, 10.262000, 10.262100, 10.024700, 0, +0.249700, 0.024600, 0.012300},
		{"slow server", 100.000, 99.950, 99.951, 100.031, 0, -0.065000, 0.030000, 0.015000},
		{"clock of 2 ms", 0.002, 0.0035, 0.0036, 0.002, 0.002, +0.001550, -0.000100, 0.002000},
	} {
		x := Exchange{instant(c.t1), instant(c.t2), instant(c.t3), instant(c.t4)}
		near(t, c.name+": offset", x.OffsetS(), c.offset, 1e-9)
		near(t, c.name+": delay", x.DelayS(), c.delay, 1e-9)
		bound, err := x.BoundS(c.step)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		near(t, c.name+": bound", bound, c.bound, 1e-9)
	}
}

// TestExchangeRefuses: an answer cannot come before it was possible.
func TestExchangeRefuses(t *testing.T) {
	x := Exchange{instant(0.002), instant(0.0035), instant(0.0036), instant(0.002)}
	if _, err := x.BoundS(1e-5); err == nil {
		t.Error("a delay of −100 µs is taken for good with a clock that steps by 10 µs")
	}
}

// TestRootDistance checks a sum worked by hand from RFC 5905, 11.2.3 and 8.
func TestRootDistance(t *testing.T) {
	d := distance{delayS: 0.0246, rootDelayS: 0.020, rootDispersionS: 0.005, serverStepS: math.Pow(2, -20),
		clientStepS: 1e-6, tookS: 0.0247, jitterS: 0.0008, tolerance: steadyTolerance}
	near(t, "root distance", d.rootS(), 0.028102324, 1e-9)
	d.delayS = -0.0001
	near(t, "root distance of a negative delay", d.rootS(), 0.028102324-0.0123, 1e-9)
}

// TestAgree checks sets worked by hand from RFC 5905, 11.2.1.
func TestAgree(t *testing.T) {
	for name, c := range map[string]struct {
		said  []interval
		want  interval
		wrong int
		ok    bool
	}{
		"one of three is false":            {[]interval{{+0.010, 0.020}, {+0.015, 0.010}, {-0.300, 0.020}}, interval{+0.015, 0.010}, 1, true},
		"one of four is false":             {[]interval{{+0.004, 0.006}, {+0.001, 0.005}, {-0.002, 0.008}, {+0.250, 0.010}}, interval{+0.002, 0.004}, 1, true},
		"two disagree":                     {[]interval{{0, 0.010}, {+0.100, 0.010}}, interval{}, 0, false},
		"two agree":                        {[]interval{{0, 0.010}, {+0.015, 0.010}}, interval{+0.0075, 0.0025}, 0, true},
		"one alone":                        {[]interval{{0.3, 0.010}}, interval{0.3, 0.010}, 0, true},
		"none":                             {nil, interval{}, 0, false},
		"three disagree":                   {[]interval{{0, 0.010}, {1, 0.010}, {2, 0.010}}, interval{}, 0, false},
		"two against two":                  {[]interval{{0, 0.010}, {0.001, 0.010}, {2, 0.010}, {2.001, 0.010}}, interval{}, 0, false},
		"three against two":                {[]interval{{0, 0.010}, {0.001, 0.010}, {0.002, 0.010}, {2, 0.010}, {2.001, 0.010}}, interval{0.001, 0.009}, 2, true},
		"one overlaps two that do not":     {[]interval{{0, 0.010}, {0.015, 0.010}, {-0.015, 0.010}}, interval{}, 0, false},
		"a near one within two far ones":   {[]interval{{0, 0.003}, {0.010, 0.080}, {-0.012, 0.060}}, interval{0, 0.003}, 0, true},
		"a near one, two far ones, a liar": {[]interval{{0, 0.003}, {0.010, 0.080}, {-0.012, 0.060}, {2.5, 0.001}}, interval{0, 0.003}, 1, true},
	} {
		got, ok := agree(c.said)
		if ok != c.ok {
			t.Errorf("%s: agree %v, want %v", name, ok, c.ok)
			continue
		}
		near(t, name+": middle", got.midS, c.want.midS, 1e-12)
		near(t, name+": half width", got.halfS, c.want.halfS, 1e-12)
		wrong := 0
		for _, v := range c.said {
			if ok && v.contradicts(got) {
				wrong++
			}
		}
		if wrong != c.wrong {
			t.Errorf("%s: %d wrong ones, want %d", name, wrong, c.wrong)
		}
	}
}

// TestTruthIsInside checks what a bound promises: with most servers right,
// however long each way takes, UTC lies inside. A wrong server is wrong by
// more than the widths, since otherwise nobody can tell.
func TestTruthIsInside(t *testing.T) {
	refused, tried := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 9).Draw(t, "servers")
		wrong := rapid.IntRange(0, (n-1)/2).Draw(t, "wrong")
		truth := rapid.Float64Range(-1e4, 1e4).Draw(t, "truth")
		second := func(most float64, what string) float64 { return rapid.Float64Range(0, most).Draw(t, what) }
		var said []interval
		for i := range n {
			dispersion := second(0.05, "dispersion")
			serverError := rapid.Float64Range(-1, 1).Draw(t, "error") * dispersion
			if i < wrong {
				serverError = rapid.SampledFrom([]float64{-1, 1}).Draw(t, "way") * rapid.Float64Range(2, 1000).Draw(t, "lie")
			}
			out, thinking, back := second(0.3, "out"), second(0.01, "thinking"), second(0.3, "back")
			x := Exchange{T1: instant(0), T2: instant(out + truth + serverError),
				T3: instant(out + thinking + truth + serverError), T4: instant(out + thinking + back)}
			d := distance{delayS: x.DelayS(), rootDispersionS: dispersion, clientStepS: 1e-6, tookS: x.T4.Sub(x.T1).Seconds(), tolerance: steadyTolerance}
			said = append(said, interval{x.OffsetS(), d.rootS()})
		}
		tried++
		in, ok := agree(said)
		if !ok {
			refused++
			if wrong == 0 {
				t.Fatalf("%v: all are right and they are said to disagree", said)
			}
			return
		}
		if math.Abs(truth-in.midS) > in.halfS {
			t.Fatalf("%v: truth %v lies outside %v", said, truth, in)
		}
		for i, v := range said {
			if i < wrong && !v.contradicts(in) {
				t.Fatalf("%v: the wrong server %d is taken for right in %v", said, i, in)
			}
		}
	})
	if refused > 0 {
		t.Errorf("%d of %d sets with a right majority were refused", refused, tried)
	}
}
