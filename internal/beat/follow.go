package beat

import (
	"math"

	"timeball/internal/robust"
)

// follower walks along the beats of a train, forwards or backwards, from where
// the last one was seen. It carries the number of the beat over silence and
// over places where the sound jumps.
type follower struct {
	t       *train
	way     int64 // +1 or -1
	next    int64 // beat to be looked for
	offsetS float64
	segment int32
	recent  []stroke // the last ones of this segment, newest last
	pending []stroke // beats off their line, that may begin a new segment
	unseen  int
	before  stroke // the last one that was sure
	turned  int    // beats since the search elsewhere was last tried
}

// The memory of a follower, in beats.
const (
	recentBeats = 40
	lostAfter   = 3
	lookOver    = 8 // beats over which it is looked for elsewhere
)

// expects returns the predicted time of the reference of beat k.
func (w *follower) expects(k float64) (atS, scatterS float64) {
	n := len(w.recent)
	if n == 0 {
		return w.t.startS + k*w.t.periodS + w.offsetS, 0.001
	}
	// The line through the last ones; its slope only once there are enough.
	var sk, st float64
	for _, s := range w.recent {
		sk += s.Middle()
		st += s.At - s.Middle()*w.t.periodS
	}
	mk, mt := sk/float64(n), st/float64(n)
	slope := 0.0
	var rest []float64
	if n >= 12 {
		var kk, kt float64
		for _, s := range w.recent {
			d := s.Middle() - mk
			kk += d * d
			kt += d * (s.At - s.Middle()*w.t.periodS - mt)
		}
		slope = kt / kk
	}
	for _, s := range w.recent {
		rest = append(rest, s.At-s.Middle()*w.t.periodS-mt-slope*(s.Middle()-mk))
	}
	m := robust.Median(rest)
	return mt + m + k*w.t.periodS + slope*(k-mk), math.Max(robust.Spread(rest, m), 5e-6)
}

// time returns when beat or group k fell, looked for within reachS of atS.
func (t *train) time(k int64, atS, reachS float64) (s stroke, ok bool) {
	margin := max(2, t.samples(reachS))
	w := t.room(margin)
	var frac float64
	whole := true
	if t.group == 1 {
		frac, whole = t.take(w, atS, margin)
	} else {
		start := atS - (float64(k)+float64(t.group-1)/2)*t.periodS
		whole = t.gather(w, start, k, t.group, margin)
	}
	if !whole {
		return stroke{}, false
	}
	lag, fit, level := t.correlate(t.without(k), w, margin)
	s = stroke{K: k, At: atS + (lag-frac)/t.f.rateHz, Level: float32(level), Fit: float32(fit), N: uint8(t.group)}
	return s, fit >= t.least && level > 0.1
}

// without returns the shape without what the beats of a group from k on gave to
// it.
func (t *train) without(k int64) []float64 {
	shape := t.shape
	for j := range int64(t.group) {
		p, ok := t.parts[k+j]
		if !ok || p.weight*t.faded < 1e-4 {
			continue
		}
		if &shape[0] == &t.shape[0] {
			shape = append(t.rest[:0], t.shape...)
			t.rest = shape
		}
		one, _ := t.aligned(p.atS)
		for i, v := range one {
			shape[i] -= p.weight * t.faded * v
		}
	}
	return shape
}

// learn adds a beat to the shape, the older ones slowly forgotten.
func (t *train) learn(s stroke) {
	const memory = 500.0
	if _, known := t.parts[s.K]; known || t.shapes >= memory && s.K&3 != 0 {
		return
	}
	if s.N != 1 || float64(s.Fit) < 0.8*t.usual || s.Level > 3 {
		return
	}
	one, whole := t.aligned(s.At)
	if !whole {
		return
	}
	t.shapes = math.Min(t.shapes+1, memory)
	t.faded *= 1 - 1/t.shapes
	for i, v := range one {
		t.shape[i] += (v/float64(s.Level) - t.shape[i]) / t.shapes
	}
}

// follow looks for beats until the sound that is there is used up; it returns
// when the window of the next one is not whole.
func (w *follower) follow() {
	t := w.t
	for {
		n := int64(t.group)
		mid := float64(w.next) + float64(n-1)/2
		at, scatter := w.expects(mid)
		endS := float64(t.f.tape.Length-int64(t.f.tape.Block)) / t.f.rateHz
		reachEnd := at + float64(n-1)/2*t.periodS + afterS + 0.01
		if w.way > 0 && reachEnd > endS || w.way < 0 && at-float64(n-1)/2*t.periodS-beforeS-0.01 < float64(t.f.tape.From)/t.f.rateHz {
			return
		}
		reach := math.Max(narrowS, 6*scatter)
		if t.group > 1 {
			reach = 0.00012
		}
		reach = math.Min(reach, wideS)
		s, ok := t.time(w.next, at, reach)
		if !ok && t.group == 1 && reach < wideS {
			s, ok = t.time(w.next, at, wideS)
		}
		if !ok {
			w.miss(endS)
			continue
		}
		w.seen(s, at, scatter)
		w.next += w.way * n
	}
}

// seen takes a beat that was found at or near its prediction.
func (w *follower) seen(s stroke, at, scatter float64) {
	t := w.t
	off := s.At - at
	gate := math.Max(8*scatter, 0.0006)
	if t.group > 1 || len(w.recent) < 8 || math.Abs(off) < gate {
		s.Segment = w.segment
		w.pending = w.pending[:0]
		w.settle(s)
		if math.Abs(off) < 4*scatter || len(w.recent) <= 8 {
			t.learn(s)
			if t.group == 1 && w.before.N == 1 {
				t.lookBack(w.before) // its half period has been heard by now
			}
			w.before = s
			if w.way > 0 {
				t.note(s)
			}
		}
		return
	}
	// Off its line: alone it is an odd beat; several alike are a jump.
	s.Segment = w.segment
	if n := len(w.pending); n > 0 {
		last := w.pending[n-1]
		if math.Abs((s.At-last.At)-float64(s.K-last.K)*t.periodS) > math.Max(gate/2, 4*scatter) {
			w.pending = w.pending[:0]
		}
	}
	w.pending = append(w.pending, s)
	t.strokes = append(t.strokes, s)
	w.unseen = 0
	if len(w.pending) < 3 {
		return
	}
	w.jump()
	for _, p := range w.pending {
		p.Segment = w.segment
		w.recent = append(w.recent, p)
	}
	from := w.pending[0].K
	for i := len(t.strokes) - 1; i >= 0 && (t.strokes[i].K-from)*w.way >= 0; i-- {
		t.strokes[i].Segment = w.segment
	}
	w.pending = w.pending[:0]
}

// settle writes down a beat of the present segment.
func (w *follower) settle(s stroke) {
	w.t.strokes = append(w.t.strokes, s)
	w.recent = append(w.recent, s)
	if len(w.recent) > recentBeats {
		w.recent = append(w.recent[:0], w.recent[len(w.recent)-recentBeats:]...)
	}
	w.unseen, w.turned = 0, 0
	w.steady()
}

// steady takes the period of the last beats for that of the train where they
// know it better.
func (w *follower) steady() {
	t := w.t
	if len(w.recent) < recentBeats || t.group > 1 {
		return
	}
	a, _ := w.expects(float64(w.recent[0].K))
	b, scatter := w.expects(float64(w.recent[0].K + recentBeats))
	period := (b - a) / recentBeats
	if math.Abs(period-t.periodS)*recentBeats < 4*scatter+2e-5 {
		return
	}
	k := float64(w.recent[len(w.recent)-1].K)
	t.startS += k * (t.periodS - period)
	t.periodS = period
}

// jump begins a new segment.
func (w *follower) jump() {
	t := w.t
	t.segment++
	w.segment = t.segment
	w.recent = w.recent[:0]
}

// miss goes on without the beat that was not seen, and once several were not,
// looks for them elsewhere in the period: sound that was lost shifts them.
func (w *follower) miss(endS float64) {
	t := w.t
	if t.quiet(w) {
		t.silent += t.group
	}
	w.unseen += t.group
	w.turned += t.group
	w.next += w.way * int64(t.group)
	if w.unseen < lostAfter || w.turned < lostAfter {
		return
	}
	over := int64(lookOver * t.group)
	first := w.next - w.way*int64(w.unseen)
	if w.unseen > 4*lookOver*t.group { // a long silence: only what is heard now counts
		first = w.next - w.way*over
	}
	last, _ := w.expects(float64(first + w.way*over))
	if w.way > 0 && last+t.periodS > endS {
		return // too little sound yet; the next beats are tried first
	}
	w.turned = 0
	w.relocate(first, over, endS)
}

// finish follows to the end of the sound, and looks once more for the last
// beats if they were lost.
func (w *follower) finish() {
	w.follow()
	least := lostAfter * w.t.group
	if w.unseen < least {
		return
	}
	endS := float64(w.t.f.tape.Length-int64(w.t.f.tape.Block)) / w.t.f.rateHz
	over := int64(min(w.unseen, lookOver*w.t.group))
	if w.relocate(w.next-int64(w.unseen), over, endS) {
		w.follow()
	}
}

// relocate looks for the beats from first on elsewhere in the period, and goes
// on from the first that is found there.
func (w *follower) relocate(first, over int64, endS float64) bool {
	t := w.t
	shift, ok := w.elsewhere(first, over)
	if !ok {
		return false
	}
	// Which of the beats not seen is the first to come at the new place?
	begin, seen := int64(-1), 0
	for j := int64(0); j < over+int64(w.unseen); j += int64(t.group) {
		k := first + w.way*j
		at, _ := w.expects(float64(k) + float64(t.group-1)/2)
		if at+shift+afterS+0.01 > endS {
			break
		}
		s, ok := t.time(k, at+shift, wideS)
		if ok && begin < 0 {
			begin, seen = k, 0
			shift = s.At - at
		} else if ok {
			seen++
		}
		if begin >= 0 && seen >= 3 {
			break
		}
	}
	if begin < 0 || seen < 2 {
		return false
	}
	mid := float64(begin) + float64(t.group-1)/2
	at, _ := w.expects(mid)
	if math.Abs(shift) < narrowS { // they had only been too faint
		w.next, w.unseen, w.pending = begin, 0, w.pending[:0]
		return true
	}
	w.jump()
	// Until beats of the new segment are known, the old line carries on, shifted.
	w.offsetS = at + shift - t.startS - mid*t.periodS
	w.next, w.unseen, w.pending = begin, 0, w.pending[:0]
	return true
}

// quiet reports whether there was no sound at all where the next beat should
// have been, not even the noise that was there before.
func (t *train) quiet(w *follower) bool {
	at, _ := w.expects(float64(w.next))
	binS := t.f.binS()
	sum, n := 0.0, 0.0
	for i := int64((at - beforeS) / binS); i < int64((at+afterS)/binS); i++ {
		sum += t.f.bins.At(i)
		n++
	}
	return sum < 0.03*t.noise*n
}

// elsewhere returns by how much the beats from first on have shifted against
// their prediction, from the power of the sound over so many of them.
func (w *follower) elsewhere(first, over int64) (shiftS float64, ok bool) {
	t := w.t
	binS := t.f.binS()
	n := int(math.Round(t.periodS / binS))
	fold := make([]float64, n)
	floor := 4 * t.noise
	for j := range over {
		at, _ := w.expects(float64(first + w.way*j))
		begin := int64(math.Floor((at - beforeS) / binS))
		for i := range fold {
			fold[i] += math.Log1p(t.f.bins.At(begin+int64(i)) / floor)
		}
	}
	// The beat as the shape has it, in bins, against the fold.
	size := t.f.bins.Size
	var shape []float64
	mean := 0.0
	for i := t.from; i+size <= t.to; i += size {
		v := math.Log1p((dot(t.shape[i:i+size], t.shape[i:i+size])/float64(size) + t.noise/math.Max(1, t.shapes)) / floor)
		shape = append(shape, v)
		mean += v
	}
	mean /= float64(len(shape))
	begin := t.from / size
	match := make([]float64, n)
	for l := range match {
		for i, v := range shape {
			match[l] += (v - mean) * fold[(begin+i+l)%n]
		}
	}
	m := robust.Median(match)
	sd := robust.Spread(match, m)
	best := 0
	for l, v := range match {
		if v > match[best] {
			best = l
		}
	}
	if sd <= 0 || match[best]-m < 5*sd {
		return 0, false
	}
	if best > n/2 {
		best -= n
	}
	shiftS = float64(best) * binS
	return shiftS, math.Abs(shiftS) > wideS*0.7
}
