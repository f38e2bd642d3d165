package observe_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"timeball/internal/clock"
	"timeball/internal/observe"
)

// person is an observer drawn from the figures of the literature: taps to a
// steady beat come early by 30 to 50 ms and scatter by 20 to 40 ms (Aschersleben
// & Prinz 1995, Aschersleben 2002, Repp 2005). Correlation, drift, wandering
// from day to day and slips are common practice, no source.
//
// The drift is a walk whose steps from tap to tap have the sd driftS.
type person struct {
	lagS, scatterS, wanderS, driftS float64
}

const (
	correlated = 0.4
	otherMark  = 0.03 // taps a second out
	oneBeat    = 0.02 // taps half a second out
	doubled    = 0.02 // taps followed by a bounce
)

func draw(r *rand.Rand) person {
	p := person{scatterS: 0.020 + 0.020*r.Float64(), wanderS: 0.010 + 0.005*r.Float64(), driftS: 0.003}
	// 40 ms between persons in all, the wandering of the day among it.
	p.lagS = -0.035 + r.NormFloat64()*math.Sqrt(0.040*0.040-p.wanderS*p.wanderS)
	return p
}

// series returns how late n taps come on one day.
func (p person) series(r *rand.Rand, n int) []float64 {
	drift := p.lagS + p.wanderS*r.NormFloat64()
	noise := r.NormFloat64()
	lags := make([]float64, n)
	for i := range lags {
		lags[i] = drift + p.scatterS*noise
		noise = correlated*noise + math.Sqrt(1-correlated*correlated)*r.NormFloat64()
		drift += p.driftS * r.NormFloat64()
	}
	return lags
}

type kind uint8

const (
	honest kind = iota
	slip
	bounce
)

type tapped struct {
	atS  float64
	kind kind
}

// compare returns the taps of p at n marks everyS apart of a dial errorS fast.
func (p person) compare(r *rand.Rand, origin time.Time, errorS, everyS float64, n int) []tapped {
	start := everyS * math.Ceil(float64(clock.TwelveHour.Reading(origin, clock.DialError(errorS)))/everyS)
	var made []tapped
	for i, lag := range p.series(r, n) {
		mark := start + everyS*float64(i+2)
		tap := tapped{atS: wrapDay(mark-errorS-utcOf(origin)) + lag}
		switch u := r.Float64(); {
		case u < otherMark:
			tap.kind = slip
			tap.atS += float64(2*r.IntN(2) - 1)
		case u < otherMark+oneBeat:
			tap.kind = slip
			tap.atS += float64(2*r.IntN(2)-1) / 2
		}
		made = append(made, tap)
		if r.Float64() < doubled {
			made = append(made, tapped{tap.atS + 0.08 + 0.12*r.Float64(), bounce})
		}
	}
	slices.SortStableFunc(made, func(a, b tapped) int {
		if a.atS < b.atS {
			return -1
		}
		return 1
	})
	return made
}

func utcOf(t time.Time) float64 { return float64(clock.TwelveHour.Reading(t, 0)) }

func wrapDay(s float64) float64 { return math.Mod(s+43200*2, 43200) }

// TestSimulatedCoverage compares dials of known error and counts how often the
// stated 95% holds it.
func TestSimulatedCoverage(t *testing.T) {
	for _, c := range []struct {
		name     string
		seed     uint64
		taps     int
		everyS   float64
		halfS    float64
		measured bool
	}{
		{"6 taps at 5 s, never measured", 1, 6, 5, 1, false},
		{"6 taps at 5 s, measured", 2, 6, 5, 1, true},
		{"12 taps at 5 s, never measured", 3, 12, 5, 1, false},
		{"12 taps at 5 s, measured", 4, 12, 5, 1, true},
		{"12 taps at half seconds, never measured", 5, 12, 0.5, 0.1, false},
		{"12 taps at half seconds, measured", 6, 12, 0.5, 0.1, true},
		{"8 taps at half seconds, never measured", 7, 8, 0.5, 0.1, false},
		{"6 taps at half seconds, measured", 8, 6, 0.5, 0.1, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			const comparisons = 4000
			r := rand.New(rand.NewPCG(1875, c.seed))
			var within, answered, refused, open, squares float64
			var sds []float64
			var made, dropped [3]float64
			for range comparisons {
				p := draw(r)
				eq := observe.Usual()
				if c.measured {
					m, err := observe.Measure(0.5, p.series(r, 24))
					if err != nil {
						refused++
						continue
					}
					eq = m.Equation()
				}
				origin := time.Unix(r.Int64N(4e9), r.Int64N(1e9)).UTC()
				truth := 200*r.Float64() - 100
				taps := p.compare(r, origin, truth, c.everyS, c.taps)
				near := observe.Near{ErrorS: truth + c.halfS/1.96*r.NormFloat64(), HalfS: c.halfS, Known: true}
				f, err := observe.Reckon(observe.Taps{Origin: origin, AtS: instants(taps), EveryS: c.everyS}, clock.TwelveHour, near, eq)
				if err != nil {
					refused++
					continue
				}
				answered++
				if len(f.Candidates) > 1 {
					open++
				}
				if math.Abs(f.ErrorS-truth) <= 1.96*f.SDS {
					within++
				}
				squares += (f.ErrorS - truth) * (f.ErrorS - truth)
				sds = append(sds, f.SDS)
				for i, tap := range taps {
					made[tap.kind]++
					if f.Taps[i].Dropped != "" {
						dropped[tap.kind]++
					}
				}
			}
			slices.Sort(sds)
			rms := math.Sqrt(squares / answered)
			coverage := 100 * within / answered
			t.Logf("95%% covers %.1f%%; achieved sd %.1f ms, median stated %.1f ms; dropped %.1f%% of slips, %.1f%% of double taps, %.2f%% of honest taps; refused %.2f%%, left open %.2f%%",
				coverage, 1000*rms, 1000*sds[len(sds)/2], 100*dropped[slip]/made[slip], 100*dropped[bounce]/made[bounce],
				100*dropped[honest]/made[honest], 100*refused/comparisons, 100*open/answered)
			if coverage < 93 || coverage > 97 {
				t.Errorf("the stated 95%% covers %.1f%%", coverage)
			}
			// No worse than one who scatters by 40 ms and wanders by 15 ms each day,
			// the largest of the figures drawn from.
			worst := math.Hypot(0.040, observe.MeanSDS(0.040, c.taps, correlated))
			if c.measured {
				worst = math.Hypot(math.Sqrt2*0.015, math.Hypot(observe.MeanSDS(0.040, 24, correlated), observe.MeanSDS(0.040, c.taps, correlated)))
			}
			if rms > worst {
				t.Errorf("achieved sd %.1f ms, want %.1f at most", 1000*rms, 1000*worst)
			}
			// At half seconds a slip falls on a mark of its own or on another tap's.
			if share := dropped[honest] / made[honest]; share > 0.01 && c.everyS > 1 {
				t.Errorf("%.2f%% of honest taps dropped", 100*share)
			}
			if share := dropped[slip] / made[slip]; share < 0.99 && c.everyS > 1 {
				t.Errorf("%.1f%% of slips dropped", 100*share)
			}
			if refused > 0.02*comparisons {
				t.Errorf("%.0f of %d refused", refused, comparisons)
			}
		})
	}
}

func instants(taps []tapped) []float64 {
	at := make([]float64, len(taps))
	for i, tap := range taps {
		at[i] = tap.atS
	}
	return at
}
