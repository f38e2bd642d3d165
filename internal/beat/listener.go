package beat

import (
	"cmp"
	"math"
	"slices"

	"timeball/internal/dsp"
	"timeball/internal/fold"
	"timeball/internal/robust"
	"timeball/internal/trend"
)

// Options are what is known before listening; the zero value knows nothing.
type Options struct {
	PerHour float64 // vibrations an hour; 0: to be found
	LiftDeg float64 // the balance's turn from unlocking to drop, degrees; 0: unknown
}

// tries are the lengths of sound, s, at which a beat is sought.
var tries = []float64{5, 8, 12, 18, 27, 40, 60, 90, 135, 200, 300, 450, 590}

// latelyS is how much of the newest sound is tried alone, in case an earlier
// part spoils the fold.
const latelyS = 12

// loudS is how much filtered sound is kept once loud beats are followed, s.
const loudS = 180

// Listener listens to a sound, channel by channel and band by band, until it
// has found a regular beat; then it times every beat of it.
type Listener struct {
	rateHz  float64
	options Options
	fronts  [][]*front // by channel; one is left once a beat is found
	channel int
	frames  int64
	tried   int
	triedS  float64 // when it was last tried, s
	again   float64 // when the next try is due once all lengths are tried, s

	main     *train
	forward  *follower
	mates    []mate
	examined float64   // when beats beside the main ones were last looked for, s
	strange  float64   // when an instrument of another beat was last looked for, s
	loudest  []float64 // of each channel, the highest sample
	clipped  []int64
	lines    [][]float64
	drawing  drawing

	overlap   bool // two instruments beat together
	overlapAt int  // beats when that was last looked at
}

// NewListener returns a listener to sound of so many channels at rateHz frames
// a second by its own clock.
func NewListener(rateHz, channels int, o Options) *Listener {
	l := &Listener{rateHz: float64(rateHz), options: o, channel: -1, again: keptS + 300}
	for range channels {
		var fs []*front
		for _, b := range bands {
			if f := newFront(l.rateHz, b, channels); f != nil {
				fs = append(fs, f)
			}
		}
		l.fronts = append(l.fronts, fs)
		l.loudest, l.clipped = append(l.loudest, 0), append(l.clipped, 0)
		l.lines = append(l.lines, nil)
	}
	return l
}

// Write takes frames, channels interleaved.
func (l *Listener) Write(frames []float64) {
	channels := len(l.fronts)
	if channels == 1 {
		l.hear(0, frames)
		l.frames += int64(len(frames))
	} else {
		n := len(frames) / channels
		for c := range channels {
			if l.channel >= 0 && c != l.channel {
				continue
			}
			line := l.lines[c][:0]
			for i := range n {
				line = append(line, frames[i*channels+c])
			}
			l.lines[c] = line
			l.hear(c, line)
		}
		l.frames += int64(n)
	}
	if l.main != nil {
		l.forward.follow()
		for _, m := range l.mates {
			m.forward.follow()
		}
		if l.Seconds() >= 1.5*l.examined && l.examined < 1000 {
			l.repair()
			l.examine()
		}
		return
	}
	if seconds := l.Seconds(); l.tried < len(tries) && seconds >= tries[l.tried] {
		for l.tried < len(tries) && seconds >= tries[l.tried] {
			l.tried++
		}
		l.try()
	} else if seconds >= l.again {
		l.again += 300
		l.try()
	}
}

func (l *Listener) hear(c int, x []float64) {
	for _, f := range l.fronts[c] {
		f.write(x)
	}
	const full = 0.9997
	top := dsp.Loudest(x)
	l.loudest[c] = max(l.loudest[c], top)
	if top < full {
		return
	}
	for _, v := range x {
		if v >= full || v <= -full {
			l.clipped[c]++
		}
	}
}

// Seconds returns how much has been heard, s of the file.
func (l *Listener) Seconds() float64 { return float64(l.frames) / l.rateHz }

// try seeks a beat in all that is kept, in every channel and band, and keeps the
// best.
func (l *Listener) try() {
	l.triedS = l.Seconds()
	type candidate struct {
		g       fold.Found
		c, band int
		fromS   float64
		lengthS float64
	}
	var all []candidate
	for c, fs := range l.fronts {
		for b, f := range fs {
			from, length := f.heardS()
			stretches := [][2]float64{{from, length}}
			if length > 2*latelyS {
				stretches = append(stretches, [2]float64{from + length - latelyS, latelyS})
			}
			for _, s := range stretches {
				if g := l.sought(f, s[0], s[1]); g.Score >= plain {
					all = append(all, candidate{g, c, b, s[0], s[1]})
				}
			}
		}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.g.Score, a.g.Score) })
	var best *train
	var forward *follower
	from, sharpest := 0, math.Inf(1)
	done := map[*front]bool{}
	for _, a := range all {
		f := l.fronts[a.c][a.band]
		if done[f] || a.g.Score < 0.4*all[0].g.Score || len(done) >= 6 {
			continue
		}
		t := newTrain(f, l.oscillation(f, a.g, a.fromS, a.lengthS), a.fromS, a.lengthS)
		if t == nil {
			continue
		}
		w, ok := l.walk(t, a.lengthS, a.fromS)
		if !ok {
			continue
		}
		done[f] = true
		line, ok := trend.Fit(t.strokes, t.periodS)
		if !ok {
			continue
		}
		// Where bands time the beats as well as each other, the loudest shows most
		// of what a beat is made of.
		sharp := line.SdS / line.PeriodS
		if best == nil || sharp < 0.8*sharpest || sharp < 1.25*sharpest && t.energy > best.energy {
			best, forward, from, sharpest = t, w, a.c, sharp
		}
	}
	if best == nil {
		return
	}
	l.main, l.forward, l.channel = best, forward, from
	for c := range l.fronts {
		l.fronts[c] = nil
	}
	l.fronts[from] = []*front{best.f}
	if best.group == 1 {
		best.f.tape.Keep(int(loudS * best.f.rateHz))
	}
}

// join does away with jumps that are none: where the period was first taken
// wrongly, beats leave their line again and again, and one line through all of
// them fits as well as many.
func (l *Listener) join() {
	t := l.main
	if t.group > 1 || t.segment == 0 {
		return
	}
	parts := t.settled(nil)
	split, ok1 := trend.Fit(parts, t.periodS)
	whole := slices.Clone(parts)
	for i := range whole {
		whole[i].Segment = 0
	}
	one, ok2 := trend.Fit(whole, t.periodS)
	const as, more = 1.5, 2e-5
	if !ok1 || !ok2 || one.ScatterS > as*split.ScatterS+more {
		return
	}
	// Each stretch must lie on the line, not only most beats.
	rests := map[int32][]float64{}
	for i, b := range parts {
		rests[b.Segment] = append(rests[b.Segment], one.Rest[i])
	}
	for _, r := range rests {
		if math.Abs(robust.Median(r)) > 4*one.ScatterS+1e-4 {
			return
		}
	}
	t.periodS = one.PeriodS
	for i := range t.strokes {
		t.strokes[i].Segment = 0
	}
	l.timeAnew()
}

// repair times all beats again if many were missed.
func (l *Listener) repair() {
	l.join()
	var f Finding
	f.count(l.main, l.main.settled(nil))
	if f.Missed > 2+f.Beats/50 {
		l.timeAnew()
	}
}

// timeAnew times the beats of the main train once more, all that is kept, by the
// shape that it has by now: the first shape may have been made across a gap.
func (l *Listener) timeAnew() {
	t := l.main
	if t.group > 1 || t.f.tape.From > 0 || len(t.strokes) < 20 {
		return
	}
	var start stroke
	from, to := 0, 0
	best, run := 0, 0 // the longest run without a beat missed
	for i := 1; i <= len(t.strokes); i++ {
		if i < len(t.strokes) && t.strokes[i].Segment == t.strokes[i-1].Segment && t.strokes[i].K == t.strokes[i-1].K+1 {
			run++
			continue
		}
		if run > best {
			best = run
			start = t.strokes[i-1-best/2]
			from, to = i-1-run, i
		}
		run = 0
	}
	if best < 8 {
		return
	}
	clean := t.strokes[from:to]
	if line, ok := trend.Fit(clean, t.periodS); ok {
		t.periodS = line.PeriodS
	}
	t.remake(clean)
	t.strokes, t.segment, t.silent = nil, 0, 0
	t.startS = start.At - float64(start.K)*t.periodS
	l.forward = l.bothWays(t, start.K)
}

// sought returns the beat of a stretch of a front.
func (l *Listener) sought(f *front, fromS, lengthS float64) fold.Found {
	return search(f.curve(fromS, lengthS), l.options.PerHour)
}

// walk times the beats of a new train in all that is kept. It reports whether
// there are enough of them for the train to be one.
func (l *Listener) walk(t *train, lengthS, fromS float64) (*follower, bool) {
	start := int64(0)
	if t.group == 1 {
		start = int64(lengthS / t.periodS / 2)
	}
	forward := l.bothWays(t, start)
	seen := 0
	for _, s := range t.strokes {
		seen += int(s.N)
	}
	span := float64(t.f.tape.Length-t.f.tape.From) / t.f.rateHz
	return forward, seen >= leastTrain && float64(seen) >= 0.5*math.Min(span, lengthS)/t.periodS-2
}

// bothWays follows the beats of a train from beat start on, and then those
// before it.
func (l *Listener) bothWays(t *train, start int64) *follower {
	forward := &follower{t: t, way: 1, next: start}
	forward.follow()
	back := &follower{t: t, way: -1, next: start - int64(t.group)}
	for i := range min(recentBeats, len(t.strokes)) { // it begins with what is known of the first beats
		if s := t.strokes[i]; s.Segment == 0 {
			back.recent = append([]stroke{s}, back.recent...)
		}
	}
	back.follow()
	slices.SortFunc(t.strokes, func(a, b stroke) int { return cmp.Compare(a.K, b.K) })
	return forward
}

// Close ends the listening: what was too short for the next try is tried now.
func (l *Listener) Close() {
	if l.main == nil && l.Seconds() > l.triedS+1 {
		l.try()
	}
	if l.main == nil {
		return
	}
	l.forward.finish()
	l.repair()
	l.examine()
	for _, m := range l.mates {
		m.forward.finish()
	}
}
