package regulating

import (
	"fmt"
	"math"

	"timeball/internal/statespace"
)

// Wish is the rate that is wanted.
type Wish struct {
	Aim      float64 // s/d; s/d per °C for weights
	From, To float64 // between which it will do, From < To
}

// UsualWish returns the rate a chronometer is regulated to: losing half a second
// to a second a day, so that corrections add (chronometerbook.com, rating page,
// for a small losing rate; the size is common practice, no source).
func UsualWish() Wish { return Wish{Aim: -0.75, From: -1, To: -0.5} }

// UsualWeightsWish returns the temperature coefficient that the weights are
// moved for: none, to 0.03 s/d per °C (common practice, no source).
func UsualWeightsWish() Wish { return Wish{From: -0.03, To: 0.03} }

func (w Wish) valid(usual Wish) Wish {
	if !finite(w.Aim, w.From, w.To) || !(w.From < w.To) || w.Aim < w.From || w.Aim > w.To {
		return usual
	}
	return w
}

// Measuring is how the rate will be measured after a turning. A nought stands
// for the usual.
type Measuring struct {
	Noise      statespace.Noise // of the instrument; usual 0.2 and 0.02
	ReadingSDS float64          // of a daily comparison, s; usual 0.1
	BeatS      float64          // between the beats heard, s; usual 0.5
	JitterS    float64          // scatter of one beat heard, s; usual 0.0005
	HeardSDS   float64          // as Model.HeardSDS; usual 0.3 s/d
}

func (m Measuring) valid() Measuring {
	usual := func(x *float64, value float64) {
		if !(*x > 0) || !finite(*x) {
			*x = value
		}
	}
	if m.Noise = validNoise(m.Noise); m.Noise == (statespace.Noise{}) {
		m.Noise = statespace.Noise{SigmaW: 0.2, SigmaR: 0.02}
	}
	usual(&m.ReadingSDS, 0.1)
	usual(&m.BeatS, 0.5)
	usual(&m.JitterS, 0.0005)
	usual(&m.HeardSDS, UsualHeardSDS)
	return m
}

// Advice says whether to turn, how much, and what will come of it.
type Advice struct {
	Turn     bool
	TurnsOut float64 // of each of the pair, in whole steps of the hand; 0 if Turn is false
	Best     float64 // the turn of least expected squared miss, uncut, even if it is not worth making
	Words    string  // what to do with the screws

	Now       float64  // probability that the rate lies within the wish as it is
	Expect    Estimate // the rate once it is done, or as it is if nothing is turned
	Within    float64  // probability that Expect lies within the wish
	ExpectRMS float64  // root mean square distance of Expect from the aim

	// CompareDays is how many days of daily comparisons it takes before it is
	// worth turning: after this turning, one comparison on the day itself
	// included, or further ones if this is a time to wait; 0 if nothing is due.
	CompareDays int

	// ListenS is for how long to listen, just before and just after the turning
	// and with the same device, to hear what it did; HeardSDS is how well that
	// is then known, s/d, and HeardWillDo whether that is enough to turn again at
	// once: the next turning would bring it three times nearer.
	ListenS     float64
	HeardSDS    float64
	HeardWillDo bool

	Worth    string   // why to turn, or why to wait
	Warnings []string // sentences that must be read
}

// The least and the most comparisons after a turning: three leave no misreading
// to be found, and after a fortnight daily ones tell hardly more of the rate.
const (
	leastComparisons = 4
	mostComparisons  = 15
)

// Advise returns what to turn so that a rate known as now comes nearest to the
// wish. With a mixture of effects b, turn u leaves the expected squared miss
// E[(now − aim + b u)²], least at u = (aim − now) E[b] / E[b²], which is less
// than the plain quotient while the effect is unsure. Only timing screws and
// nuts regulate a rate.
func Advise(now Estimate, e Effect, wish Wish, m Measuring) Advice {
	m = m.valid()
	if !e.Part.regulates() {
		a := asItIs(now, wish.valid(UsualWish()))
		a.Words = "leave the balance as it is"
		a.Worth = fmt.Sprintf("A rate is regulated with timing screws or nuts, in equal and opposite turns, not with the part named here (%s).", e.Part)
		if e.Part == RimWeights {
			a.Worth = "Weights of the rim are moved for the compensation; the rate itself is regulated with timing screws or nuts."
		}
		return a
	}
	return advise(question{now: now, effect: e, wish: wish.valid(UsualWish()), measuring: m, unit: rates(e.Part), days: true})
}

// AdviseWeights returns how far to move both weights so that a temperature
// coefficient known as now, s/d per °C, comes nearest to the wish. Effect is
// that of Compensation. Comparisons and listening do not enter: it takes a new
// trial in warmth and cold to see what was done.
func AdviseWeights(now Estimate, e Effect, wish Wish) Advice {
	a := advise(question{now: now, effect: e, wish: wish.valid(UsualWeightsWish()), unit: coefficients})
	if a.Turn {
		a.Warnings = append(a.Warnings,
			"Moving weights changes the mean rate and may disturb the poise: regulate again afterwards, then rate it anew in warmth and cold.",
			"Between two temperatures that agree it still gains a little, and outside them it loses: weights do not cure that.")
	}
	return a
}

// question is what advise is asked.
type question struct {
	now       Estimate
	effect    Effect
	wish      Wish
	measuring Measuring
	unit      unit
	days      bool    // comparisons and listening can tell
	perMiss   float64 // turns for each s/d that the rate lies above the aim
}

// counted returns the best turn from a rate of mean, in whole steps.
func (q question) counted(mean float64) float64 {
	step := q.effect.Hand.Step
	return math.Round((mean-q.wish.Aim)*q.perMiss/step) * step
}

func asItIs(now Estimate, w Wish) Advice {
	if !known(now) {
		return Advice{Expect: now}
	}
	p := within(normals{{now.Mean, now.SD, 1}}, w)
	return Advice{Expect: now, Now: p, Within: p, ExpectRMS: math.Hypot(now.Mean-w.Aim, now.SD)}
}

// known reports whether an estimate can be reckoned with.
func known(now Estimate) bool { return finite(now.Mean, now.SD) && now.SD > 0 }

func within(m normals, w Wish) float64 {
	return math.Min(1, math.Max(0, m.below(w.To)-m.below(w.From)))
}

// lands returns the rate after a turn of u from a rate known as mean to sd.
func (q question) lands(u, mean, sd float64) normals {
	out := make(normals, len(q.effect.nodes))
	for i, n := range q.effect.nodes {
		out[i].mean = mean + n.b*u
		out[i].sd = math.Sqrt(sd*sd + sq(n.b*n.play) + sq(n.cell*u))
		out[i].weight = n.weight
	}
	return out
}

// rms returns the root mean square distance from the aim after a turn of u.
func (q question) rms(u, sd float64) float64 {
	miss := q.now.Mean - q.wish.Aim
	return math.Sqrt(sd*sd + q.effect.mean(func(n node) float64 { return sq(miss+n.b*u) + sq(n.b*n.play) }))
}

func advise(q question) Advice {
	a := asItIs(q.now, q.wish)
	a.Words = q.unit.leave
	switch {
	case !known(q.now):
		a.Worth = q.unit.title + " is not known, or has no doubt beside it: measure it first."
		if q.days {
			a.CompareDays = 7
			a.Worth = "The rate is not known, or has no doubt beside it: compare it daily for a week first."
		}
		return a
	case len(q.effect.nodes) == 0:
		a.Worth = "What a turn does is not known: learn it from the turnings first."
		return a
	}
	b, bb := q.effect.mean(func(n node) float64 { return n.b }), q.effect.mean(func(n node) float64 { return n.b * n.b })
	if bb > 0 {
		q.perMiss = -b / bb
	}
	a.Best = (q.now.Mean - q.wish.Aim) * q.perMiss
	u, step := q.counted(q.now.Mean), q.effect.Hand.Step
	if wait := q.wait(); wait > 0 {
		a.CompareDays = wait
		a.Worth = fmt.Sprintf("Wait: the rate is known only to ±%s, too little to tell whether to turn or how much. %s more of daily comparisons will tell.",
			q.unit.size(z95*q.now.SD), days(wait))
		return a
	}
	if no := q.notWorth(a, u); no != "" {
		a.Worth = no
		return a
	}
	before := a.Now
	m := q.lands(u, q.now.Mean, q.now.SD)
	a.Turn, a.TurnsOut = true, u
	a.Words = q.unit.turn(u, step)
	a.Expect, a.Within, a.ExpectRMS = m.estimate(), within(m, q.wish), q.rms(u, q.now.SD)
	a.Worth = fmt.Sprintf("Worth turning: chances of lying within the wish rise from %s to %s.", inHundred(before), inHundred(a.Within))
	if a.Within < before+gain {
		a.Worth = fmt.Sprintf("Worth turning: it will probably lie within %s of the aim, from %s now; the next turning, with what this one teaches, comes nearer.",
			q.unit.size(a.ExpectRMS), q.unit.size(q.rms0()))
	}
	if q.days {
		q.measure(&a, b)
	}
	q.warn(&a)
	return a
}

// rms0 returns the root mean square distance from the aim as it is.
func (q question) rms0() float64 { return math.Hypot(q.now.Mean-q.wish.Aim, q.now.SD) }

// Rules of worth, common practice without a source: a turning stops a going
// instrument, so it must raise the probability of lying within the wish by gain,
// or bring the rate nearer to the aim by a third; and a probability of sure is
// left alone.
const (
	gain   = 0.1
	nearer = 2.0 / 3
	sure   = 0.8
)

// worth reports whether a turn of u is worth making with the rate known to sd.
func (q question) worth(u, sd float64) bool {
	if u == 0 {
		return false
	}
	now := within(normals{{q.now.Mean, sd, 1}}, q.wish)
	if now >= sure {
		return false
	}
	return within(q.lands(u, q.now.Mean, sd), q.wish) >= now+gain || q.rms(u, sd) < nearer*math.Hypot(q.now.Mean-q.wish.Aim, sd)
}

// notWorth says why not to turn, or nothing.
func (q question) notWorth(a Advice, u float64) string {
	switch {
	case q.worth(u, q.now.SD):
		return ""
	case a.Now >= sure:
		return fmt.Sprintf("Leave it: it lies within the wish (%s in its favour).", inHundred(a.Now))
	case u == 0:
		return fmt.Sprintf("Leave it: what is missing is less than half the least turn that is counted (%s).", q.unit.size(math.Abs(q.effect.PerTurn.Mean)*q.effect.Hand.Step/2))
	}
	return fmt.Sprintf("Leave it: a hand sets the pair to about %s, so that a turning would as likely take it out of the wish as into it (%s as it is, %s after a turn).",
		q.unit.size(q.effect.PlaySDS), inHundred(a.Now), inHundred(within(q.lands(u, q.now.Mean, q.now.SD), q.wish)))
}

// reach returns the greater probability of lying within the wish, turned or
// left, from a rate known as mean to sd.
func (q question) reach(mean, sd float64) float64 {
	p := within(normals{{mean, sd, 1}}, q.wish)
	if u := q.counted(mean); u != 0 && p < sure {
		p = math.Max(p, within(q.lands(u, mean, sd), q.wish))
	}
	return p
}

// informed returns reach as it is to be expected once the rate is known to sd:
// the mean over what it may then turn out to be, in fifteen equal steps from
// −2.8 to 2.8 standard deviations of that.
func (q question) informed(sd float64) float64 {
	spread := math.Sqrt(math.Max(0, sq(q.now.SD)-sd*sd))
	sum, weights := 0.0, 0.0
	for k := -7; k <= 7; k++ {
		z := 0.4 * float64(k)
		w := math.Exp(-z * z / 2)
		sum += w * q.reach(q.now.Mean+z*spread, sd)
		weights += w
	}
	return sum / weights
}

// wait returns for how many more days to compare first: until nine tenths of
// what comparing can add to the probability of lying within the wish are had. It
// is 0 if that is not worth it, as far from the aim, where the effect is in
// doubt and not the rate.
func (q question) wait() int {
	if !q.days {
		return 0
	}
	doubts := q.doubts()
	best := doubts[mostComparisons]
	if best >= 0.9*q.now.SD || within(normals{{q.now.Mean, q.now.SD, 1}}, q.wish) >= sure {
		return 0
	}
	now, most := q.reach(q.now.Mean, q.now.SD), q.informed(best)
	if most < now+gain {
		return 0
	}
	had := mostComparisons - 1
	for n, d := range doubts[:had] {
		if d <= q.now.SD {
			had = n
			break
		}
	}
	for n := had + 1; n < mostComparisons; n++ {
		if doubts[n] < q.now.SD && q.informed(doubts[n]) >= now+0.9*(most-now) {
			return n - had
		}
	}
	return mostComparisons - had
}

// doubts returns RateDoubt for every number of comparisons up to the most.
func (q question) doubts() [mostComparisons + 1]float64 {
	var all [mostComparisons + 1]float64
	for n := range all {
		all[n] = RateDoubt(n, 1, q.measuring.Noise, q.measuring.ReadingSDS)
	}
	return all
}

// measure fills in how long to compare or listen before the next turning: until
// more would hardly bring the next landing nearer. The variance of that landing
// is that of the rate, of the hand, and of this turning's miss times the
// relative variance of the effect as this turning will have taught it.
func (q question) measure(a *Advice, b float64) {
	hand := q.effect.PlaySDS
	change := b * a.TurnsOut
	prior := sq(q.effect.PerTurn.SD / b)
	next := func(sd float64) float64 {
		taught := (sd*sd + sq(q.now.SD) + hand*hand) / sq(change)
		return sd*sd + hand*hand + sq(a.Expect.SD)/(1/taught+1/prior)
	}
	doubts := q.doubts()
	enough := 1.2 * next(doubts[mostComparisons])
	n := leastComparisons
	for n < mostComparisons && next(doubts[n]) > enough {
		n++
	}
	a.CompareDays = n
	a.ListenS = math.Max(60, math.Ceil(ListenFor(q.measuring.HeardSDS/3, q.measuring.BeatS, q.measuring.JitterS)/30)*30)
	heard := math.Hypot(q.measuring.HeardSDS, q.measuring.HeardSDS/3) * math.Sqrt2
	a.HeardSDS = math.Hypot(heard, q.now.SD)
	a.HeardWillDo = next(a.HeardSDS) <= sq(a.ExpectRMS/3)
}

// warn adds what must be read with a turn.
func (q question) warn(a *Advice) {
	if q.days && math.Abs(a.TurnsOut) > 1 {
		a.Warnings = append(a.Warnings, "More than a full turn: look first whether the screws have thread left and clear all about them; so large a rate may have another cause (spring, magnetism, dirt), which is found before a screw is turned.")
	}
	if !q.effect.Own {
		a.Warnings = append(a.Warnings, "The effect is hardly known on this instrument: this turning is taken rather small, and teaches it.")
	}
}
