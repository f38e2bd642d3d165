package journey_test

import (
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"timeball/internal/journey"
	"timeball/internal/rating"
	"timeball/internal/simulate"
	"timeball/internal/timescale"
)

// origin is where simulated days are counted from.
var origin = time.Date(2027, 1, 4, 8, 0, 0, 0, time.UTC)

// gapDays is the way of a simulated journey, from comparison to comparison.
const gapDays = 5.0

// voyage is a simulated journey: an instrument compared daily before and after.
type voyage struct {
	noise         simulate.Noise
	sd            float64 // of a comparison, s
	before, after int
	stopped       bool    // for the journey
	change        float64 // of the rate in the middle of it, s/d
	trip          float64 // of the error, s
	growth        float64 // of the rate every day after it, s/d²

	truth *[2]float64 // if not nil, the rate at the last comparison before and the first after is written here
}

func at(day float64) time.Time { return timescale.AddDays(origin, day) }

// sail returns the comparisons of a voyage.
func sail(rng *rand.Rand, v voyage) (rating.History, journey.Carriage) {
	var h rating.History
	day, e, r := 0.0, 20*rng.NormFloat64(), -0.7+0.8*rng.NormFloat64()
	to := func(next float64) {
		e, r = v.noise.Step(rng, e, r, next-day)
		day = next
	}
	read := func() {
		h.Readings = append(h.Readings, rating.Reading{At: at(day), ErrorS: e + v.sd*rng.NormFloat64(), SDS: v.sd})
	}
	for i := range v.before {
		to(float64(i))
		read()
	}
	last := float64(v.before - 1)
	c := journey.Carriage{Left: at(last + 0.5), Arrived: at(last + gapDays - 0.5), Stopped: v.stopped}
	left := r
	to(last + gapDays/2)
	r += v.change
	e += v.trip
	h.Events = []rating.Event{{At: at(day), Kind: rating.Carried}}
	if v.stopped {
		h.Events = []rating.Event{{At: c.Left, Kind: rating.Stopped}, {At: at(day), Kind: rating.Carried}, {At: c.Arrived, Kind: rating.Started}}
		e = 20 * rng.NormFloat64()
	}
	for i := range v.after {
		next := last + gapDays + float64(i)
		d := next - day
		to(next)
		if i == 0 && v.truth != nil {
			*v.truth = [2]float64{left, r}
		}
		if i > 0 {
			e += v.growth * (float64(i-1) + 0.5) * d
		}
		read()
	}
	return h, c
}

// usual draws the noise and the reading of an ordinary instrument.
func usual(rng *rand.Rand) (simulate.Noise, float64) {
	logUniform := func(a, b float64) float64 { return a * math.Exp(rng.Float64()*math.Log(b/a)) }
	return simulate.Noise{SigmaW: logUniform(.1, .3), SigmaR: logUniform(.01, .05)}, []float64{.02, .1, .3}[rng.IntN(3)]
}

// upTo returns the history as it stood after n comparisons.
func upTo(h rating.History, n int) rating.History {
	h.Readings = h.Readings[:n]
	return h
}

// each calls f for 0 to n-1 on all processors, each with a source of its own.
func each(n int, seed uint64, f func(i int, rng *rand.Rand)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				f(i, rand.New(rand.NewPCG(seed, uint64(i))))
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// alarms returns what a finding raises besides "no change", "too few" and a
// reason why nothing can be said.
func alarms(f journey.Finding) []journey.Verdict {
	if f.Chance > journey.ChangeAlarms {
		return nil
	}
	return append([]journey.Verdict{f.Verdict}, f.Also...)
}

// lengths are the comparisons before, and after, of a simulated journey.
var lengths = []int{5, 10, 20}

// score is what an ensemble of findings was worth.
type score struct {
	sync.Mutex
	asked, inside      int // 95% intervals of the change of rate
	jumps, insideJumps int // and of the jump
	insideRates        int // and of the rates when it left and arrived, together
	single             int // P under 5%
}

func (s *score) add(f journey.Finding, v voyage) {
	holds := func(i *rating.Interval, truth float64) int {
		if i.Lo95 <= truth && truth <= i.Hi95 {
			return 1
		}
		return 0
	}
	s.asked++
	s.inside += holds(f.Change, v.change)
	s.insideRates += holds(f.RateBefore, v.truth[0]) + holds(f.RateAfter, v.truth[1])
	if f.Jump != nil {
		s.jumps++
		s.insideJumps += holds(f.Jump, v.trip)
	}
	if f.P < 0.05 {
		s.single++
	}
}

// kinds are the journeys that do harm, s/d and s.
var kinds = []voyage{{change: .1}, {change: -.3}, {change: .6}, {change: -1}, {trip: 3}, {trip: 30}, {trip: 10, change: -.6}, {trip: 45, change: -1}}

// TestJourneys: instruments of the usual mix (noise 0.1 to 0.3 s/√d and 0.01 to
// 0.05 (s/d)/√d, comparisons of 0.02, 0.1 or 0.3 s) before and after 400
// journeys without harm and 400 with it. Whoever asks every day about the former
// is alarmed in no more than is stated; of all the 95% intervals of the change
// of rate 93 to 97% hold it; the harm is found.
func TestJourneys(t *testing.T) {
	const runs = 400
	var all, none score
	alarmed, raised := 0, map[journey.Verdict]int{}
	each(runs, 11, func(i int, rng *rand.Rand) {
		v := voyage{before: lengths[i%3], after: 20, stopped: i%2 == 0, truth: new([2]float64)}
		v.noise, v.sd = usual(rng)
		h, c := sail(rng, v)
		wanted := lengths[(i/3)%3]
		ever := map[journey.Verdict]bool{}
		for _, n := range []int{5, 7, 10, 14, 20} { // the planned days; TestPlannedDays has the others
			if n == 20 && n != wanted {
				continue
			}
			f, err := journey.Examine(upTo(h, v.before+n), c)
			if err != nil {
				t.Error(err)
				return
			}
			for _, a := range alarms(f) {
				ever[a] = true
			}
			if n == wanted {
				none.Lock()
				none.add(f, v)
				none.Unlock()
			}
		}
		none.Lock()
		defer none.Unlock()
		if len(ever) > 0 {
			alarmed++
		}
		for a := range ever {
			raised[a]++
		}
	})
	percent := func(n, of int) float64 { return 100 * float64(n) / float64(of) }
	t.Logf("%d journeys without harm, asked every day for 20 days: alarm in %.1f%% %v, at most %.1f%% stated; asked once at 5%%: %.1f%%",
		runs, percent(alarmed, runs), raised, 100*journey.AlarmsAtMost, percent(none.single, none.asked))
	// Of ensembles with as many alarms as stated, 99% have no more than this.
	if most := runs*journey.AlarmsAtMost + 2.33*math.Sqrt(runs*journey.AlarmsAtMost*(1-journey.AlarmsAtMost)); float64(alarmed) > most {
		t.Errorf("%d of %d raised an alarm", alarmed, runs)
	}

	type tally struct{ n, changed, tripped, other int }
	found := make([][3]tally, len(kinds))
	each(runs, 12, func(i int, rng *rand.Rand) {
		k, l := i%len(kinds), (i/len(kinds))%3
		v := kinds[k]
		v.truth = new([2]float64)
		v.before, v.after = lengths[l], lengths[l]
		v.stopped = v.trip == 0 && (i/len(kinds)/3)%2 == 0
		v.noise, v.sd = usual(rng)
		f, err := journey.Examine(sail(rng, v))
		if err != nil {
			t.Error(err)
			return
		}
		all.Lock()
		defer all.Unlock()
		all.add(f, v)
		w := &found[k][l]
		w.n++
		for _, a := range alarms(f) {
			switch a {
			case journey.RateChanged:
				w.changed++
			case journey.Tripped:
				w.tripped++
			default:
				w.other++
			}
		}
	})
	trips, tripsFound := 0, 0
	for k, v := range kinds {
		for l, n := range lengths {
			w := found[k][l]
			t.Logf("change %+.1f s/d, trip %2.0f s, %2d days each side: of %d, rate changed %d, tripped %d, other %d", v.change, v.trip, n, w.n, w.changed, w.tripped, w.other)
			if v.trip >= 10 {
				trips, tripsFound = trips+w.n, tripsFound+w.tripped
			}
			if math.Abs(v.change) >= 0.6 && n == 20 && w.changed < w.n*9/10 {
				t.Errorf("a change of %v s/d after %d days found in %d of %d", v.change, n, w.changed, w.n)
			}
		}
	}
	t.Logf("trips of 10 s and more: %d of %d found", tripsFound, trips)
	if percent(tripsFound, trips) < 97 {
		t.Errorf("of %d trips %d found", trips, tripsFound)
	}
	inside, asked := all.inside+none.inside, all.asked+none.asked
	if share := percent(all.insideRates+none.insideRates, 2*asked); share < 93 || share > 97 {
		t.Errorf("%.1f%% of the intervals of the rates hold them", share)
	}
	t.Logf("the 95%% interval of the change holds in %.1f%% of %d, those of the two rates in %.1f%%, that of the jump, any temperature on the way allowed for, in %.1f%% of %d",
		percent(inside, asked), asked, percent(all.insideRates+none.insideRates, 2*asked), percent(all.insideJumps+none.insideJumps, all.jumps+none.jumps), all.jumps+none.jumps)
	if share := percent(inside, asked); share < 93 || share > 97 {
		t.Errorf("%.1f%% of the intervals of the change hold it", share)
	}
}

// TestGrowingLoss: a rate that falls by 0.1 s/d every day is taken for rust
// within three weeks, and not for a step.
func TestGrowingLoss(t *testing.T) {
	const runs = 40
	var mu sync.Mutex
	found := 0
	each(runs, 13, func(_ int, rng *rand.Rand) {
		v := voyage{before: 14, after: 22, growth: -0.1, noise: simulate.Noise{SigmaW: .15, SigmaR: .015}, sd: .1}
		f, err := journey.Examine(sail(rng, v))
		if err != nil {
			t.Error(err)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		if f.Verdict == journey.GrowingLoss {
			found++
			if !strings.Contains(strings.Join(f.LookAt, " "), "rust on the balance spring") || f.Growth.Mean > -0.05 || f.Growth.Mean < -0.15 {
				t.Errorf("growth %+v, look at %q", f.Growth, f.LookAt)
			}
		}
	})
	t.Logf("%d of %d found", found, runs)
	if found < runs*8/10 {
		t.Errorf("%d of %d found", found, runs)
	}
}

// TestPlannedDays: between two planned days the verdict and its chance stay, so
// that asking more often raises no further alarm.
func TestPlannedDays(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, v := range []voyage{{change: 0.7, stopped: true}, {trip: 20}, {}} {
		v.before, v.after, v.noise, v.sd = 12, 33, simulate.Noise{SigmaW: .15, SigmaR: .015}, .1
		h, c := sail(rng, v)
		var was journey.Finding
		for n := 1; n <= v.after; n++ {
			f, err := journey.Examine(upTo(h, v.before+n), c)
			if err != nil {
				t.Fatal(err)
			}
			if f.Day == was.Day && n > 3 && (f.Verdict != was.Verdict || f.Chance != was.Chance) {
				t.Errorf("after %d comparisons %s (%v), the day before %s (%v); both rest on day %d", n, f.Verdict, f.Chance, was.Verdict, was.Chance, f.Day)
			}
			if f.Day != was.Day && f.Day != n {
				t.Errorf("after %d comparisons the verdict rests on day %d", n, f.Day)
			}
			if n > 1 && f.Main != was.Main {
				t.Errorf("after %d comparisons the plan changed from day %d to %d", n, was.Main, f.Main)
			}
			was = f
		}
		if was.Day != 30 {
			t.Errorf("the last verdict rests on day %d", was.Day)
		}
	}
}
