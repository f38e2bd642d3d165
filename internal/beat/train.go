package beat

import (
	"math"
	"slices"

	"timeball/internal/dsp"
	"timeball/internal/fold"
	"timeball/internal/robust"
	"timeball/internal/trend"
)

// The window about a beat, s before and after its loudest place.
const (
	beforeS = 0.028
	afterS  = 0.016
)

// The rules of following beats.
const (
	faint      = 80.0   // energy over noise, 2E/N0, below which beats are taken in groups
	clearSum   = 80.0   // what a group of beats must reach together
	narrowS    = 0.0006 // how far from its prediction a beat is sought at first
	wideS      = 0.003  // and then
	mostGroup  = 24
	leastTrain = 4    // beats
	alikeFit   = 0.75 // beats less alike than this may be better timed by loudness
	mostShapes = 128  // beats from which the first shape is made
)

// stroke is one beat, or one group of faint beats, of a train.
type stroke = trend.Stroke

// train is the beats that follow one another at one place of the period, each
// timed by the shape they have in common.
type train struct {
	f       *front
	periodS float64
	startS  float64 // predicted time of beat 0, s of the filtered sound

	shape   []float64 // mean beat, beforeS before its reference place
	shapes  float64   // beats that made it
	from    int       // part of the shape that is worth correlating
	to      int
	energy  float64   // 2E/N0 of one beat
	loudest float64   // the same of the loudest tenth
	powers  []float64 // of the windows last weighed
	noise   float64   // variance of the noise of a sample
	group   int       // beats timed together
	least   float64   // correlation a beat must reach
	usual   float64   // correlation beats have
	strokes []stroke  // in order of time once settled
	silent  int       // beats that fell into dead silence
	segment int32

	parts map[int64]part // of the beats that the shape was first made of
	faded float64        // what is left of them in it

	back       []float64 // mean sound half a period later, from backS before
	backs      float64
	swings     []swing
	young      []float64 // mean of the newest beats
	youngs     float64
	nextSwing  int64
	everySwing int64

	soft    bool    // timed by loudness, not by the waves themselves
	spreadS float64 // of the first beats about their line

	window, corr   []float64
	smooth         []float64
	rest, own, one []float64
}

// part is what a beat gave to the shape: it must not be timed by itself, or its
// noise draws it to where it was.
type part struct {
	atS    float64 // where its reference was taken to be
	weight float64
}

// samples returns the number of samples of s seconds.
func (t *train) samples(s float64) int { return int(math.Round(s * t.f.rateHz)) }

// take reads the window of a beat whose reference is at atS of the filtered
// sound, with margin samples to both sides, and returns the part of a sample
// by which the first lies before the wanted place.
func (t *train) take(into []float64, atS float64, margin int) (fraction float64, whole bool) {
	p := (atS - beforeS) * t.f.rateHz
	first := math.Floor(p)
	whole = t.f.tape.Read(into, int64(first)-int64(margin))
	if t.soft {
		t.soften(into)
	}
	return p - first, whole
}

// soften turns a sound into its loudness, smoothed over some 0.4 ms: what beats
// of a rough movement still have in common when their tones differ.
func (t *train) soften(x []float64) {
	half := max(1, int(0.0001*t.f.rateHz+0.5))
	if cap(t.smooth) < len(x) {
		t.smooth = make([]float64, len(x))
	}
	y := t.smooth[:len(x)]
	box := func(out, in []float64) {
		sum := 0.0
		for i := -half; i < len(in); i++ {
			if j := i + half; j < len(in) {
				sum += in[j]
			}
			if j := i - half - 1; j >= 0 {
				sum -= in[j]
			}
			if i >= 0 {
				out[i] = sum / float64(2*half+1)
			}
		}
	}
	for i, v := range x {
		x[i] = math.Abs(v)
	}
	box(y, x)
	box(x, y)
	floor := math.Sqrt(t.noise) * 0.8 // the mean of |x| of noise
	for i := range x {
		x[i] -= floor
	}
}

// correlate returns by how many samples the shape lies later than the middle of
// the window, which is longer by margin on both sides, the height of the
// correlation there as a share of what is possible, and the level in that of
// the shape.
func (t *train) correlate(shape, window []float64, margin int) (lag, fit, level float64) {
	lags := 2*margin + 1
	if cap(t.corr) < lags {
		t.corr = make([]float64, lags)
	}
	c := t.corr[:lags]
	part := shape[t.from:t.to]
	own := 0.0
	for _, v := range part {
		own += v * v
	}
	if own == 0 {
		return 0, 0, 0
	}
	for l := range c {
		c[l] = dot(part, window[t.from+l:t.to+l])
	}
	best, top := 0.0, math.Inf(-1)
	peak := slices.Max(c)
	for l := range c {
		if c[l] < 0.6*peak || l > 0 && c[l] < c[l-1] || l+1 < lags && c[l] < c[l+1] {
			continue
		}
		at, h := dsp.Peak(c, l)
		if h > top {
			best, top = at, h
		}
	}
	if math.IsInf(top, -1) || top <= 0 {
		return 0, 0, 0
	}
	l := min(max(int(math.Round(best)), 0), lags-1)
	there := window[t.from+l : t.to+l]
	energy := dot(there, there)
	if energy == 0 {
		return 0, 0, 0
	}
	return best - float64(margin), min(1, top/math.Sqrt(own*energy)), top / own
}

// dot returns the sum of products, in four sums that a processor can keep apart.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+3 < len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}

// aligned returns the window of the beat at atS, its reference where that of the
// shape is; the next call uses its room again.
func (t *train) aligned(atS float64) (window []float64, whole bool) {
	const margin = 16 // samples, of which the interpolation uses a dozen
	n := t.samples(beforeS + afterS)
	if len(t.one) != n {
		t.one, t.own = make([]float64, n), make([]float64, n+2*margin)
	}
	frac, whole := t.take(t.own, atS, margin)
	dsp.Shift(t.one, t.own, margin+frac)
	return t.one, whole
}

// room returns a window of the train's own with margin samples to both sides.
func (t *train) room(margin int) []float64 {
	n := t.samples(beforeS+afterS) + 2*margin
	if cap(t.window) < n {
		t.window = make([]float64, n)
	}
	return t.window[:n]
}

// newTrain makes the first shape of the beats of g, which was found in the
// stretch of lengthS from fromS on, and times them. It returns nil if they have
// no shape in common.
func newTrain(f *front, g fold.Found, fromS, lengthS float64) *train {
	t := &train{f: f, periodS: g.PeriodS, startS: fromS + g.PhaseS}
	count := int((lengthS - g.PhaseS) / g.PeriodS)
	if count < leastTrain {
		return nil
	}
	if t.buzzes(count) {
		return nil
	}
	t.weigh(count)
	if t.noise < 0 || t.energy <= 0 {
		return nil
	}
	t.from, t.to = 0, t.samples(beforeS+afterS)
	if t.energy >= faint {
		t.group = 1
		sharp := t.learnLoud(count)
		if sharp && t.usual > alikeFit {
			return t
		}
		soft := *t
		soft.soft, soft.from, soft.to = true, 0, t.samples(beforeS+afterS)
		soft.startS, soft.periodS = fromS+g.PhaseS, g.PeriodS
		if t.energy > 4*faint && soft.learnLoud(count) && (!sharp || soft.spreadS < 0.8*t.spreadS) {
			return &soft
		}
		if sharp {
			return t
		}
	}
	// Loud beats of which most are missing are not faint ones: the period is then a
	// part of the true one.
	if t.energy > 4*faint || t.loudest > 4*faint {
		return nil
	}
	t.from, t.to = 0, t.samples(beforeS+afterS)
	t.group = int(math.Ceil(clearSum / t.energy))
	// Low tones are long: a faint beat slips by one of them too easily.
	const lowHz = 500
	if t.group > mostGroup || count < 4*t.group || f.band.FromHz < lowHz {
		return nil
	}
	if t.learnFaint(count) {
		return t
	}
	return nil
}

// weigh estimates the noise of a sample and the energy of a beat from the power
// in bins: medians over the beats of the power about them and of the quieter of
// two places beside them.
func (t *train) weigh(count int) {
	binS := t.f.binS()
	every := max(1, count/400)
	mean := func(fromS, toS float64) float64 {
		var all []float64
		for k := 0; k < count; k += every {
			at := t.startS + float64(k)*t.periodS
			first, last := int64((at+fromS)/binS), int64((at+toS)/binS)
			sum := 0.0
			for i := first; i < last; i++ {
				sum += t.f.bins.At(i)
			}
			all = append(all, sum/float64(max(1, last-first)))
		}
		t.powers = all
		return robust.Median(all)
	}
	room := math.Min(0.06, t.periodS/6)
	t.noise = max(min(mean(-beforeS-room, -beforeS), mean(afterS+0.01, afterS+0.01+room)), 1e-24)
	t.energy = (mean(-beforeS, afterS) - t.noise) * (beforeS + afterS) * t.f.rateHz / t.noise
	t.loudest = (robust.Quantile(t.powers, 0.9) - t.noise) * (beforeS + afterS) * t.f.rateHz / t.noise
}

// buzzes reports whether what is heard is the mains: each fold of a period that
// is a whole number of its cycles looks like a beat, but it repeats within.
func (t *train) buzzes(count int) bool {
	binS := t.f.binS()
	n := int(math.Round(t.periodS / binS))
	fold := make([]float64, n)
	mean := 0.0
	for k := range min(count, 200) {
		first := int64((t.startS + float64(k)*t.periodS) / binS)
		for i := range fold {
			v := math.Sqrt(t.f.bins.At(first + int64(i)))
			fold[i] += v
			mean += v
		}
	}
	mean /= float64(n)
	var own float64
	for i := range fold {
		fold[i] -= mean
		own += fold[i] * fold[i]
	}
	if own == 0 {
		return false
	}
	// 50 and 100 ms are whole cycles of 100 and of 120 a second; no beat sounds
	// as long.
	repeats := 1.0
	for _, lagS := range []float64{0.05, 0.1} {
		lag := int(math.Round(lagS / binS))
		sum := 0.0
		for i := range fold {
			sum += fold[i] * fold[(i+lag)%n]
		}
		repeats = math.Min(repeats, sum/own)
	}
	const most = 0.4
	return repeats > most
}

// learnLoud makes the shape from beats that stand out one by one: the beat that
// most others resemble comes first, then means of all.
func (t *train) learnLoud(count int) bool {
	margin := t.samples(0.006)
	every := max(1, (count+mostShapes-1)/mostShapes)
	var windows [][]float64
	var ks []int
	for k := 0; k < count; k += every {
		w := make([]float64, t.samples(beforeS+afterS)+2*margin)
		at := t.startS + float64(k)*t.periodS
		frac, whole := t.take(w, at, margin)
		if !whole {
			continue
		}
		dsp.Shift(w, slices.Clone(w), frac)
		windows, ks = append(windows, w), append(ks, k)
	}
	if len(windows) < leastTrain {
		return false
	}
	inner := func(w []float64) []float64 { return w[margin : len(w)-margin] }
	energies := make([]float64, len(windows))
	for i, w := range windows {
		energies[i] = dot(inner(w), inner(w))
	}
	usual := robust.Median(energies)
	// The first shape: of a dozen beats of usual loudness the one most like others.
	best, first := 0.0, -1
	tried := 0
	for i := 0; i < len(windows) && tried < 12; i += max(1, len(windows)/16) {
		if energies[i] < 0.4*usual || energies[i] > 2.5*usual {
			continue
		}
		tried++
		var fits []float64
		for j := 0; j < len(windows); j += max(1, len(windows)/16) {
			if j != i {
				_, fit, _ := t.correlate(inner(windows[i]), windows[j], margin)
				fits = append(fits, fit)
			}
		}
		if m := robust.Median(fits); m > best {
			best, first = m, i
		}
	}
	if first < 0 {
		return false
	}
	shape := slices.Clone(inner(windows[first]))
	lags := make([]float64, len(windows))
	fits := make([]float64, len(windows))
	weights := make([]float64, len(windows))
	aligned := make([][]float64, len(windows))
	for i := range aligned {
		aligned[i] = make([]float64, len(shape))
	}
	reach := margin
	for round := range 5 {
		line := make([]float64, len(windows)) // where beats are expected, samples
		if round > 0 {
			a, b := robust.Line(ks, lags)
			var rest []float64
			for i, k := range ks {
				line[i] = a + b*float64(k)
				rest = append(rest, lags[i]-line[i])
			}
			reach = min(margin, t.samples(narrowS)+int(6*robust.Spread(rest, 0)))
		}
		sum := make([]float64, len(shape))
		total := 0.0
		for i, w := range windows {
			use := shape
			if round > 1 && weights[i] > 0 { // without itself, else noise is drawn to where it was
				use = make([]float64, len(shape))
				for j := range use {
					use[j] = shape[j] - weights[i]*aligned[i][j]
				}
			}
			off := max(-margin, min(margin, int(math.Round(line[i]))))
			r := min(reach, margin-abs(off))
			lag, fit, _ := t.correlate(use, w[margin+off-r:len(w)-margin+off+r], r)
			lags[i], fits[i] = lag+float64(off), fit
		}
		floor := 0.5 * robust.Median(fits)
		type share struct {
			i int
			w float64
		}
		var shares []share
		for i, w := range windows {
			weights[i] = 0
			if fits[i] < floor || energies[i] > 6*usual {
				continue
			}
			dsp.Shift(aligned[i], w, float64(margin)+lags[i])
			e := fits[i] * fits[i]
			shares = append(shares, share{i, e})
			total += e
		}
		if len(shares) < 4 {
			return false
		}
		for _, s := range shares {
			weights[s.i] = s.w / total
			for j, v := range aligned[s.i] {
				sum[j] += v * weights[s.i]
			}
		}
		shape = sum
		t.trim(shape)
	}
	t.shape, t.shapes = shape, float64(len(windows))
	t.usual = robust.Median(fits)
	t.least = max(0.5*t.usual, 3.5/math.Sqrt(float64(t.to-t.from)))
	t.parts, t.faded = map[int64]part{}, 1
	for i, k := range ks {
		if weights[i] > 0 {
			at := t.startS + float64(k)*t.periodS + lags[i]/t.f.rateHz
			t.parts[int64(k)] = part{at, weights[i]}
		}
	}
	a, b := robust.Line(ks, lags)
	for i, k := range ks {
		lags[i] -= a + b*float64(k)
	}
	t.spreadS = robust.Spread(lags, 0) / t.f.rateHz
	t.startS += a / t.f.rateHz
	t.periodS += b / t.f.rateHz
	return t.usual > 0.3 && t.usual > 1.3*3.5/math.Sqrt(float64(t.to-t.from))
}

func abs(i int) int {
	if i < 0 {
		return -i
	}
	return i
}

// remake makes the shape anew from beats of one run.
func (t *train) remake(run []stroke) {
	every := max(1, len(run)/mostShapes)
	sum := make([]float64, t.samples(beforeS+afterS))
	parts := map[int64]part{}
	for i := 0; i < len(run); i += every {
		if run[i].Level < 0.4 || run[i].Level > 2.5 || float64(run[i].Fit) < 0.7*t.usual {
			continue
		}
		one, whole := t.aligned(run[i].At)
		if !whole {
			continue
		}
		for j, v := range one {
			sum[j] += v
		}
		parts[run[i].K] = part{atS: run[i].At}
	}
	if len(parts) < 6 {
		return
	}
	n := float64(len(parts))
	for j := range sum {
		sum[j] /= n
	}
	for k, p := range parts {
		parts[k] = part{p.atS, 1 / n}
	}
	t.shape, t.shapes, t.parts, t.faded = sum, n, parts, 1
	t.trim(t.shape)
}

// trim limits the shape to the part that carries 99% of what it has above its
// own noise, so that no time is lost on silence.
func (t *train) trim(shape []float64) {
	n := len(shape)
	per := max(1, t.samples(0.0005))
	var e []float64
	for i := 0; i+per <= n; i += per {
		e = append(e, dot(shape[i:i+per], shape[i:i+per]))
	}
	floor := robust.Quantile(e, 0.2)
	total := 0.0
	for i := range e {
		e[i] = max(0, e[i]-1.5*floor)
		total += e[i]
	}
	if total == 0 {
		t.from, t.to = 0, n
		return
	}
	lo, hi := 0, len(e)
	for cut := 0.0; lo < hi-1 && cut+e[lo] < 0.004*total; lo++ {
		cut += e[lo]
	}
	for cut := 0.0; hi > lo+1 && cut+e[hi-1] < 0.004*total; hi-- {
		cut += e[hi-1]
	}
	t.from, t.to = max(0, (lo-2)*per), min(n, (hi+2)*per)
}

// learnFaint makes the shape from beats too faint to be timed alone: they are
// laid over one another at many periods near the one found, and the period at
// which their sum is strongest is taken.
func (t *train) learnFaint(count int) bool {
	n := t.samples(beforeS + afterS)
	total := float64(count) * t.periodS
	fold := func(period, start float64) ([]float64, float64) {
		sum := make([]float64, n)
		w := t.room(0)
		for k := range count {
			p := (start + float64(k)*period - beforeS) * t.f.rateHz
			if !t.f.tape.Read(w, int64(math.Round(p))) {
				continue
			}
			for i, v := range w {
				sum[i] += v
			}
		}
		return sum, dot(sum, sum)
	}
	const stepS = 2.5e-5 // over the whole stretch
	const driftS = 0.003 // that the fold leaves
	reach := int(2 * driftS / stepS)
	energies := make([]float64, 2*reach+1)
	mid := t.startS + total/2
	at := func(r int) (period, start float64) {
		period = t.periodS + float64(r-reach)*stepS/float64(count)
		return period, mid - float64(count)/2*period
	}
	best := 0
	for r := range energies {
		p, s := at(r)
		_, energies[r] = fold(p, s)
		if energies[r] > energies[best] {
			best = r
		}
	}
	// The best period must stand out from those a period of the carrier away.
	m := robust.Median(energies)
	sd := robust.Spread(energies, m)
	apart := int(0.00015 / stepS)
	second := 0.0
	for r, e := range energies {
		if abs(r-best) > apart {
			second = max(second, e)
		}
	}
	if sd <= 0 || energies[best]-m < 8*sd || energies[best]-second < 4.5*sd {
		return false
	}
	t.periodS, t.startS = at(best)
	// Groups against the mean of the others.
	groups := count / t.group
	margin := t.samples(0.00025)
	sums := make([][]float64, groups)
	for g := range sums {
		sums[g] = make([]float64, n+2*margin)
	}
	mean := func() []float64 {
		m := make([]float64, n)
		for g := range sums {
			t.gather(sums[g], t.startS, int64(g*t.group), t.group, margin)
			for i := range m {
				m[i] += sums[g][margin+i] / float64(groups)
			}
		}
		return m
	}
	for range 3 {
		m := mean()
		t.trim(m)
		var ks []int
		var lags, fits []float64
		use := make([]float64, n)
		for g, sum := range sums {
			for i := range use {
				use[i] = m[i] - sum[margin+i]/float64(groups)
			}
			lag, fit, _ := t.correlate(use, sum, margin)
			ks, lags, fits = append(ks, g*t.group), append(lags, lag), append(fits, fit)
		}
		a, b := robust.Line(ks, lags)
		t.startS += a / t.f.rateHz
		t.periodS += b / t.f.rateHz
		t.usual = robust.Median(fits)
	}
	t.shape, t.shapes = mean(), float64(count)
	t.parts, t.faded = map[int64]part{}, 1
	for k := range groups * t.group {
		t.parts[int64(k)] = part{t.startS + float64(k)*t.periodS, 1 / float64(groups*t.group)}
	}
	t.trim(t.shape)
	t.least = max(0.4*t.usual, 2.5/math.Sqrt(float64(t.to-t.from)))
	return t.usual > 3.2/math.Sqrt(float64(t.to-t.from))
}

// gather returns in sum the mean of the windows of n beats from beat k on, each at
// its place on the line that begins at startS.
func (t *train) gather(sum []float64, startS float64, k int64, n, margin int) bool {
	w := make([]float64, len(sum)+2)
	shifted := make([]float64, len(sum))
	clear(sum)
	all := true
	for j := range n {
		at := startS + float64(k+int64(j))*t.periodS
		frac, whole := t.take(w, at, margin)
		all = all && whole
		dsp.Shift(shifted, w, frac)
		for i, v := range shifted {
			sum[i] += v / float64(n)
		}
	}
	return all
}
