package timesignal

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"timeball/internal/robust"
	"timeball/internal/timebase"
)

// ErrNoSeconds marks pulses that make no rhythm of seconds.
var ErrNoSeconds = errors.New("no pulse a second")

// Clock is the sampling clock as the pulses show it, and the true time of any
// place in the file.
type Clock struct {
	PPM, SdPPM float64 // e, positive fast
	ScatterS   float64 // of the pulses, one standard deviation
	SpanS      float64 // file seconds from the first pulse to the last
	Pulses     int     // that were used
	Missing    int     // seconds without a pulse
	Extra      int     // pulses that are no seconds
	Jumps      []Jump
	Wanders    bool // e changes; TrueS follows it
	runs       []run
}

// Jump is a place where the file and true time part, as where samples were lost.
type Jump struct {
	AfterS, BeforeS float64 // file seconds: it lies between these two pulses
	LostS           float64 // true seconds that are missing from the file, known modulo 1 s, nearest to 0
}

// run is a stretch without a jump: pairs of file seconds and true seconds.
type run struct {
	endS         float64 // file seconds up to which it counts
	fileS, trueS []float64
}

// The limits of a rhythm.
const (
	fewestPulses = 10
	startS       = 0.0005 // a second is a second to this share before e is known
	mostOffS     = 0.002  // off the rhythm, and still of it
	leastOffS    = 20e-6
	newRun       = 4  // pulses that begin a run
	recent       = 24 // pulses that foretell the next
)

// second is a pulse and its number.
type second struct {
	number, fileS float64
}

// Fit returns the sampling clock from the pulses of one a second, where some may
// be missing, some no seconds, and samples may have been lost. Its error wraps
// ErrNoSeconds and says what to do.
func Fit(pulses []Pulse) (Clock, error) {
	kept := make([]Pulse, 0, len(pulses))
	for _, p := range pulses {
		if !math.IsNaN(p.AtS) && !math.IsInf(p.AtS, 0) {
			kept = append(kept, p)
		}
	}
	slices.SortStableFunc(kept, func(a, b Pulse) int { return cmp.Compare(a.AtS, b.AtS) })
	times := make([]float64, len(kept))
	for i, p := range kept {
		times[i] = p.AtS
	}
	if len(times) < fewestPulses {
		return Clock{}, fmt.Errorf("%w: there are only %d pulses, and %d are the fewest; record longer, or check that the signal reaches this channel", ErrNoSeconds, len(times), fewestPulses)
	}
	w := walk{pulses: kept, off: offRhythm(times)}
	w.all()
	used := 0
	for _, r := range w.runs {
		used += len(r)
	}
	switch {
	case used < fewestPulses || 2*used < len(times) && 2*w.halves < used:
		return Clock{}, fmt.Errorf("%w: of %d pulses only %d follow each other by whole seconds; check that this channel carries the time signal", ErrNoSeconds, len(times), used)
	case 2*w.halves >= used:
		return Clock{}, fmt.Errorf("%w: there are two pulses in each, as a chronometer beats; choose the channel of the time signal", ErrNoSeconds)
	}
	c := Clock{Pulses: used, Extra: len(times) - used}
	var x, y []float64
	var of []int
	for i, r := range w.runs {
		for _, s := range r {
			x, y, of = append(x, s.number), append(y, s.fileS-s.number), append(of, i)
		}
		if i > 0 {
			last, next := w.runs[i-1][len(w.runs[i-1])-1], r[0]
			if w.cause[i] == cutJump {
				c.Jumps = append(c.Jumps, Jump{AfterS: last.fileS, BeforeS: next.fileS})
			}
		}
	}
	if used <= len(w.runs)+2 {
		return Clock{}, fmt.Errorf("%w: the recording jumps at nearly every pulse; record it anew", ErrNoSeconds)
	}
	l := timebase.FitLines(x, y, of, len(w.runs))
	c.PPM, c.SdPPM, c.ScatterS = 1e6*l.Slope, 1e6*l.SlopeSd, l.Scatter
	first, last := w.runs[0][0], w.runs[len(w.runs)-1]
	c.Missing = int(last[len(last)-1].number-first.number) + 1 - used
	c.SpanS = last[len(last)-1].fileS - first.fileS
	c.layTrue(w, l)
	return c, nil
}

// Timebase returns the mean of the clock over the recording.
func (c Clock) Timebase() timebase.Clock {
	b := timebase.Clock{Source: timebase.FromPulses, PPM: c.PPM, SdPPM: c.SdPPM}
	if len(c.Jumps) > 0 {
		b.Note = fmt.Sprintf("samples were lost or repeated at %d places", len(c.Jumps))
	}
	return b
}

// TrueS returns the true second of a place in the file, in file seconds. Whole
// numbers are the seconds of the signal, 0 that of the first pulse used.
func (c Clock) TrueS(fileS float64) float64 {
	i, _ := slices.BinarySearchFunc(c.runs, fileS, func(r run, s float64) int {
		if r.endS < s {
			return -1
		}
		return 1
	})
	return c.runs[min(i, len(c.runs)-1)].at(fileS)
}

// at returns the true second of a place in the file by this run, whose ends go
// on at the mean of the clock.
func (r run) at(fileS float64) float64 {
	k, _ := slices.BinarySearch(r.fileS, fileS)
	k = min(max(k, 1), len(r.fileS)-1)
	share := (fileS - r.fileS[k-1]) / (r.fileS[k] - r.fileS[k-1])
	return r.trueS[k-1] + share*(r.trueS[k]-r.trueS[k-1])
}

// offRhythm returns how far a pulse may be off the rhythm: eight times the
// scatter of neighbours.
func offRhythm(times []float64) float64 {
	var off []float64
	for i := 1; i < len(times); i++ {
		d := times[i] - times[i-1]
		if part := d - math.Round(d); d > 0.5 && math.Abs(part) < mostOffS {
			off = append(off, part)
		}
	}
	if len(off) == 0 {
		return leastOffS
	}
	middle := robust.Median(off)
	for i, v := range off {
		off[i] = math.Abs(v - middle)
	}
	return min(max(leastOffS, 8*1.4826*robust.Median(off)/math.Sqrt2), mostOffS)
}

// cut is why a run begins.
type cut int

const (
	cutJump  cut = iota // the file and true time part, or it is the first
	cutShape            // the onset of a pulse that looks otherwise lies elsewhere
)

// walk numbers the pulses from the first to the last.
type walk struct {
	pulses []Pulse
	off    float64
	runs   [][]second
	cause  []cut     // why each run began
	shape  int       // of the last pulse on the rhythm
	stray  []float64 // pulses off the rhythm since the last on it
	halves int       // pulses midway between seconds
}

func (w *walk) all() {
	for _, p := range w.pulses {
		at := p.AtS
		if n := len(w.runs); n > 0 {
			r := w.runs[n-1]
			number, part, allowed := foretell(r, at)
			later := number > r[len(r)-1].number
			if later && p.Shape != w.shape && math.Abs(part) <= mostOffS+allowed {
				w.add([]second{{number, at}}, cutShape)
				w.shape = p.Shape
				continue
			}
			if later && p.Shape == w.shape && math.Abs(part) <= w.off+allowed {
				w.runs[n-1] = append(r, second{number, at})
				w.stray = w.stray[:0]
				continue
			}
			if math.Abs(math.Abs(part)-0.5) < 0.05 {
				w.halves++
			}
		}
		if w.begin(at) {
			w.shape = p.Shape
		}
	}
	// A run of few pulses between two jumps tells nothing.
	runs, cause := w.runs, w.cause
	w.runs, w.cause = nil, nil
	why := cutShape
	for i, r := range runs {
		why = min(why, cause[i])
		if len(r) >= newRun {
			w.runs, w.cause = append(w.runs, r), append(w.cause, why)
			why = cutShape
		}
	}
}

// add begins a run.
func (w *walk) add(r []second, why cut) {
	w.runs, w.cause = append(w.runs, r), append(w.cause, why)
	w.stray = w.stray[:0]
}

// foretell returns the number that a pulse has by the last ones of a run, how
// many seconds it is off, and how much the foretelling may be.
func foretell(r []second, at float64) (number, part, allowed float64) {
	late := r[max(0, len(r)-recent):]
	last := late[len(late)-1]
	period, level, allowedShare := 1.0, last.fileS, startS
	if len(late) >= 8 {
		var mx, my, xx, xy float64
		for _, s := range late {
			mx += s.number / float64(len(late))
			my += (s.fileS - s.number) / float64(len(late))
		}
		for _, s := range late {
			xx += (s.number - mx) * (s.number - mx)
			xy += (s.number - mx) * (s.fileS - s.number - my)
		}
		period = 1 + xy/xx
		level = mx + my + (last.number-mx)*period
		allowedShare = 3e-6 + 1e-9*(at-last.fileS)
	}
	gone := (at - level) / period
	whole := math.Round(gone)
	return last.number + whole, gone - whole, allowedShare * math.Max(0, at-last.fileS)
}

// begin reports whether the pulse and stray ones before it make a new rhythm,
// which begins a run.
func (w *walk) begin(at float64) bool {
	if w.stray = append(w.stray, at); len(w.stray) > 4*newRun {
		w.stray = w.stray[1:]
	}
	var r []second
	was := math.Inf(-1)
	for _, s := range w.stray {
		d := s - at
		whole := math.Round(d)
		if math.Abs(d-whole) <= w.off+startS*math.Abs(whole) && whole > was {
			r, was = append(r, second{whole, s}), whole
		}
	}
	if len(r) < newRun {
		return false
	}
	begin := 0.0
	if n := len(w.runs); n > 0 {
		begin, _, _ = foretell(w.runs[n-1], r[0].fileS)
		begin = math.Max(begin, w.runs[n-1][len(w.runs[n-1])-1].number+1) // another second
	}
	first := r[0].number
	for i := range r {
		r[i].number += begin - first
	}
	w.add(r, cutJump)
	return true
}
