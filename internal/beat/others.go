package beat

import (
	"math"
	"slices"

	"timeball/internal/clock"
	"timeball/internal/dsp"
	"timeball/internal/fold"
	"timeball/internal/robust"
	"timeball/internal/trend"
)

// The rules of hearing more than one.
const (
	apartS     = 0.026 // clusters of the fold nearer than this are one beat
	weakestOne = 0.01  // a second instrument is looked for down to 20 dB below the first
	signs      = 8.0   // by how many deviations a cluster stands out
	differs    = 5.0   // by how many a rate differs
	mostLessSd = 0.3   // s/d; a difference less known than that is no finding
	examineS   = 120   // of the newest sound are looked at
)

// mate is a train beside the first: the other beat of a lever, or another
// instrument.
type mate struct {
	train   *train
	forward *follower
	half    bool // it lies half a period after the first
	alike   bool // it has the period of the first
}

// examine looks for beats beside those of the main train, in the newest sound.
func (l *Listener) examine() {
	t := l.main
	l.examined = l.Seconds()
	if t.group > 1 || len(l.mates) > 1 {
		return
	}
	strokes := t.settled(nil)
	last := strokes[len(strokes)-1]
	i := len(strokes) - 1
	for i > 0 && strokes[i-1].Segment == last.Segment && last.At-strokes[i-1].At < examineS {
		i--
	}
	first := strokes[i]
	if last.K-first.K < leastTrain-1 {
		return
	}
	line, ok := trend.Fit(strokes[i:], t.periodS)
	if !ok {
		return
	}
	period := line.PeriodS
	count := int(last.K - first.K)
	start := first.At + t.f.delayS - period/4
	v := levelsOf(t.f, period, start, count)
	at, main := v.top(period/4, 0.004)
	type cluster struct{ relS, power float64 }
	var clusters []cluster
	taken := []float64{at}
	free := func(s float64) bool {
		return !slices.ContainsFunc(taken, func(o float64) bool {
			d := math.Abs(math.Remainder(s-o, period))
			return d < apartS
		})
	}
	for range 6 {
		best, top := -1.0, 0.0
		for i, p := range v.power {
			if s := (float64(i) + 0.5) * v.widthS; p-v.floor > top && free(s) {
				best, top = s, p-v.floor
			}
		}
		if best < 0 || top < signs*v.scatter || top < 0.001*main {
			break
		}
		taken = append(taken, best)
		clusters = append(clusters, cluster{math.Mod(best-at+period, period), top})
	}
	zone := math.Max(0.03, 0.09*period)
	for _, c := range clusters {
		half := math.Abs(c.relS-period/2) < zone
		if half && c.power < faintShare*main || c.power < weakestOne*main {
			continue
		}
		if slices.ContainsFunc(l.mates, func(m mate) bool { return m.alike }) {
			break
		}
		from := start + at + c.relS
		m := l.second(fold.Found{PeriodS: period}, from, float64(count-1)*period)
		if m != nil && !l.besides(m, strokes[i:], period) {
			m = nil
		}
		if m != nil {
			m.half, m.alike = half, true
			l.mates = append(l.mates, *m)
			break
		}
	}
	if l.examined >= 2*l.strange && l.examined >= 20 && !slices.ContainsFunc(l.mates, func(m mate) bool { return !m.alike && !m.half }) {
		l.strange = l.examined
		l.otherBeat(strokes[i:], period)
	}
}

// second returns a mate whose beat falls on fromS.
func (l *Listener) second(g fold.Found, fromS, lengthS float64) *mate {
	t := newTrain(l.main.f, g, fromS, lengthS)
	if t == nil || t.group > 1 {
		return nil
	}
	w, ok := l.walk(t, lengthS, fromS)
	if !ok {
		return nil
	}
	strokes := t.settled(nil)
	line, ok := trend.Fit(strokes, t.periodS)
	span := float64(strokes[len(strokes)-1].K-strokes[0].K) + 1
	if !ok || line.ScatterS > mostJitterS || float64(len(strokes)) < leastHeard*span || len(strokes) < leastTrain {
		return nil
	}
	return &mate{train: t, forward: w}
}

// besides reports whether the beats of a mate are others than those of the main
// train: one that has settled on them, or only on those that happen to fall in
// with its period, is none. Nor is one that drifts through the fold that it was
// found in.
func (l *Listener) besides(m *mate, strokes []stroke, period float64) bool {
	s := m.train.settled(nil)
	first := strokes[0]
	same := 0
	for _, b := range s {
		d := math.Remainder(b.At-first.At, period)
		if math.Abs(d) < apartS {
			same++
		}
	}
	if float64(same) > 0.4*float64(len(s)) {
		return false
	}
	const smear = 0.05
	if math.Abs(m.train.periodS/period-1) > 2*nearNominal {
		return true
	}
	return math.Abs(m.train.periodS-period)/period*(s[len(s)-1].At-s[0].At) < smear
}

// otherBeat looks for an instrument of another beat, the beats known blanked.
func (l *Listener) otherBeat(strokes []stroke, period float64) {
	f := l.main.f
	fromS := strokes[0].At + f.delayS
	lengthS := strokes[len(strokes)-1].At - strokes[0].At
	folds := f.curve(fromS, lengthS)
	blank := func(atS float64) {
		lo, hi := int((atS-0.045-fromS)/folds.StepS), int((atS+0.04-fromS)/folds.StepS)
		for i := max(0, lo); i < min(len(folds.Y), hi); i++ {
			folds.Y[i] = 0
		}
	}
	for _, s := range strokes {
		blank(s.At + f.delayS)
		blank(s.At + f.delayS + period/2)
		for _, m := range l.mates {
			for _, o := range m.train.strokes {
				if math.Abs(o.At-s.At-f.delayS) < period {
					blank(o.At)
				}
			}
		}
	}
	var all []fold.Found
	for _, nominal := range nominals {
		p := 7200 / nominal.perHour / float64(nominal.loud)
		if r := p / period; p < fold.LeastPeriodS || math.Abs(r-math.Round(r)) < 0.02 || math.Abs(1/r-math.Round(1/r)) < 0.02 {
			continue
		}
		if g := folds.Best(p, nearNominal); g.Score >= 1.5*plain {
			all = append(all, g)
		}
	}
	// The period of which most beats are heard, and of those the shortest.
	var best *mate
	most := 0.0
	for _, g := range all {
		if g.PeriodS < quickS {
			g.PeriodS *= 2
		}
		m := l.second(fold.Found{PeriodS: g.PeriodS}, fromS+g.PhaseS, lengthS)
		if m == nil {
			continue
		}
		if !l.besides(m, strokes, period) {
			continue
		}
		s := m.train.settled(nil)
		share := float64(len(s)) / float64(s[len(s)-1].K-s[0].K+1)
		if best == nil || share > most+0.1 || share > most-0.1 && m.train.periodS < best.train.periodS {
			best, most = m, share
		}
	}
	if best != nil {
		l.mates = append(l.mates, *best)
	}
}

// others adds to a finding what the mates say.
func (l *Listener) others(f *Finding, strokes []stroke, own trend.Line, trueS func(float64) float64) {
	t := l.main
	perDay := func(p float64) float64 { return 86400 / p }
	for _, m := range l.mates {
		s := m.train.settled(trueS)
		line, ok := trend.Fit(s, m.train.periodS)
		if !ok {
			continue
		}
		less := perDay(own.PeriodS) * (own.PeriodS - line.PeriodS)
		lessSd := perDay(own.PeriodS) * math.Hypot(own.SdS, line.SdS)
		if m.half && math.Abs(less) < math.Max(differs*lessSd, 0.02) {
			v1, v2 := own.SdS*own.SdS, line.SdS*line.SdS
			f.LoudBeats = 2
			f.PeriodS = (own.PeriodS/v1 + line.PeriodS/v2) / (1/v1 + 1/v2)
			shared := math.Min(own.ToothSdS, line.ToothSdS) + math.Min(own.WanderSdS, line.WanderSdS)
			f.PeriodSdS = math.Max(math.Sqrt(1/(1/v1+1/v2)), shared)
			f.RateSd = 86400 * f.PeriodSdS / f.PeriodS
			f.Beats += len(s)
			span := int(s[len(s)-1].K - s[0].K + 1)
			f.Missed += max(0, span-len(s)-m.train.silent)
			lag, known := likeSounds(t, m.train)
			interval := math.Mod(line.Mean(s, f.PeriodS)-own.Mean(strokes, f.PeriodS)+lag+1000*f.PeriodS, f.PeriodS)
			f.OutOfBeatS, f.OutOfBeatKnown = f.PeriodS/2-interval, known
			continue
		}
		if lessSd > mostLessSd {
			continue
		}
		second := &Second{
			PeriodS: line.PeriodS, Beats: len(s), Alike: m.alike, Less: clock.Rate(less), LessSd: lessSd,
			LevelDB: 10 * math.Log10(m.train.energy*m.train.noise/(t.energy*t.noise)),
		}
		if m.alike {
			f.OutOfBeatKnown = f.OutOfBeatKnown && !m.half
			second.LaterS = math.Mod(s[len(s)/2].At-strokes[len(strokes)/2].At+1000*own.PeriodS, own.PeriodS)
		}
		other := Finding{PeriodS: line.PeriodS, LoudBeats: 1}
		other.name(0)
		second.PerHour, second.Rate, second.RateKnown, second.RateSd = other.PerHour, other.Rate, other.Rated, 86400*line.SdS/line.PeriodS
		f.Second = second
	}
	if l.overlappedNow() {
		f.Overlapped = true
	}
	if !f.Overlapped && f.LoudBeats == 1 && f.Second == nil {
		f.alternate(strokes, own)
	}
}

// likeSounds returns how much later the sounds of beat b lie after its reference
// than the like sounds of beat a after its own, by their loudness, s; false if
// the two beats are not alike enough to say.
func likeSounds(a, b *train) (laterS float64, ok bool) {
	loud := func(t *train) []float64 {
		if !t.soft {
			return t.f.envelope(t.shape)
		}
		out := make([]float64, 4*len(t.shape))
		for i := range out {
			out[i] = math.Max(0, dsp.At(t.shape, float64(i)/4))
		}
		return out
	}
	x, y := loud(a), loud(b)
	n := min(len(x), len(y))
	xx, yy := dot(x[:n], x[:n]), dot(y[:n], y[:n])
	if xx == 0 || yy == 0 {
		return 0, false
	}
	reach := int(0.008 * 4 * a.f.rateHz)
	best, top := 0, 0.0
	for lag := -reach; lag <= reach; lag++ {
		sum := 0.0
		if lag >= 0 {
			sum = dot(x[:n-lag], y[lag:n])
		} else {
			sum = dot(x[-lag:n], y[:n+lag])
		}
		if sum > top {
			best, top = lag, sum
		}
	}
	const alike = 0.8
	return float64(best) / (4 * a.f.rateHz), top/math.Sqrt(xx*yy) > alike
}

// overlappedNow is overlapped, looked at again only when a fifth more has been
// heard.
func (l *Listener) overlappedNow() bool {
	if n := len(l.main.strokes); n > l.overlapAt+l.overlapAt/5 {
		l.overlapAt, l.overlap = n, l.overlapped()
	}
	return l.overlap
}

// The rules of hearing two instruments that beat together.
const (
	looked     = 240    // beats of the newest sound
	apartSd    = 5.0    // by how many deviations their rates differ
	apartRate  = 0.15   // s/d, and by how much at the least
	partReachS = 0.0004 // how far a part of a beat is looked for from where the whole is
)

// overlapped reports whether parts of the mean beat go at rates of their own:
// the sounds of one beat keep together, those of two instruments whose beats
// fall together drift through each other.
func (l *Listener) overlapped() bool {
	t := l.main
	if t.group > 1 {
		return false
	}
	soft := t.soft
	t.soft = false // the waves themselves, whatever the beats were timed by
	defer func() { t.soft = soft }()
	all := t.settled(nil)
	kept := float64(t.f.tape.From)/t.f.rateHz + 1
	i := 0
	for i < len(all) && all[i].At+t.f.delayS < kept {
		i++
	}
	all = all[i:]
	if len(all) < 24 {
		return false
	}
	every := max(1, len(all)/looked)
	margin := t.samples(partReachS)
	n := t.samples(beforeS + afterS)
	var rows [][]float64
	var ks []int
	for i := 0; i < len(all); i += every {
		if all[i].Level < 0.3 || all[i].Level > 3 || float64(all[i].Fit) < 0.7*t.usual {
			continue
		}
		w := make([]float64, n+2*margin)
		frac, whole := t.take(w, all[i].At+t.f.delayS, margin)
		if !whole {
			continue
		}
		row := make([]float64, n+2*margin)
		dsp.Shift(row, w, frac)
		rows, ks = append(rows, row), append(ks, int(all[i].K-all[0].K))
	}
	if len(rows) < 20 {
		return false
	}
	mean := make([]float64, n)
	third := len(rows) / 3 // of the middle, where nothing has drifted far yet
	for _, r := range rows[third : len(rows)-third] {
		for j := range mean {
			mean[j] += r[margin+j] / float64(len(rows)-2*third)
		}
	}
	total := dot(mean, mean)
	length := float64(ks[len(ks)-1] - ks[0])
	moved := 86400 * math.Abs(t.drift()) / math.Max(1, all[len(all)-1].At-all[0].At)
	for _, share := range []float64{0.15, 0.4, 0.7, 0.9} {
		cut, sum := 0, 0.0
		for cut < n && sum < share*total {
			sum += mean[cut] * mean[cut]
			cut++
		}
		// A gap between the parts, so that they have no sound in common.
		gap := t.samples(0.0002)
		late, ok := t.partLag(mean, rows, margin, cut+gap, n)
		early, ok2 := t.partLag(mean, rows, margin, 0, cut-gap)
		if !ok || !ok2 {
			continue
		}
		apart := make([]float64, len(rows))
		for i := range apart {
			apart[i] = (late[i] - early[i]) / t.f.rateHz
		}
		a, b := robust.Line(ks, apart)
		rest := make([]float64, len(apart))
		for i, k := range ks {
			rest[i] = apart[i] - a - b*float64(k)
		}
		sd := robust.Spread(rest, 0) * math.Sqrt(12/float64(len(rows))) / length
		if rate := 86400 * math.Abs(b) / t.periodS; rate > math.Max(apartSd*86400*sd/t.periodS, apartRate+2*moved) {
			return true
		}
	}
	return false
}

// partLag returns by how many samples the part of each row from place lo to hi
// comes late against that of the mean beat; false if too little sounds there.
func (t *train) partLag(mean []float64, rows [][]float64, margin, lo, hi int) ([]float64, bool) {
	if hi-lo < 8 {
		return nil, false
	}
	keepFrom, keepTo := t.from, t.to
	t.from, t.to = lo, hi
	defer func() { t.from, t.to = keepFrom, keepTo }()
	var lags, fits []float64
	for _, r := range rows {
		lag, fit, _ := t.correlate(mean, r, margin)
		lags, fits = append(lags, lag), append(fits, fit)
	}
	return lags, robust.Median(fits) > 0.35
}

// alternate looks at even and odd beats apart: two like instruments half a
// period from each other look like one that beats twice as fast.
func (f *Finding) alternate(strokes []stroke, own trend.Line) {
	var parts [2][]stroke
	const enough = 2000 // the newest of them
	for _, s := range strokes[max(0, len(strokes)-enough):] {
		if s.N == 1 {
			parts[s.K&1] = append(parts[s.K&1], s)
		}
	}
	if len(parts[0]) < 12 || len(parts[1]) < 12 {
		return
	}
	a, ok1 := trend.Fit(parts[0], own.PeriodS)
	b, ok2 := trend.Fit(parts[1], own.PeriodS)
	if !ok1 || !ok2 {
		return
	}
	less := 86400 / own.PeriodS * (a.PeriodS - b.PeriodS)
	sd := 86400 / own.PeriodS * math.Hypot(a.SdS, b.SdS)
	if math.Abs(less) > 4*sd && math.Abs(less) > 0.05 {
		f.Second = &Second{PeriodS: 2 * b.PeriodS, PerHour: f.PerHour / 2, Beats: len(parts[1]), Alike: true, Less: clock.Rate(less), LessSd: sd, LaterS: own.PeriodS}
		f.Overlapped = true
	}
}
