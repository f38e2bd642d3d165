package regulating_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/regulating"
	"timeball/internal/simulate"
	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

var origin = time.Date(2027, 1, 4, 8, 0, 0, 0, time.UTC)

// specimen is a chronometer as it comes to be regulated, and the hand that will
// do it.
type specimen struct {
	seed      uint64
	character simulate.Character
	perTurn   float64   // s/d per turn out of both, true
	slips     []float64 // of the hand, turns, one for each turning
}

// specimens draws instruments of σw log-uniform .08–.3, σr .008–.03, rate
// N(0, 8), and a hand that errs by N(0, 1/60) turn. The effect is lognormal
// about 20 with a log-sd of 0.5, or uniform from 5 to 20 for fine screws.
func specimens(seed uint64, n int, fine bool) []specimen {
	rng := rand.New(rand.NewPCG(seed, 77))
	all := make([]specimen, n)
	for i := range all {
		s := &all[i]
		s.seed = rng.Uint64()
		s.character.Noise = simulate.Noise{SigmaW: .08 * math.Exp(rng.Float64()*math.Log(.3/.08)), SigmaR: .008 * math.Exp(rng.Float64()*math.Log(.03/.008))}
		s.character.Rate = clock.Rate(8 * rng.NormFloat64())
		s.perTurn = -20 * math.Exp(0.5*rng.NormFloat64())
		if fine {
			s.perTurn = -5 - 15*rng.Float64()
		}
		for range mostTurnings {
			s.slips = append(s.slips, rng.NormFloat64()/60)
		}
	}
	return all
}

const (
	mostTurnings = 12
	firstDays    = 7 // of daily comparisons before the first turning
)

// regulation is what came of regulating one specimen.
type regulation struct {
	rates   []float64 // true, just after each turning
	waits   []int     // days of comparisons before each turning
	days    []int     // days gone by at each turning
	predict []regulating.Estimate
	advised []bool // the advice was to turn
	turns   []float64
}

// bench is a specimen in work.
type bench struct {
	s       specimen
	inst    *simulate.Instrument
	history rating.History
	at      time.Time
	day     int
	turned  []regulating.Turning
	from    int // reading and event from which the rate is reckoned: the last two stretches
	events  int
}

func newBench(s specimen) *bench {
	b := &bench{s: s, at: origin}
	b.inst = simulate.NewInstrument(rand.New(rand.NewPCG(s.seed, 5)), s.character, simulate.Air{}, origin)
	b.inst.Start(origin, 0)
	b.read()
	return b
}

func (b *bench) read() {
	b.history.Readings = append(b.history.Readings, rating.Reading{Ref: strconv.Itoa(len(b.history.Readings)), At: b.at, ErrorS: float64(b.inst.Read(b.at, 0.1)), SDS: 0.1})
}

func (b *bench) compare(days int) {
	for range days {
		b.day++
		b.at = timescale.AddDays(origin, float64(b.day))
		b.read()
	}
}

func (b *bench) rate(t *testing.T) rating.Rating {
	t.Helper()
	late := rating.History{Readings: b.history.Readings[b.from:], Events: b.history.Events[b.events:]}
	r, err := rating.Rate(late, rating.Options{HorizonDays: 1})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// turn turns by what was meant and returns the true rate just after. The
// balance is held meanwhile, so that the error steps by something unknown.
func (b *bench) turn(meant float64) float64 {
	at := b.at.Add(time.Minute)
	b.inst.Regulate(at, clock.Rate(b.s.perTurn*(meant+b.s.slips[len(b.turned)])))
	b.turned = append(b.turned, regulating.Turning{At: at, Part: regulating.TimingScrews, TurnsOut: meant, TurnsKnown: true})
	b.history.Events = append(b.history.Events, rating.Event{At: at, Kind: rating.Regulated})
	if n := len(b.history.Events); n > 1 { // what came before the last turning but one is no longer reckoned
		b.events = n - 1
		for b.history.Readings[b.from].At.Before(b.history.Events[n-2].At) {
			b.from++
		}
	}
	b.at = at.Add(time.Minute)
	r := float64(b.inst.Rate(b.at))
	b.read()
	return r
}

// stretches lays the mean rates of the runs lately reckoned beside the turnings.
func (b *bench) stretches(r rating.Rating) []regulating.Turning {
	all := b.turned
	for _, run := range r.Runs {
		if !run.Known {
			continue
		}
		s := &regulating.Stretch{From: run.From, To: run.To, RateSPerDay: run.Rate.Mean, SDS: run.Rate.SD}
		for i := range all {
			switch {
			case !run.To.After(all[i].At) && (i == 0 || run.From.After(all[i-1].At)):
				all[i].Before = s
			case run.From.After(all[i].At) && (i+1 == len(all) || !run.From.After(all[i+1].At)):
				all[i].After = s
			}
		}
	}
	return all
}

// byAdvice regulates as advised and goes on, advised or not, until the true
// rate is as done wants it: the umpire knows it, the keeper does not.
func byAdvice(t *testing.T, s specimen, kind regulating.Prior, step float64, done func(rate float64) bool) regulation {
	b := newBench(s)
	b.compare(firstDays)
	var out regulation
	waited := firstDays
	for len(out.rates) < mostTurnings {
		r := b.rate(t)
		model := regulating.Usual(regulating.TimingScrews)
		model.Hand.Step, model.Prior = step, kind
		model.Noise = statespace.Noise{SigmaW: r.Noise.SigmaW, SigmaR: r.Noise.SigmaR}
		effect := regulating.Learn(regulating.TimingScrews, b.stretches(r), model)
		now := regulating.Estimate(r.Rate)
		a := regulating.Advise(now, effect, regulating.UsualWish(), regulating.Measuring{Noise: model.Noise, ReadingSDS: 0.1})
		if !a.Turn && a.CompareDays > 0 && waited < 30 {
			b.compare(a.CompareDays)
			waited += a.CompareDays
			continue
		}
		out.advised = append(out.advised, a.Turn)
		u, compare := a.TurnsOut, a.CompareDays
		if !a.Turn {
			u, compare = a.Best, 7
		}
		out.waits, out.days = append(out.waits, waited), append(out.days, b.day)
		if a.Turn {
			out.predict = append(out.predict, a.Expect)
		} else {
			out.predict = append(out.predict, regulating.Estimate{SD: math.NaN()})
		}
		out.rates = append(out.rates, b.turn(u))
		out.turns = append(out.turns, u)
		if done(out.rates[len(out.rates)-1]) {
			break
		}
		b.compare(compare)
		waited = compare
	}
	return out
}

// byThumb regulates with one effect for all instruments, the median of the
// population, after as many days before each turning.
func byThumb(t *testing.T, s specimen, median, step float64, waits []int, done func(rate float64) bool) regulation {
	b := newBench(s)
	var out regulation
	for len(out.rates) < mostTurnings {
		wait := waits[min(len(out.rates), len(waits)-1)]
		b.compare(wait)
		r := b.rate(t)
		u := (-0.75 - r.Rate.Mean) / median
		if cut := math.Round(u/step) * step; cut != 0 {
			u = cut
		}
		out.days, out.waits = append(out.days, b.day), append(out.waits, wait)
		out.rates = append(out.rates, b.turn(u))
		if done(out.rates[len(out.rates)-1]) {
			break
		}
	}
	return out
}

// tally is what a keeper's regulations came to.
type tally struct {
	turnings, days, reached int
	counts                  []int
}

func (f *tally) add(r regulation, done func(float64) bool) {
	n := len(r.rates)
	f.turnings += n
	f.days += r.days[n-1]
	f.counts = append(f.counts, n)
	if done(r.rates[n-1]) {
		f.reached++
	}
}

// by returns how many in a hundred were there after n turnings.
func (f *tally) by(n int) float64 {
	k := 0
	for _, c := range f.counts {
		if c <= n {
			k++
		}
	}
	return 100 * float64(k) / float64(len(f.counts))
}

// TestRegulations regulates 300 instruments by advice, and again by one effect
// for all after as many days before each turning. Both have the same estimate
// of the rate and know the median effect of the kind; what differs is that one
// learns. A regulation is done
// when the true rate just after a turning is as wanted, which an umpire sees and
// neither keeper does; it is given up after 12 turnings, which count.
//
// A hand that errs by a sixtieth of a turn misses by 0.33 s/d with screws of 20
// s/d per turn: 0.1 s/d is then reached by luck, one turning in four, whoever
// reckons. Hence the wish itself (−1 to −0.5) as a first measure, and fine
// screws as a third.
func TestRegulations(t *testing.T) {
	t.Parallel()
	band := func(r float64) bool { return r >= -1 && r <= -0.5 }
	tenth := func(r float64) bool { return math.Abs(r+0.75) <= 0.1 }
	about20 := regulating.Prior{Median: -20, Factor: math.Exp(1.96 * 0.5)}
	// The mean and the standard deviation of the logarithm of a number uniform
	// from 5 to 20 are ln 11.7 and 0.38.
	fine := regulating.Prior{Median: -11.7, Factor: math.Exp(1.96 * 0.38)}
	for _, v := range []struct {
		what string
		n    int
		kind regulating.Prior
		step float64
		done func(float64) bool
		most float64 // ratio of mean turnings
	}{
		{"within the wish, screws about 20 s/d per turn", 300, about20, 1.0 / 40, band, 0.7},
		{"within 0.1 s/d of the aim, fine screws 5 to 20", 300, fine, 1.0 / 160, tenth, 0.85},
		{"within 0.1 s/d of the aim, screws about 20", 300, about20, 1.0 / 160, tenth, 0.85},
	} {
		t.Run(v.what, func(t *testing.T) {
			t.Parallel()
			var ours, thumb tally
			var next foresight
			for _, s := range specimens(20270104, v.n, v.kind == fine) {
				a := byAdvice(t, s, v.kind, v.step, v.done)
				b := byThumb(t, s, v.kind.Median, v.step, a.waits, v.done)
				ours.add(a, v.done)
				thumb.add(b, v.done)
				next.add(a)
			}
			ratio := float64(ours.turnings) / float64(thumb.turnings)
			for _, k := range []struct {
				who string
				f   tally
			}{{"by advice", ours}, {"by thumb", thumb}} {
				t.Logf("%s: %.2f turnings, %.1f days; there after 1, 2, 3, 5 turnings: %.0f, %.0f, %.0f, %.0f in 100; given up %d",
					k.who, float64(k.f.turnings)/float64(v.n), float64(k.f.days)/float64(v.n), k.f.by(1), k.f.by(2), k.f.by(3), k.f.by(5), v.n-k.f.reached)
			}
			t.Logf("ratio of turnings %.3f, of days %.3f", ratio, float64(ours.days)/float64(thumb.days))
			if ratio > v.most {
				t.Errorf("ratio of turnings %.3f, want at most %.2f", ratio, v.most)
			}
			next.judge(t)
		})
	}
}

// foresight counts how often the rate after an advised turning lay where it was
// foretold.
type foresight struct {
	all, inside, first, insideFirst int
	square                          float64
}

func (f *foresight) add(r regulation) {
	for i, p := range r.predict {
		if !r.advised[i] {
			continue
		}
		in := 0
		if p.Lo95 <= r.rates[i] && r.rates[i] <= p.Hi95 {
			in = 1
		}
		f.all++
		f.inside += in
		if i == 0 {
			f.first++
			f.insideFirst += in
		}
		f.square += (r.rates[i] - p.Mean) * (r.rates[i] - p.Mean) / (p.SD * p.SD)
	}
}

// judge fails unless 93 to 97% lay inside.
func (f *foresight) judge(t *testing.T) {
	t.Helper()
	n := float64(f.all)
	covered := float64(f.inside) / n
	t.Logf("new rate inside its 95%% interval: %.1f%% of %d (of first turnings %.1f%% of %d); rms of miss over sd %.2f",
		100*covered, f.all, 100*float64(f.insideFirst)/float64(f.first), f.first, math.Sqrt(f.square/n))
	if covered < 0.93 || covered > 0.97 {
		t.Errorf("%.1f%% of new rates inside their interval, want 93 to 97", 100*covered)
	}
}

// TestLeftAlone regulates by advice alone until the advice is to leave it, and
// holds the rate then against the stated probability of lying within the wish.
func TestLeftAlone(t *testing.T) {
	t.Parallel()
	const n = 100
	stated, inside, turnings, days, advised := 0.0, 0, 0, 0, 0
	for _, s := range specimens(19, n, false) {
		b := newBench(s)
		b.compare(firstDays)
		for {
			r := b.rate(t)
			model := regulating.Usual(regulating.TimingScrews)
			model.Noise = statespace.Noise{SigmaW: r.Noise.SigmaW, SigmaR: r.Noise.SigmaR}
			effect := regulating.Learn(regulating.TimingScrews, b.stretches(r), model)
			a := regulating.Advise(regulating.Estimate(r.Rate), effect, regulating.UsualWish(), regulating.Measuring{Noise: model.Noise, ReadingSDS: 0.1})
			if a.Turn && len(b.turned) < mostTurnings {
				b.turn(a.TurnsOut)
			} else if a.CompareDays == 0 || b.day > 200 {
				stated += a.Now
				if rate := float64(b.inst.Rate(b.at)); rate >= -1 && rate <= -0.5 {
					inside++
				}
				if a.CompareDays == 0 && !a.Turn {
					advised++
				}
				break
			}
			b.compare(a.CompareDays)
		}
		turnings += len(b.turned)
		days += b.day
	}
	t.Logf("left alone by advice: %d of %d, after %.2f turnings and %.1f days; within the wish %d, by the stated probabilities %.1f", advised, n, float64(turnings)/n, float64(days)/n, inside, stated)
	if advised < n-2 {
		t.Errorf("only %d of %d came to an end", advised, n)
	}
	if sd := math.Sqrt(stated * (1 - stated/n)); math.Abs(float64(inside)-stated) > 2.6*sd {
		t.Errorf("%d lay within the wish, %.1f ± %.1f were to be expected", inside, stated, sd)
	}
}
