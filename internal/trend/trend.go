// Package trend draws the straight line through the times of beats, with a place
// for each stretch of unbroken sound and the pattern of the escape wheel, and
// says how far its period may be off. Times and periods are in seconds; doubts
// are one standard deviation.
package trend

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/robust"
)

// The rules of the line.
const (
	leastStrokes = 4
	leastTeeth   = 6
	mostTeeth    = 24
	// eccentricS is how far the beats are taken to swing with the turn of an
	// escape wheel that has not been seen to turn three times, rms of each of
	// the two parts of the swing, s. Common practice, no source.
	eccentricS = 50e-6
	toothS     = 20e-6 // and each tooth by itself
	roughest   = 5e-4  // rms of a pattern, s; more is no wheel's
	tukey      = 4.685
)

// Stroke is one beat, or one group of faint beats.
type Stroke struct {
	K       int64   // number of the beat, or of the first of the group
	At      float64 // s of the file; of the middle of a group
	Level   float32 // amplitude, in that of the shape
	Fit     float32 // correlation with the shape
	N       uint8   // beats in the group
	Segment int32
}

// Middle returns the number of the beat that the time belongs to.
func (s Stroke) Middle() float64 { return float64(s.K) + float64(s.N-1)/2 }

// Line is the straight line through beat times, a place for each segment, with
// the pattern of the escape wheel.
type Line struct {
	PeriodS   float64
	SdS       float64 // of PeriodS, from the scatter of the beats and the pattern
	ToothSdS  float64 // the part of it that the pattern adds
	WanderSdS float64 // the part of it that a slow wander adds
	ScatterS  float64 // robust standard deviation of beats about the line
	Places    map[int32]float64
	Teeth     []float64 // s, late positive; empty if none was found
	ToothSDs  []float64
	Rest      []float64 // of each stroke, s
	Weight    []float64
}

// turn is how the strokes repeat with an escape wheel of so many teeth.
type turn struct {
	teeth    int
	priorS   float64 // of each tooth
	sineS    float64 // of the swing of a whole turn, each part
	evidence float64
}

// Fit returns the line of strokes of a period near periodS. It fails with fewer
// than four.
//
// The places of the segments and the period are free; the pattern of the wheel
// is drawn to zero as its prior and the scatter say, so that a short listening,
// in which it cannot be told from a rate, bears its doubt. Robust by Tukey's
// biweight, 4.685 standard deviations (F. Mosteller, J. W. Tukey, Data Analysis
// and Regression (1977), ch. 10).
func Fit(strokes []Stroke, periodS float64) (Line, bool) {
	if len(strokes) < leastStrokes {
		return Line{}, false
	}
	d := newDesign(strokes, periodS)
	weight := make([]float64, len(strokes))
	for i := range weight {
		weight[i] = 1
	}
	// Without a pattern first, to learn the scatter and who is an outlier.
	var sol solution
	none := turn{}
	for range 8 {
		s, ok := d.solve(none, weight, 0)
		if !ok {
			return Line{}, false
		}
		sol = s
		d.reweigh(weight, sol.rest, sol.freedom)
	}
	wide := slices.Clone(weight)
	scatter := d.scatter(sol.rest, weight, 2)
	best, found := none, false
	turns := 0.0
	if len(strokes) > 0 {
		turns = float64(strokes[len(strokes)-1].K - strokes[0].K)
	}
	plainLog := d.evidence(none, weight, scatter)
	var tried []turn
	// Some thousands of beats tell the number of teeth as well as all of a day.
	some, sw := d, weight
	const enough = 4000
	if n := len(strokes); n > enough {
		from := (n - enough) / 2
		some, sw = newDesign(strokes[from:from+enough], periodS+sol.period), weight[from:from+enough]
		plainLog = some.evidence(none, sw, scatter)
	}
	for m := leastTeeth; m <= mostTeeth; m++ {
		if turns < 3*float64(m) || d.group > 2 {
			continue
		}
		u := turn{teeth: m, priorS: math.Max(scatter, toothS)}
		// The pattern's own size and the scatter beside it, in turns.
		w := slices.Clone(sw)
		noise := scatter
		ok := true
		for range 6 {
			var s solution
			if s, ok = some.solve(u, w, noise); !ok {
				break
			}
			sum := 0.0
			for j, v := range s.teeth {
				sum += v*v + s.toothVar[j]
			}
			u.priorS = math.Max(math.Sqrt(sum/float64(m)), 1e-7)
			some.reweigh(w, s.rest, s.freedom)
			noise = some.scatter(s.rest, w, 2+float64(m)*s.share)
		}
		if !ok || u.priorS > roughest {
			continue
		}
		u.evidence = some.evidence(u, sw, noise)
		tried = append(tried, u)
	}
	top := math.Inf(-1)
	for _, u := range tried {
		top = math.Max(top, u.evidence)
	}
	for _, u := range tried { // the smallest whose multiple has not done better by more than chance
		if u.evidence > plainLog+5 && u.evidence >= top-3 {
			best, found = u, true
			break
		}
	}
	if !found && turns < 3*16 {
		rough := scatter / 2 // rough beats have rough wheels
		if turns < 15 {
			rough = scatter
		}
		best = turn{teeth: 15, priorS: math.Max(toothS, rough), sineS: math.Max(eccentricS, rough)}
	}
	noise := scatter
	weight = wide
	var plain solution
	for range 8 {
		s, ok := d.solve(best, weight, noise)
		if !ok {
			return Line{}, false
		}
		sol = s
		if !found { // what a prior explains must not make the beats look steadier
			break
		}
		d.reweigh(weight, sol.rest, sol.freedom)
		noise = d.scatter(sol.rest, weight, sol.freedom)
	}
	if s, ok := d.solve(none, weight, noise); ok {
		plain = s
	}
	l := Line{PeriodS: periodS + sol.period, Places: map[int32]float64{}, Rest: sol.rest, Weight: weight}
	for i, seg := range d.segments {
		l.Places[seg] = sol.place[i]
	}
	l.ScatterS = noise
	// The law of the biweight's estimate: E[psi^2] E[w] / E[psi']^2, by numerical
	// integration (P. J. Huber, Robust Statistics (1981), 7.6).
	const law = 0.9633
	// Few beats tell their own scatter badly: Student's quantile stands for the
	// normal one.
	student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: math.Max(1, float64(len(strokes))-sol.freedom)}.Quantile(0.975) / 1.95996
	student *= 1 + 30/float64(len(strokes)*len(strokes)) // and a redescending weight worse (from simulation)
	l.SdS = student * math.Sqrt(law*sol.periodVar)
	l.ToothSdS = student * math.Sqrt(law*math.Max(0, sol.periodVar-plain.periodVar))
	if found {
		l.Teeth = sol.teeth
		for _, x := range sol.toothVar {
			l.ToothSDs = append(l.ToothSDs, math.Sqrt(x))
		}
	}
	l.WanderSdS = d.wander(sol.rest, weight, noise)
	l.SdS = math.Hypot(l.SdS, l.WanderSdS)
	return l, true
}

// design is the strokes of a line, ready to be fitted.
type design struct {
	strokes  []Stroke
	late     []float64 // of each stroke against periodS, s
	number   []float64 // beat less the middle one
	of       []int32   // segment of each stroke
	segments []int32
	periodS  float64
	group    int
	spare    [2][]float64 // residuals of the last solutions
	turn     int
}

func newDesign(strokes []Stroke, periodS float64) *design {
	n := len(strokes)
	d := &design{strokes: strokes, periodS: periodS, late: make([]float64, 0, n), number: make([]float64, 0, n), of: make([]int32, 0, n)}
	mid := strokes[len(strokes)/2].Middle()
	index := map[int32]int32{}
	for _, s := range strokes {
		i, ok := index[s.Segment]
		if !ok {
			i = int32(len(d.segments))
			index[s.Segment] = i
			d.segments = append(d.segments, s.Segment)
		}
		d.of = append(d.of, i)
		k := s.Middle() - mid
		d.number = append(d.number, k)
		d.late = append(d.late, s.At-k*periodS-strokes[len(strokes)/2].At)
		d.group = max(d.group, int(s.N))
	}
	return d
}

type solution struct {
	period    float64 // more than periodS, s
	periodVar float64
	place     []float64
	teeth     []float64
	toothVar  []float64
	rest      []float64
	share     float64 // of each tooth's freedom that the prior leaves it
	freedom   float64 // parameters used up
}

// room returns a slice for residuals; it is used again by the solution after the
// next.
func (d *design) room() []float64 {
	d.turn ^= 1
	if d.spare[d.turn] == nil {
		d.spare[d.turn] = make([]float64, len(d.strokes))
	}
	return d.spare[d.turn]
}

// pattern calls each with the places of stroke i in the pattern of u and how
// much each bears.
func (d *design) pattern(u turn, i int, each func(column int, x float64)) {
	if u.teeth == 0 {
		return
	}
	s := d.strokes[i]
	m := int64(u.teeth)
	x := 1 / float64(s.N)
	for j := range int64(s.N) {
		k := ((s.K+j)%m + m) % m
		each(int(k), x)
		if u.sineS > 0 {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(m))
			each(int(m), x*cos)
			each(int(m)+1, x*sin)
		}
	}
}

// solve returns the weighted least squares with the pattern drawn to zero.
func (d *design) solve(u turn, weight []float64, noiseS float64) (solution, bool) {
	segs := len(d.segments)
	p := segs + 1
	extra := 0
	if u.teeth > 0 {
		extra = u.teeth
		if u.sineS > 0 {
			extra += 2
		}
	}
	dim := p + extra
	a := mat.NewSymDense(dim, nil)
	b := make([]float64, dim)
	raw := a.RawSymmetric()
	add := func(i, j int, v float64) {
		if i > j {
			i, j = j, i
		}
		raw.Data[i*raw.Stride+j] += v
	}
	scale := 1.0 // of the beat numbers, so that the matrix is well proportioned
	for _, k := range d.number {
		scale = math.Max(scale, math.Abs(k))
	}
	cols := make([]int, 0, 64)
	xs := make([]float64, 0, 64)
	for i, w := range weight {
		if w == 0 {
			continue
		}
		cols, xs = append(cols[:0], int(d.of[i]), segs), append(xs[:0], 1, d.number[i]/scale)
		d.pattern(u, i, func(c int, x float64) { cols, xs = append(cols, p+c), append(xs, x) })
		for q, c := range cols {
			v := w * xs[q]
			b[c] += v * d.late[i]
			for r := q; r < len(cols); r++ {
				if r > q && cols[r] == c {
					add(c, c, 2*v*xs[r])
				} else {
					add(c, cols[r], v*xs[r])
				}
			}
		}
	}
	for j := range extra {
		prior := u.priorS
		if j >= u.teeth {
			prior = u.sineS
		}
		add(p+j, p+j, noiseS*noiseS/(prior*prior))
	}
	for j := range segs { // a segment whose beats are all outliers must not stop the rest
		add(j, j, 1e-9)
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return solution{}, false
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, mat.NewVecDense(dim, b)) != nil {
		return solution{}, false
	}
	var inv mat.SymDense
	if chol.InverseTo(&inv) != nil {
		return solution{}, false
	}
	s := solution{period: x.AtVec(segs) / scale, periodVar: inv.At(segs, segs) * noiseS * noiseS / (scale * scale), rest: d.room(), freedom: float64(p)}
	for j := range segs {
		s.place = append(s.place, x.AtVec(j)+d.strokes[len(d.strokes)/2].At)
	}
	for j := range u.teeth {
		s.teeth = append(s.teeth, x.AtVec(p+j))
		v := inv.At(p+j, p+j) * noiseS * noiseS
		s.toothVar = append(s.toothVar, v)
		s.share += (1 - math.Min(1, v/(u.priorS*u.priorS))) / float64(u.teeth)
	}
	s.freedom += s.share * float64(u.teeth)
	for i := range s.rest {
		r := d.late[i] - x.AtVec(int(d.of[i])) - x.AtVec(segs)*d.number[i]/scale
		d.pattern(u, i, func(c int, v float64) { r -= x.AtVec(p+c) * v })
		s.rest[i] = r
	}
	return s, true
}

// reweigh sets Tukey's weights by the residuals of a fit of so many parameters.
func (d *design) reweigh(weight, rest []float64, parameters float64) {
	n := float64(len(rest))
	// A part of very many tells their scatter as well.
	const enough = 2000
	some := rest
	if every := len(rest) / enough; every > 1 {
		some = make([]float64, 0, enough+every)
		for i := 0; i < len(rest); i += every {
			some = append(some, rest[i])
		}
	}
	s := tukey * math.Max(robust.Spread(some, 0), 1e-9) * math.Sqrt(n/math.Max(1, n-parameters))
	for i, r := range rest {
		u := r / s
		weight[i] = 0
		if u > -1 && u < 1 {
			weight[i] = (1 - u*u) * (1 - u*u)
		}
	}
}

// scatter returns the standard deviation of a stroke of weight one: the
// weighted scatter of those that count, put right for the tails that the weights
// cut off and for the parameters.
func (d *design) scatter(rest, weight []float64, parameters float64) float64 {
	// Under the biweight a normal law keeps 0.9151 of its weight and 0.7578 of its
	// weighted square (numerical integration).
	const kept = 0.7578 / 0.9151
	var sw, sr float64
	used := 0.0
	for i, w := range weight {
		sw += w
		sr += w * rest[i] * rest[i]
		if w > 0 {
			used++
		}
	}
	if sw <= 0 || used <= parameters+1 {
		return math.Max(robust.Spread(rest, 0), 1e-9)
	}
	return math.Max(math.Sqrt(sr/sw/kept*used/(used-parameters)), 1e-9)
}

// evidence returns the logarithm of how likely the strokes are with the pattern
// of u, the places and the period being free, up to what is common to all.
func (d *design) evidence(u turn, weight []float64, noiseS float64) float64 {
	s, ok := d.solve(u, weight, noiseS)
	if !ok {
		return math.Inf(-1)
	}
	var chi, n float64
	for i, w := range weight {
		if w > 0 {
			chi += w * s.rest[i] * s.rest[i] / (noiseS * noiseS)
			n += w
		}
	}
	log := -chi/2 - n*math.Log(noiseS)
	for j, v := range s.teeth {
		log += -v*v/(2*u.priorS*u.priorS) + 0.5*math.Log(math.Min(1, s.toothVar[j]/(u.priorS*u.priorS)))
	}
	return log
}

// wander returns what a slow wander adds to the doubt of the period, s: by how
// much the means of sixteen stretches scatter more about the line than beats
// that know nothing of each other would.
func (d *design) wander(rest, weight []float64, noiseS float64) float64 {
	const stretches = 16
	n := len(rest)
	if n < 4*stretches || len(d.segments) > 4 {
		return 0
	}
	var excess []float64
	var chi float64
	for j := range stretches {
		var sw, sww, sr float64
		for i := j * n / stretches; i < (j+1)*n/stretches; i++ {
			sw += weight[i]
			sww += weight[i] * weight[i]
			sr += weight[i] * rest[i]
		}
		if sw == 0 {
			continue
		}
		m := sr / sw
		v := noiseS * noiseS * sww / (sw * sw)
		chi += m * m / v
		excess = append(excess, m*m-v)
	}
	freedom := float64(len(excess) - 2)
	if freedom < 4 || chi < freedom*1.5 { // the 10% point of chi-square over 14
		return 0
	}
	sum := 0.0
	for _, e := range excess {
		sum += e
	}
	mean := math.Max(0, sum/freedom)
	// A random walk of step q over N beats lies q^2 N/15 about its own line in
	// the mean, and throws the slope of that line by sqrt(6/5 q^2/N).
	length := d.number[n-1] - d.number[0]
	q2 := 15 * mean / length
	return math.Sqrt(1.2 * q2 / length)
}

// Mean returns the mean of beat times less their number times the period.
func (l Line) Mean(s []Stroke, period float64) float64 {
	var all []float64
	for i, b := range s {
		if l.Weight[i] > 0 && b.Segment == s[0].Segment {
			all = append(all, b.At-float64(b.K-s[0].K)*period)
		}
	}
	return robust.Median(all)
}
