package timebase

import (
	"fmt"
	"math"
	"slices"

	"timeball/internal/robust"
)

// Arrivals estimates a sampling clock from how many frames have come by which
// instant of UTC. What comes is late by a delay that is positive and jumpy but
// whose least value is steady, so the line is laid through the least late
// arrivals; each stands for a stretch of the recording. Its memory does not
// grow with the recording.
type Arrivals struct {
	rateHz  float64
	prior   Clock
	wanderS float64

	began   bool
	frames0 int64   // of the first arrival
	atS0    float64 // of the first arrival
	last    int64
	width   int64 // frames of a stretch
	least   []arrival
	ppm     float64 // by which lateness is judged meanwhile
	due     int     // stretches at which it is judged anew
	fit     *arrivalFit
}

// arrival is the least late arrival of a stretch, counted from the first.
type arrival struct {
	stretch int64
	frames  float64
	atS     float64
	of      int // arrivals in the stretch
}

// mostStretches is how many stretches are kept; beyond it they are joined in
// pairs.
const mostStretches = 256

// NewArrivals returns an estimator for a clock of nominally rateHz frames a
// second, of which prior is known already, such as Assumed(). wanderS is how far
// the standard that stamps the arrivals, and the least delay, may wander between
// the ends of a run, one standard deviation in seconds; it may be 0.
func NewArrivals(rateHz float64, prior Clock, wanderS float64) *Arrivals {
	if !(rateHz > 0) || !(prior.SdPPM > 0) || !(wanderS >= 0) {
		panic("timebase: no rate, no prior doubt or a negative wander")
	}
	return &Arrivals{rateHz: rateHz, prior: prior, wanderS: wanderS, width: int64(max(1, rateHz/2)), ppm: prior.PPM, due: 8}
}

// Add takes note that the first frames frames had come by the instant atS, in
// seconds of UTC from any fixed instant. Frames that go back are passed over.
func (a *Arrivals) Add(frames int64, atS float64) {
	if math.IsNaN(atS) || math.IsInf(atS, 0) || a.began && frames < a.last {
		return
	}
	if !a.began {
		a.began, a.frames0, a.atS0 = true, frames, atS
	}
	a.last = frames
	one := arrival{stretch: (frames - a.frames0) / a.width, frames: float64(frames - a.frames0), atS: atS - a.atS0, of: 1}
	n := len(a.least)
	if n > 0 && a.least[n-1].stretch == one.stretch {
		a.join(&a.least[n-1], one)
		a.fit = nil
		return
	}
	if n >= a.due {
		if c, ok := a.Clock(); ok {
			a.ppm = c.PPM
		}
		a.due += max(8, n/4)
	}
	a.least = append(a.least, one)
	a.fit = nil
	if len(a.least) > mostStretches {
		a.width *= 2
		a.least = a.joined(func(x arrival) int64 { return x.stretch / 2 })
		a.due = len(a.least) + mostStretches/4
	}
}

// join keeps the less late of two arrivals.
func (a *Arrivals) join(kept *arrival, other arrival) {
	of := kept.of + other.of
	if a.late(other) < a.late(*kept) {
		other.stretch = kept.stretch
		*kept = other
	}
	kept.of = of
}

// joined returns the arrivals, those of one group joined.
func (a *Arrivals) joined(group func(arrival) int64) []arrival {
	var all []arrival
	for _, x := range a.least {
		x.stretch = group(x)
		if n := len(all); n > 0 && all[n-1].stretch == x.stretch {
			a.join(&all[n-1], x)
			continue
		}
		all = append(all, x)
	}
	return all
}

// late returns how late an arrival is in seconds, but for a constant.
func (a *Arrivals) late(x arrival) float64 {
	return x.atS - x.frames/(a.rateHz*(1+a.ppm/1e6))
}

// arrivalFit is the line through the least late arrivals.
type arrivalFit struct {
	ppm, sdPPM float64
	scatterS   float64 // of the arrivals about it
	pieces     []piece
	jumpsS     []float64
}

// piece is a run of the line between two jumps.
type piece struct {
	from           float64 // frames
	frames, lateS  float64 // its middle, and how late that is by the prior clock
	arrivals       float64
	begin, pastEnd int // stretches
}

// fewestArrivals is what a line and its doubt need at the least.
const fewestArrivals = 5

// Clock returns the sampling clock as the prior and the arrivals make it, or the
// prior and false while there are too few of them. Jumps, where frames were lost
// or the standard was stepped, are left out and named in Note.
func (a *Arrivals) Clock() (Clock, bool) {
	f := a.solve()
	if f == nil {
		return a.prior, false
	}
	c := Clock{Source: FromArrivals, PPM: f.ppm, SdPPM: f.sdPPM, Device: a.prior.Device}
	switch len(f.jumpsS) {
	case 0:
	case 1:
		c.Note = fmt.Sprintf("a jump of %+.3f s, where samples were lost or the clock was set, was left out", f.jumpsS[0])
	default:
		c.Note = fmt.Sprintf("%d jumps, where samples were lost or the clock was set, were left out", len(f.jumpsS))
	}
	return c, true
}

// At returns the instant, in the seconds given to Add, at which frame number
// frames came, or would have come with the least delay, and its doubt. The least
// delay itself stays in it. It returns false while there are too few arrivals.
func (a *Arrivals) At(frames float64) (atS, sdS float64, ok bool) {
	f := a.solve()
	if f == nil {
		return 0, 0, false
	}
	n := frames - float64(a.frames0)
	p := f.pieces[0]
	for _, q := range f.pieces[1:] {
		if n >= q.from {
			p = q
		}
	}
	atS = a.atS0 + p.lateS + p.frames/a.nominal() + (n-p.frames)/(a.rateHz*(1+f.ppm/1e6))
	slope := (n - p.frames) / a.rateHz * f.sdPPM / 1e6
	return atS, math.Sqrt(f.scatterS*f.scatterS*(1+1/p.arrivals) + slope*slope), true
}

func (a *Arrivals) nominal() float64 { return a.rateHz * (1 + a.prior.PPM/1e6) }

// mostPoints is how many points the line is laid through: enough to know their
// scatter, few enough that each is the least late of many arrivals.
const mostPoints = 48

func (a *Arrivals) solve() *arrivalFit {
	if a.fit != nil {
		return a.fit
	}
	all := a.least
	if n := len(all); n > 8 && 10*all[n-1].of < 9*all[n-2].of {
		all = all[:n-1] // not yet the least late of as many as the others
	}
	if len(all) == 0 {
		return nil
	}
	pieces, jumps := a.pieces(all)
	size := (len(all) + mostPoints - 1) / mostPoints
	var xs, ys []float64 // frames, and lateness by the prior clock
	var of []int
	for i := range pieces {
		p := &pieces[i]
		stretches := p.pastEnd - p.begin
		points := (stretches + size - 1) / size // of nearly the same length each
		for j := range points {
			k, end := p.begin+j*stretches/points, p.begin+(j+1)*stretches/points
			best := all[k]
			for _, x := range all[k+1 : end] {
				a.join(&best, x)
			}
			xs, ys, of = append(xs, best.frames), append(ys, best.atS-best.frames/a.nominal()), append(of, i)
		}
	}
	if len(xs)-len(pieces)-1 < fewestArrivals-2 {
		return nil
	}
	a.fit = a.line(xs, ys, of, pieces)
	a.fit.jumpsS = jumps
	return a.fit
}

// line lays one slope and one level for each piece through the points, and joins
// the slope with what was known before.
func (a *Arrivals) line(xs, ys []float64, of []int, pieces []piece) *arrivalFit {
	l := FitLines(xs, ys, of, len(pieces))
	// Lateness per frame grows by (1/(1+e) - 1/(1+e0))/f, e0 being the prior's.
	was := 1 + a.prior.PPM/1e6
	measured := 1e6 * (1/(1/was+l.Slope*a.rateHz) - 1)
	doubt := max(1e-6, 1e6*a.rateHz*l.SlopeSd)
	doubt = math.Hypot(doubt, EndsPPM(a.wanderS, float64(a.last-a.frames0)/a.rateHz))
	wp, wm := 1/(a.prior.SdPPM*a.prior.SdPPM), 1/(doubt*doubt)
	f := &arrivalFit{ppm: (a.prior.PPM*wp + measured*wm) / (wp + wm), sdPPM: 1 / math.Sqrt(wp+wm), scatterS: l.Scatter}
	for k, q := range pieces {
		if l.Points[k] > 0 {
			q.frames, q.lateS, q.arrivals = l.MiddleX[k], l.MiddleY[k], max(1, l.Points[k])
			f.pieces = append(f.pieces, q)
		}
	}
	return f
}

// The windows on both sides of a jump, in stretches, and the least jump that is
// seen, in seconds and as a multiple of the scatter of neighbours.
const (
	jumpWindow  = 6
	leastJumpS  = 0.001
	leastJumpBy = 8
)

// pieces cuts the arrivals at jumps: where frames were lost all later ones come
// later by as much, and where the standard was set, later or earlier.
func (a *Arrivals) pieces(all []arrival) (pieces []piece, jumpsS []float64) {
	n := len(all)
	cuts := []int{0}
	if n >= 4*jumpWindow {
		lag := max(1, n/16)
		late, slopes := make([]float64, n), make([]float64, 0, n)
		for i, x := range all {
			late[i] = a.late(x)
			if i >= lag {
				slopes = append(slopes, (late[i]-late[i-lag])/(x.frames-all[i-lag].frames))
			}
		}
		slope := robust.Median(slopes)
		for i, x := range all {
			late[i] -= slope * x.frames
		}
		steps := make([]float64, 0, n)
		for i := 1; i < n; i++ {
			steps = append(steps, math.Abs(late[i]-late[i-1]))
		}
		few := 1 + 2*jumpWindow/float64(n) // their scatter is less sure
		threshold := max(leastJumpS, few*leastJumpBy*1.4826*robust.Median(steps)/math.Sqrt2)
		for {
			best, at := 0.0, 0
			for i := jumpWindow; i <= n-jumpWindow; i++ {
				if slices.ContainsFunc(cuts[1:], func(c int) bool { return i > c-jumpWindow && i < c+jumpWindow }) {
					continue
				}
				jump := robust.Median(late[i:i+jumpWindow]) - robust.Median(late[i-jumpWindow:i])
				// Of the places with the same medians the right one has the
				// largest step to its neighbour.
				if math.Abs(jump) > threshold && math.Abs(jump)+math.Abs(late[i]-late[i-1]) > math.Abs(best) {
					best, at = math.Abs(jump)+math.Abs(late[i]-late[i-1]), i
				}
			}
			if at == 0 {
				break
			}
			cuts = append(cuts, at)
			jumpsS = append(jumpsS, robust.Median(late[at:at+jumpWindow])-robust.Median(late[at-jumpWindow:at]))
		}
		slices.Sort(cuts)
	}
	for i, c := range cuts {
		p := piece{begin: c, pastEnd: n}
		if i+1 < len(cuts) {
			p.pastEnd = cuts[i+1]
		}
		if c < n {
			p.from = all[c].frames
		}
		pieces = append(pieces, p)
	}
	return pieces, jumpsS
}
