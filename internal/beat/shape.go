package beat

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"

	"timeball/internal/dsp"
	"timeball/internal/robust"
)

// waves are transforms of one length, and how the front turns each frequency.
type waves struct {
	coarse, fine *fourier.CmplxFFT
	turn         []complex128
}

// envelope returns the amplitude of a sound that has passed a front, four values
// to a sample: the length of the analytic signal, by the Fourier transform, with
// the delays that the front's filter gave to low tones taken off.
func (f *front) envelope(x []float64) []float64 {
	const finer = 4
	n := 1
	for n < len(x)+256 {
		n *= 2
	}
	padded := make([]complex128, n)
	for i, v := range x {
		edge := math.Min(1, math.Min(float64(i), float64(len(x)-1-i))/16) // no step where it begins and ends
		padded[i] = complex(v*edge, 0)
	}
	w := f.waves[n]
	if w == nil {
		w = &waves{coarse: fourier.NewCmplxFFT(n), fine: fourier.NewCmplxFFT(finer * n), turn: make([]complex128, n/2)}
		for i := 1; i < n/2; i++ { // positive frequencies only, twice
			w.turn[i] = 2 * cmplx.Conj(f.high.Phase(float64(i)/float64(n)*f.rateHz, f.rateHz))
		}
		if f.waves == nil {
			f.waves = map[int]*waves{}
		}
		f.waves[n] = w
	}
	c := w.coarse.Coefficients(nil, padded)
	fine := make([]complex128, finer*n)
	for i, turn := range w.turn {
		fine[i] = c[i] * turn
	}
	y := w.fine.Sequence(fine, fine)
	power := make([]float64, finer*len(x))
	for i := range power {
		power[i] = (real(y[i])*real(y[i]) + imag(y[i])*imag(y[i])) / float64(n) / float64(n)
	}
	// The tones of one event beat with each other: a mean over 0.3 ms joins what
	// belongs together.
	half := max(1, int(0.00015*finer*f.rateHz))
	out := make([]float64, len(power))
	sum := 0.0
	for i := -half; i < len(power); i++ {
		if j := i + half; j < len(power) {
			sum += power[j]
		}
		if j := i - half - 1; j >= 0 {
			sum -= power[j]
		}
		if i >= 0 {
			out[i] = math.Sqrt(math.Max(0, sum) / float64(2*half+1))
		}
	}
	return out
}

// sounds are the places of a mean beat that the amplitude is read from, s after
// the beginning of its window.
type sounds struct {
	unlockS, dropS float64
	others         []float64 // further places as loud as the drop, within 3 dB
	level          float64   // of the loudest
	ok             bool
}

// The rules of reading a mean beat.
const (
	riseShare   = 0.5  // an event begins where it has risen to this share of its peak
	withinShare = 0.71 // 3 dB
	nearS       = 0.0018
	leastShare  = 0.03 // the weakest event that is looked at
)

// readSounds finds unlocking, the first sound, and drop, the loudest, in a mean
// beat whose noise has the given standard deviation.
func (f *front) readSounds(x []float64, noise float64) sounds {
	e := f.envelope(x)
	perS := 4 * f.rateHz
	top := 0
	for i, v := range e {
		if v > e[top] {
			top = i
		}
	}
	s := sounds{level: e[top]}
	least := math.Max(5*noise, leastShare*e[top])
	if e[top] < 2*least {
		return s
	}
	near := int(nearS * perS)
	begin := func(peak int) float64 { // where the event with this peak has risen half way
		i := peak
		for i > 0 && i > peak-near && e[i] > riseShare*e[peak] {
			i--
		}
		f := 0.0
		if e[i+1] > e[i] {
			f = (riseShare*e[peak] - e[i]) / (e[i+1] - e[i])
		}
		return (float64(i) + math.Min(1, math.Max(0, f))) / perS
	}
	first := 0
	for first < len(e) && e[first] < least {
		first++
	}
	if first == 0 || first >= top {
		return s
	}
	peak := first
	for i := first; i < min(len(e), first+near); i++ {
		if e[i] > e[peak] {
			peak = i
		}
	}
	s.unlockS, s.dropS = begin(peak), begin(top)
	s.ok = top-peak > near
	for i := peak + near; i < len(e)-near; i++ {
		if e[i] < withinShare*e[top] || i > top-near && i < top+near {
			continue
		}
		highest := true
		for j := i - near/2; j <= i+near/2; j++ {
			highest = highest && e[j] <= e[i]
		}
		if highest {
			s.others = append(s.others, begin(i))
		}
	}
	return s
}

// back is how far around half a period after a beat the passing tick is looked
// for, s.
const backS = 0.04

// lookBack adds the sound around half a period after a beat to its mean.
func (t *train) lookBack(s stroke) {
	const memory = 500
	if t.backs >= memory && s.K&3 != 0 {
		return
	}
	n := t.samples(2 * backS)
	if t.back == nil {
		t.back = make([]float64, n)
	}
	p := (s.At + t.periodS/2 - backS) * t.f.rateHz
	first := math.Floor(p)
	w := make([]float64, n+32)
	if !t.f.tape.Read(w, int64(first)-16) {
		return
	}
	one := make([]float64, n)
	dsp.Shift(one, w, 16+p-first)
	t.backs = math.Min(t.backs+1, memory)
	for i, v := range one {
		t.back[i] += (v - t.back[i]) / t.backs
	}
}

// swing is what one mean beat says of the balance.
type swing struct {
	atS       float64 // s of the file
	delayS    float64 // unlocking to drop
	others    []float64
	ok        bool
	outS      float64 // half the period less the time from unlocking to the passing tick
	outOK     bool
	tickLevel float64 // of the passing tick, in the loud beat
	passS     float64 // unlocking to passing tick
	unlockS   float64 // places after the beginning of the window
	dropS     float64
}

// read reads the mean of all beats as it is now.
func (t *train) read() swing { return t.readShape(t.shape, t.shapes) }

// readShape reads the mean of so many beats.
func (t *train) readShape(shape []float64, beats float64) swing {
	var g swing
	if t.group > 1 || t.soft || beats < 5 {
		return g
	}
	s := t.f.readSounds(shape, math.Sqrt(t.noise/beats))
	g.ok, g.delayS, g.unlockS, g.dropS = s.ok, s.dropS-s.unlockS, s.unlockS, s.dropS
	for _, o := range s.others {
		g.others = append(g.others, o-s.unlockS)
	}
	if !s.ok || t.backs < 5 {
		return g
	}
	noise := math.Sqrt(t.noise / t.backs)
	e := t.f.envelope(t.back)
	perS := 4 * t.f.rateHz
	edge := int(0.002 * perS)
	top := edge
	for i := edge; i < len(e)-edge; i++ {
		if e[i] > e[top] {
			top = i
		}
	}
	if e[top] < 6*max(noise, robust.Quantile(e, 0.5)) || e[top] < 0.004*s.level {
		return g
	}
	near := int(nearS * perS)
	least := math.Max(4*noise, 0.3*e[top])
	first := top
	for i := top; i > max(edge, top-8*near) && i > 0; i-- { // its own first sound
		if e[i] > least {
			first = i
		}
		if first-i > near {
			break
		}
	}
	peak := first
	for i := first; i < min(len(e), first+near); i++ {
		if e[i] > e[peak] {
			peak = i
		}
	}
	i := peak
	for i > 0 && e[i] > riseShare*e[peak] {
		i--
	}
	f := (riseShare*e[peak] - e[i]) / math.Max(1e-30, e[i+1]-e[i])
	tick := (float64(i)+f)/perS - backS + t.periodS/2 // after the reference of the beat
	g.passS = tick - (s.unlockS - beforeS)
	g.outS = t.periodS/2 - g.passS
	g.outOK, g.tickLevel = true, e[peak]/s.level
	return g
}

// swings keeps the readings of the balance along a long recording: when there
// are too many, every second is let go.
const mostSwings = 400

// The beats of one reading.
const (
	mostYoung  = 60
	leastYoung = 30
)

// remember adds a beat to the mean of the newest.
func (t *train) remember(s stroke) {
	one, whole := t.aligned(s.At)
	if !whole || s.Level < 0.3 {
		return
	}
	if t.young == nil {
		t.young = make([]float64, len(one))
	}
	t.youngs++
	for i, v := range one {
		t.young[i] += (v/float64(s.Level) - t.young[i]) / t.youngs
	}
}

func (t *train) note(s stroke) {
	if t.group > 1 {
		return
	}
	if t.nextSwing == 0 {
		t.nextSwing, t.everySwing = s.K+120, 120
	}
	// The last sixty beats only: where the amplitude falls, unlocking moves
	// against the drop, and a longer mean would blot it out.
	if s.K > t.nextSwing-mostYoung {
		t.remember(s)
	}
	if s.K < t.nextSwing {
		return
	}
	t.nextSwing = s.K + t.everySwing
	if t.youngs >= leastYoung {
		if g := t.readShape(t.young, t.youngs); g.ok {
			g.atS = s.At
			t.swings = append(t.swings, g)
		}
	}
	t.young, t.youngs = nil, 0
	if len(t.swings) >= mostSwings {
		for i := range mostSwings / 2 {
			t.swings[i] = t.swings[2*i+1]
		}
		t.swings = t.swings[:mostSwings/2]
		t.everySwing *= 2
	}
}

// Amplitude returns the amplitude of a balance, degrees, from the time between
// two angles of one swing: the oscillation takes periodS, the sounds are delayS
// apart and liftDeg of turn, the first of them unlockDeg past the point of rest.
// It is 0 where no balance does that.
//
// x(t) = A sin(2 pi t/P), solved for A (the closed form).
func Amplitude(periodS, delayS, liftDeg, unlockDeg float64) float64 {
	d := 2 * math.Pi * delayS / periodS
	if !(d > 0 && d < math.Pi) {
		return 0
	}
	return math.Hypot(unlockDeg, (unlockDeg+liftDeg-unlockDeg*math.Cos(d))/math.Sin(d))
}

// OutOfBeat returns how far from the point of rest a balance unlocks, degrees,
// from the time by which the passing tick comes before half a period after the
// unlocking; both angles are taken to be alike.
func OutOfBeat(periodS, outS, amplitudeDeg float64) float64 {
	return amplitudeDeg * math.Sin(math.Pi*outS/periodS)
}
