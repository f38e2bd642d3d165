// Package timesignal finds the pulses of one a second in a channel of a
// recording and measures the sampling clock by them.
//
// A pulse may be a rectangle, the spike that a sound input without direct
// current makes of it, or a pip of a tone. File seconds are frames over the
// nominal rate; a clock that is e fast counts 1 + e of them in a true second.
package timesignal

import (
	"math"
	"slices"

	"timeball/internal/robust"
)

// Pulse is the onset of a pulse: the instant at which it reaches half of its
// first crest.
type Pulse struct {
	AtS      float64 // file seconds
	Strength float64 // height, full scale being 1
	Shape    int     // 0, and one more each time the pulses came to look otherwise
}

// The lengths that the search works with, in seconds.
const (
	binS    = 0.0005 // of a mean power
	beforeS = 0.003  // of the window before the onset
	afterS  = 0.006  // of the window after it
	searchS = 0.002  // by which the onset may lie elsewhere
	quietS  = 0.020  // of quiet before a pulse
	passHz  = 100.0  // below which hum and drift are taken out
)

// The powers that count as a pulse: above the floor, as a multiple, and above
// the strongest of late, as a share.
const (
	overFloor    = 16
	shareOfCrest = 0.02
	leastPower   = 1e-10 // a step of 16 bits
	crestFadesS  = 3.0
)

// fewestAlike is how many pulses must have the same shape and rhythm before
// others are looked for by it; shapeOf is how many the shape is the mean of.
const (
	fewestAlike = 8
	shapeOf     = 64
	mostWaiting = 96
	leastMatch  = 0.6 // correlation of a pulse with the shape
)

// Finder finds pulses in a stream of samples. Its memory does not grow with the
// recording but for the pulses themselves.
type Finder struct {
	rateHz float64
	bin    int
	before int
	after  int
	search int
	edge   int // samples a window has beyond the search

	low, keep float64 // of the high-pass

	y    []float64 // the last samples, high-passed
	from int64     // number of y[0]
	seen int64     // samples

	power   float64 // of the bin so far
	inBin   int
	bins    []float64 // of the last second
	floor   float64
	crest   float64
	fade    float64
	quiet   int // bins below the threshold
	due     []int64
	waiting []window // until a shape is known

	shape   *shape
	made    []window // that shape is, or will be, the mean of
	kind    int      // of shape, from 0
	settled bool     // shape is the mean of all it will be
	strange int      // windows unlike shape since the last like it
	pulses  []Pulse
	formed  int // index of the first pulse that belongs to made
}

// window is the stretch about a place where a pulse may be.
type window struct {
	start int64 // number of its first sample
	y     []float64
	crest float64
}

// New returns a finder for samples taken at nominally rateHz a second.
func New(rateHz float64) *Finder {
	if !(rateHz >= 4000) {
		panic("timesignal: fewer than 4000 samples a second")
	}
	f := &Finder{
		rateHz: rateHz, bin: max(2, int(rateHz*binS)), before: int(rateHz * beforeS), after: int(rateHz * afterS), search: int(rateHz * searchS),
		edge: taps + 2, keep: math.Exp(-2 * math.Pi * passHz / rateHz), floor: math.Inf(1), quiet: int(rateHz),
	}
	f.fade = math.Exp(-float64(f.bin) / rateHz / crestFadesS)
	return f
}

// Write takes the next samples of the channel.
func (f *Finder) Write(samples []float64) {
	for len(samples) > 0 {
		piece := samples[:min(len(samples), f.bin-f.inBin)]
		samples = samples[len(piece):]
		if f.seen == 0 {
			f.low = piece[0]
		}
		low, power := f.low, f.power
		for _, v := range piece {
			low += (1 - f.keep) * (v - low)
			v -= low
			power += v * v
			f.y = append(f.y, v)
		}
		f.low, f.power = low, power
		f.inBin += len(piece)
		f.seen += int64(len(piece))
		if f.inBin == f.bin {
			f.endBin()
		}
	}
}

// reach is how many samples after the beginning of a bin its window ends.
func (f *Finder) reach() int64 { return int64(f.after + f.search + f.edge) }

// endBin looks for the beginning of a pulse in the bin that is complete.
func (f *Finder) endBin() {
	power := f.power / float64(f.bin)
	f.power, f.inBin = 0, 0
	f.bins = append(f.bins, power)
	if second := int(f.rateHz) / f.bin; len(f.bins) >= second || math.IsInf(f.floor, 1) && len(f.bins) >= second/8 {
		slices.Sort(f.bins)
		f.floor = f.bins[len(f.bins)/2]
		f.bins = f.bins[:0]
	}
	f.crest = max(f.crest*f.fade, power)
	if power > max(overFloor*f.floor, shareOfCrest*f.crest, leastPower) {
		if float64(f.quiet*f.bin) >= quietS*f.rateHz {
			f.due = append(f.due, f.seen-int64(f.bin))
		}
		f.quiet = 0
	} else {
		f.quiet++
	}
	for len(f.due) > 0 && f.due[0]+f.reach() <= f.seen {
		at := f.due[0]
		f.due = f.due[1:]
		if start := at - int64(f.before+f.search+f.edge); start >= f.from {
			w := window{start: start, y: slices.Clone(f.y[start-f.from : at+f.reach()-f.from])}
			for _, v := range w.y {
				w.crest = max(w.crest, math.Abs(v))
			}
			f.take(w)
		}
	}
	// What a bin just ended may still need, and room to spare.
	if kept := 2*f.before + 2*f.search + 2*f.edge + int(f.reach()) + 2*f.bin; len(f.y) > 8*kept {
		drop := len(f.y) - kept
		f.y = f.y[:copy(f.y, f.y[drop:])]
		f.from += int64(drop)
	}
}

// take times a window by the shape of the pulses, or keeps it until there is one.
func (f *Finder) take(w window) {
	if f.shape == nil {
		if f.waiting = append(f.waiting, w); len(f.waiting) > mostWaiting {
			f.waiting = slices.Delete(f.waiting, 0, len(f.waiting)-mostWaiting)
		}
		if len(f.waiting) >= fewestAlike {
			f.learn()
		}
		return
	}
	p, ok := f.time(w)
	if !ok {
		// The input was changed: begin anew.
		if f.strange++; f.strange > 2*shapeOf {
			f.settle()
			f.shape, f.made, f.settled, f.strange = nil, nil, false, 0
			f.kind++
		}
		return
	}
	f.strange = 0
	f.pulses = append(f.pulses, p)
	if !f.settled {
		f.made = append(f.made, w)
		if len(f.made) == shapeOf {
			f.settle()
		}
	}
}

// time returns the pulse of a window, if it is like the shape.
func (f *Finder) time(w window) (Pulse, bool) {
	m := f.shape.match(w.y, f.search, f.edge)
	if m.correlation < leastMatch || m.height <= 0 {
		return Pulse{}, false
	}
	return Pulse{
		AtS:      (float64(w.start+int64(f.edge+f.search)) + m.lag + f.shape.onset) / f.rateHz,
		Strength: m.height * f.shape.crest,
		Shape:    f.kind,
	}, true
}

// settle makes the shape the mean of the pulses it was to be the mean of, and
// times these anew by it.
func (f *Finder) settle() {
	if f.shape == nil || f.settled || len(f.made) == 0 {
		return
	}
	f.shape = meanShape(f.made, f.shape, f.before+f.after, f.search, f.edge)
	f.shape.findOnset(f.rateHz)
	kept := f.pulses[:f.formed]
	again := slices.Clone(f.pulses[f.formed:])
	for i, w := range f.made {
		p, ok := f.time(w)
		if !ok && i < len(again) {
			p, ok = again[i], true
		}
		if ok {
			kept = append(kept, p)
		}
	}
	f.pulses = kept
	if len(f.made) >= shapeOf {
		f.settled, f.made = true, nil
	}
}

// Pulses returns the pulses found up to now, in order. They wait for eight of
// the same shape, a whole number of seconds apart.
func (f *Finder) Pulses() []Pulse {
	f.settle()
	return slices.Clone(f.pulses)
}

// learn looks among the waiting windows for those that come once a second and
// takes the mean of them for the shape of a pulse.
func (f *Finder) learn() {
	alike := f.second(f.waiting)
	if len(alike) < fewestAlike {
		return
	}
	length := f.before + f.after
	strongest := slices.MaxFunc(alike, func(a, b window) int {
		switch {
		case a.crest < b.crest:
			return -1
		case a.crest > b.crest:
			return 1
		}
		return 0
	})
	first, formed := f.shape, len(f.pulses)
	best := math.Inf(1)
	for _, envelope := range []bool{false, true} {
		s := newShape(strongest.y[f.edge+f.search:f.edge+f.search+length], envelope, int(f.rateHz*0.001))
		for range 4 {
			s = meanShape(alike, s, length, f.search, f.edge)
		}
		s.findOnset(f.rateHz)
		f.shape = s
		var pulses []Pulse
		var made []window
		for _, w := range alike {
			if p, ok := f.time(w); ok {
				pulses, made = append(pulses, p), append(made, w)
			}
		}
		// The envelope is for tones that begin anew each time in another phase.
		if scatter := steady(pulses); len(made) >= max(fewestAlike, len(alike)*2/3) && scatter < best/2 {
			best, first = scatter, s
			f.pulses, f.made, f.formed = append(f.pulses[:formed], pulses...), made, formed
		}
	}
	f.shape = first
	if f.shape != nil {
		f.waiting = nil
	}
}

// steady returns the scatter of pulses about whole seconds.
func steady(pulses []Pulse) float64 {
	var off []float64
	for i := 1; i < len(pulses); i++ {
		d := pulses[i].AtS - pulses[i-1].AtS
		off = append(off, (d-math.Round(d))/max(1, math.Round(d)))
	}
	if len(off) == 0 {
		return math.Inf(1)
	}
	middle := robust.Median(off)
	for i, v := range off {
		off[i] = math.Abs(v - middle)
	}
	return robust.Median(off)
}

// second returns the windows of the strongest rhythm of whole seconds, the
// leading one of two that follow each other, as the ends of a rectangle do.
func (f *Finder) second(all []window) []window {
	apart := func(a, b window) (part, whole float64) {
		d := float64(b.start-a.start) / f.rateHz
		whole = math.Round(d)
		return d - whole, whole
	}
	with := func(a window) (group []window, weight float64) {
		was := math.Inf(-1)
		for _, b := range all {
			part, whole := apart(a, b)
			if math.Abs(part) < 0.0012+0.0003*math.Abs(whole) && whole > was {
				group, weight, was = append(group, b), weight+b.crest, whole
			}
		}
		return group, weight
	}
	var best []window
	var most float64
	for _, a := range all {
		if group, weight := with(a); weight > most {
			best, most = group, weight
		}
	}
	if len(best) < fewestAlike {
		return nil
	}
	leading, lead := best, 0.0
	for _, a := range all {
		part, _ := apart(a, best[0])
		if part < quietS/2 || part > 0.4 || part < lead {
			continue
		}
		if group, weight := with(a); 10*len(group) >= 6*len(best) && weight > 0.3*most {
			leading, lead = group, part
		}
	}
	return leading
}
