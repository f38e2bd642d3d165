// Package fold folds the power of a sound at many periods, to find the one at
// which it repeats. Periods and steps are in seconds.
package fold

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"

	"timeball/internal/robust"
)

// The periods that are tried, and the rules of that, from trials with recordings of known truth.
const (
	LeastPeriodS = 0.15
	MostPeriodS  = 2.4
	StepS        = 0.002 // of a curve
	mostDriftS   = 0.003 // between trials, over the whole of a curve
)

// Found is a regular beat seen in the power of the sound.
type Found struct {
	PeriodS float64 // between beats that fall on the same place of the fold
	PhaseS  float64 // of the largest place, s after the beginning of the stretch
	Score   float64 // by how many deviations it stands out of the fold
}

// Curve is how far the power stands out of its floor, in steps of StepS or so.
type Curve struct {
	Y     []float64
	StepS float64
}

// Seconds returns the length of the curve, s.
func (f Curve) Seconds() float64 { return float64(len(f.Y)) * f.StepS }

// Best returns the period within share of periodS at which the fold stands out
// most: stretches of about a second are folded once and then shifted against
// each other.
func (f Curve) Best(periodS, share float64) Found {
	n := max(8, int(math.Round(periodS/f.StepS)))
	total := f.Seconds()
	turns := max(1, int(math.Round(1/periodS)))
	stretchS := float64(turns) * periodS
	stretches := int(total / stretchS)
	if stretches < 2 {
		return Found{}
	}
	parts := make([][]float64, stretches)
	bins := float64(n)
	for j := range parts {
		p := make([]float64, n)
		count := make([]float64, n)
		startS := float64(j) * stretchS
		first, last := int(math.Ceil(startS/f.StepS)), min(len(f.Y), int((startS+stretchS)/f.StepS))
		for i := first; i < last; i++ {
			ph := (float64(i)*f.StepS - startS) / periodS
			k := int((ph-math.Floor(ph))*bins) % n
			p[k] += f.Y[i]
			count[k]++
		}
		for k := range p {
			if count[k] > 0 {
				p[k] /= count[k]
			}
		}
		parts[j] = p
	}
	step := mostDriftS / total // relative
	if share < step {
		step = share
	}
	reach := 0
	if share > 0 {
		reach = int(math.Ceil(share / step))
	}
	sum := make([]float64, n)
	whole := foldParts(parts, f.StepS/float64(turns), periodS)
	fold := func(r int) float64 {
		trial := periodS * (1 + float64(r)*step)
		whole.at(sum, trial)
		return trial
	}
	// Quickly first: the few trials that stand out most are then looked at well.
	type trial struct {
		r     int
		rough float64
		wide  float64
	}
	trials := make([]trial, 0, 2*reach+1)
	for r := -reach; r <= reach; r++ {
		fold(r)
		trials = append(trials, trial{r, roughly(sum), uneven(sum)})
	}
	slices.SortFunc(trials, func(a, b trial) int { return cmp.Compare(b.rough, a.rough) })
	var best Found
	for _, t := range trials[:min(len(trials), 6)] {
		p := fold(t.r)
		if score, at := standsOut(sum); score > best.Score {
			best = Found{PeriodS: p, PhaseS: (float64(at) + 0.5) * f.StepS, Score: score}
		}
	}
	if stretches <= fewStretches && share > 0 {
		// One loud beat can make the highest place of a few; how uneven the whole
		// fold is takes all of them.
		top := trials[0]
		for _, t := range trials {
			if t.rough >= 0.5*trials[0].rough && t.wide > top.wide {
				top = t
			}
		}
		if p := periodS * (1 + float64(top.r)*step); p != best.PeriodS {
			return f.Best(p, 0)
		}
	}
	return best
}

// folds are the folded stretches of a curve, laid together eight by eight at a
// period near the one that is tried, so that trying many of the whole is quick.
type folds struct {
	parts  [][]float64 // one stretch each
	groups [][]float64 // eight laid together, at the period of now
	now    int         // in steps
	perBin float64     // seconds by which the period must be longer for the next stretch to be a bin late
	period float64     // at which the stretches were folded
	step   float64     // s; over a group half a bin of drift may be left
}

const stretchesOf = 8

func foldParts(parts [][]float64, perBin, periodS float64) *folds {
	w := &folds{parts: parts, perBin: perBin, period: periodS, step: perBin / 2 / stretchesOf, now: math.MinInt}
	if len(parts) >= 4*stretchesOf {
		for range len(parts) / stretchesOf {
			w.groups = append(w.groups, make([]float64, len(parts[0])))
		}
	}
	return w
}

// lay lays the groups together at a period of so many steps.
func (w *folds) lay(steps int) {
	w.now = steps
	for g, sum := range w.groups {
		clear(sum)
		for j, p := range w.parts[g*stretchesOf : (g+1)*stretchesOf] {
			addTurned(sum, p, w.late(j, float64(steps)*w.step, len(p)))
		}
	}
}

// late returns by how many bins stretch j is late if the period is longer by so
// many seconds, modulo the fold of n.
func (w *folds) late(j int, longerS float64, n int) int {
	s := int(math.Round(float64(j)*longerS/w.perBin)) % n
	if s < 0 {
		s += n
	}
	return s
}

// at writes the fold at a period to sum.
func (w *folds) at(sum []float64, periodS float64) {
	clear(sum)
	n := len(sum)
	longer := periodS - w.period
	if steps := int(math.Round(longer / w.step)); w.groups != nil && steps != w.now {
		w.lay(steps)
	}
	for g, group := range w.groups {
		addTurned(sum, group, w.late(g*stretchesOf, longer, n))
	}
	done := len(w.groups) * stretchesOf
	for j := done; j < len(w.parts); j++ {
		addTurned(sum, w.parts[j], w.late(j, longer, n))
	}
}

// fewStretches is how many seconds are few.
const fewStretches = 30

// uneven returns the scatter of a fold, smoothed over 6 ms.
func uneven(p []float64) float64 {
	n := len(p)
	var sum, sum2 float64
	for i := range p {
		v := p[(i+n-1)%n] + p[i] + p[(i+1)%n]
		sum += v
		sum2 += v * v
	}
	return sum2/float64(n) - sum*sum/float64(n)/float64(n)
}

// addTurned adds p, begun at place s, to sum.
func addTurned(sum, p []float64, s int) {
	for i, v := range p[s:] {
		sum[i] += v
	}
	rest := len(p) - s
	for i, v := range p[:s] {
		sum[rest+i] += v
	}
}

// roughly returns by how many standard deviations the highest place of a fold
// stands above its mean: quicker to know than standsOut, to leave out trials.
func roughly(p []float64) float64 {
	var sum, sum2 float64
	top := p[0]
	for _, v := range p {
		sum += v
		sum2 += v * v
		top = max(top, v)
	}
	n := float64(len(p))
	m := sum / n
	v := sum2/n - m*m
	if v <= 0 {
		return 0
	}
	return (top - m) / math.Sqrt(v)
}

// standsOut returns by how many robust deviations the highest place of a fold
// stands above its middle, and where it is.
func standsOut(p []float64) (score float64, at int) {
	m := robust.Median(p)
	s := robust.Spread(p, m)
	for i, v := range p {
		if v > p[at] {
			at = i
		}
	}
	if s <= 0 {
		return 0, at
	}
	return (p[at] - m) / s, at
}

// Repeats returns the periods at which the curve looks like itself, the best
// first: the mean of its autocorrelation at the multiples of a period.
func (f Curve) Repeats(most int) []float64 {
	y := f.Y[:min(len(f.Y), int(60/f.StepS))]
	n := 1
	for n < 2*len(y) {
		n *= 2
	}
	fft := fourier.NewFFT(n)
	padded := make([]float64, n)
	copy(padded, y)
	c := fft.Coefficients(nil, padded)
	for i, v := range c {
		c[i] = complex(real(v)*real(v)+imag(v)*imag(v), 0)
	}
	acf := fft.Sequence(nil, c)
	reachS := min(20, float64(len(y))*f.StepS*0.6)
	lags := acf[:int(reachS/f.StepS)+2]
	for i := range lags {
		lags[i] /= float64(len(y) - i)
	}
	if lags[0] <= 0 {
		return nil
	}
	score := func(periodS float64) float64 {
		m := int(reachS / periodS)
		if m < 2 {
			return 0
		}
		m = min(m, 40)
		sum := 0.0
		for k := 1; k <= m; k++ {
			at := float64(k) * periodS / f.StepS
			i := int(at)
			sum += lags[i] + (at-float64(i))*(lags[i+1]-lags[i])
		}
		return sum / float64(m) / lags[0]
	}
	type peak struct{ periodS, score float64 }
	var peaks []peak
	step := 0.5 * f.StepS / reachS
	before, here := 0.0, score(LeastPeriodS)
	for p := LeastPeriodS; p < MostPeriodS; p *= 1 + step {
		next := score(p * (1 + step))
		if here >= before && here > next && here > 0.01 {
			peaks = append(peaks, peak{p, here})
		}
		before, here = here, next
	}
	slices.SortFunc(peaks, func(a, b peak) int {
		if a.score > b.score {
			return -1
		}
		return 1
	})
	var out []float64
	for _, p := range peaks {
		if len(out) < most && !slices.ContainsFunc(out, func(o float64) bool { return math.Abs(o/p.periodS-1) < 0.004 }) {
			out = append(out, p.periodS)
		}
	}
	return out
}
