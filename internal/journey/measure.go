package journey

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/clock"
	"timeball/internal/rating"
	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// The standard deviations of the priors of what is asked for: wide, so that the
// answer is not shrunk.
const (
	testedSD = 10.0 // of a change of rate, s/d
	bendSD   = 1.0  // of a rate that changes every day, s/d²
)

// warmthSD is the standard deviation of what an unknown temperature on the way
// does to the rate, s/d: 5 °C at the 0.06 s/d per °C that the rating takes for
// usual.
const warmthSD = 5 * 0.06

// measure rates before and after, takes the planned looks and gives the verdict.
func (f *Finding) measure(x *journey) error {
	was, err := rating.Test(x.upTo(0), nil)
	if err != nil {
		return err
	}
	f.RateBefore, f.Tempered = &was.Rate, was.Tempered
	noise, sd := known(was.Noise)
	last := x.before[len(x.before)-1]
	f.Main = mainDay(x.since(x.before), timescale.Days(last, x.Arrived)+0.5, sd, noise, f.Wish)
	on := lookDays[:]
	if x.FoundStopped {
		on = on[slices.Index(on, usualMain):]
		f.Main = max(f.Main, usualMain) // unsettled until then
	}
	planned := looks(on, f.Main, leastLook, x.Arrived, x.after)
	for _, l := range planned {
		if l.n == 0 {
			f.Next = timescale.AddDays(x.Arrived, float64(l.day))
			if n := len(x.after); n > 0 && x.after[n-1].After(f.Next) {
				f.Next = x.after[n-1]
			}
			break
		}
	}
	var s shown
	if len(x.after) >= fewest {
		now, err := x.test(len(x.after))
		if err != nil {
			return err
		}
		noise, sd = known(now.tested.Noise)
		f.RateBefore, f.RateAfter, f.RateNow = &now.change.Before, &now.change.After, &now.tested.Rate
		f.Aside = now.tested.Aside
		f.Change, f.P, f.Jump = &now.change.Size, now.change.P, now.jump
		f.Smallest = seen(mainAlpha) * f.Change.SD
		if s, err = f.judge(x, planned, now); err != nil {
			return err
		}
	}
	f.need(x, noise, sd)
	f.speak(x, s)
	return nil
}

// known returns the noise as if it were known, and the standard deviation of a
// comparison, s.
func known(n rating.Noise) (statespace.Noise, float64) {
	return statespace.Noise{SigmaW: n.SigmaW, SigmaR: n.SigmaR}, n.Kappa * n.SDS
}

// result is one test of the journey.
type result struct {
	tested rating.Tested
	change rating.Found
	jump   *rating.Interval
	jumpP  float64
}

// test tests the journey with the first n comparisons after it. The error steps
// as well as the rate, freely even if it went all the way: a prior of ordinary
// steps would throw out the comparisons after a jump of fifty seconds, or bend
// the rate to meet them.
func (x *journey) test(n int) (result, error) {
	t, err := rating.Test(x.upTo(n), []rating.Effect{
		{At: x.middle, On: rating.OnError, SD: math.Inf(1)},
		{At: x.middle, On: rating.OnRate, SD: testedSD},
	})
	if err != nil {
		return result{}, err
	}
	r := result{tested: t, change: t.Found[1], jumpP: 1}
	if !r.change.Known {
		return result{}, rating.ErrNotDetermined
	}
	if x.anew || !t.Found[0].Known {
		return r, nil
	}
	// When on the way the rate changed is not known: at either end of it the
	// jump differs by the change times half the way. Nor is how warm it was,
	// unless somebody read it.
	jump, days := t.Found[0].Size, timescale.Days(x.Left, x.Arrived)
	if !x.warmth {
		jump.Widen(warmthSD * days)
	}
	way := math.Abs(r.change.Size.Mean) * days
	z := math.Max(0, math.Abs(jump.Mean)-way/2) / jump.SD
	r.jumpP = math.Max(t.Found[0].P, 2*distuv.UnitNormal.Survival(z))
	jump.Widen(way / math.Sqrt(12))
	r.jump = &jump
	return r, nil
}

// shown is what the planned looks show, each with its chance in unharmed
// journeys.
type shown struct {
	change, jump, growth bool
	rate                 result  // the look that shows most
	changeChance         float64 // as Finding.Chance
	jumpChance           float64
	growthChance         float64
}

// judge takes the planned looks. The main one counts for good, and the last one
// until the next.
func (f *Finding) judge(x *journey, planned []look, now result) (shown, error) {
	s := shown{changeChance: 1, jumpChance: 1, growthChance: 1}
	last, ok := reached(planned)
	if !ok {
		return s, nil
	}
	f.Day, f.Through = last.day, x.after[last.n-1]
	for _, l := range planned {
		if l.n == 0 || l.n != last.n && !l.main {
			continue
		}
		r := now
		if l.n < len(x.after) {
			var err error
			if r, err = x.test(l.n); err != nil {
				return s, err
			}
		}
		if c := l.chance(r.change.P); c <= s.changeChance {
			s.changeChance, s.rate = c, r
		}
		s.jumpChance = math.Min(s.jumpChance, l.chance(r.jumpP))
	}
	s.change, s.jump = s.changeChance <= ChangeAlarms, s.jumpChance <= JumpAlarms
	growing, ok := reached(looks(growthDays[:], 0, leastGrowth, x.Arrived, x.after))
	if !ok {
		return s, nil
	}
	t, err := rating.Test(x.upTo(growing.n), []rating.Effect{
		{At: x.middle, On: rating.OnError, SD: math.Inf(1)},
		{At: x.middle, On: rating.OnRate, SD: testedSD},
		{At: x.after[0].Add(-time.Microsecond), On: rating.OnDrift, SD: bendSD},
	})
	if err != nil {
		return s, err
	}
	if g := t.Found[2]; g.Known {
		f.Growth = &g.Size
		p := g.P / 2 // one-sided: a loss that grows
		if g.Size.Mean > 0 {
			p = 1 - p
		}
		s.growthChance = growing.chance(p)
		s.growth = s.growthChance <= GrowthAlarms
	}
	return s, nil
}

// need says how many more daily comparisons let the wished change be seen, with
// the noise as it is thought to be now.
func (f *Finding) need(x *journey, noise statespace.Noise, sd float64) {
	gap := x.gap()
	wanted := f.Wish / seen(mainAlpha)
	f.Limit = seen(mainAlpha) * Daily{Noise: noise, GapDays: gap}.Limit()
	before, after := x.since(x.before), x.since(x.after)
	next := before[len(before)-1] + gap
	if n := len(after); n > 0 {
		next = after[n-1] + 1
	}
	wish := clock.Rate(f.Wish).Size(0.5)
	if f.Limit > f.Wish {
		f.Need = Need{Never: true, Why: "Never: its ordinary wandering is larger than a change of " + wish + " a day."}
		return
	}
	for more := range mostDays {
		if changeSD(before, append(after[:len(after):len(after)], days(next, more)...), sd, noise) <= wanted {
			f.Need.Days = more
			return
		}
	}
	f.Need = Need{Never: true, Why: "Never: the comparisons from before the journey are too few to show a change of " + wish + " a day."}
}
