package beat

import (
	"math"

	"timeball/internal/dsp"
	"timeball/internal/fold"
	"timeball/internal/tape"
)

// Band is a part of the sound in which beats are sought.
type Band struct {
	FromHz, ToHz float64
	keptS        float64 // how much of the sound in it is kept before a beat is found, s
}

// bands are those tried. Escapements of chronometers and watches are heard
// between 2 and 10 kHz; speech and traffic lie below 4, large clocks below 3.
// Common practice, no source.
var bands = []Band{{1000, 9200, keptS}, {3500, 9200, 120}, {8000, 20000, 60}, {300, 3000, 120}}

// keptS is how much filtered sound is kept, s: enough for the faintest beats
// to be found at all.
const keptS = 600

// front is one channel of the sound in one band, filtered, with what is kept.
type front struct {
	band   Band
	rateHz float64 // of the filtered sound
	halves []*dsp.Halver
	high   *dsp.HighPass
	tape   *tape.Tape
	bins   *tape.Powers
	delayS float64 // of the filtered sound against the file
	work   [2][]float64
	waves  map[int]*waves // by length, made when first needed
}

// newFront returns the front for a band, or nil where the sampling frequency
// is too low for it.
func newFront(rateHz float64, band Band, channels int) *front {
	kept := band.keptS
	if channels > 1 { // the room is shared, but a minute is kept of each
		kept = math.Max(60, kept/float64(channels))
	}
	f := &front{band: band, rateHz: rateHz}
	for 0.21*f.rateHz >= band.ToHz {
		h := dsp.NewHalver()
		f.delayS += float64(h.DelayIn()) / f.rateHz
		f.halves = append(f.halves, h)
		f.rateHz /= 2
	}
	if band.FromHz > 0.3*f.rateHz {
		return nil
	}
	f.high = dsp.NewHighPass(band.FromHz, f.rateHz)
	size := max(1, int(math.Round(f.rateHz*0.0005)))
	f.bins = tape.NewPowers(size, int(kept*f.rateHz)/size)
	f.tape = tape.New(20*size, int(kept*f.rateHz))
	return f
}

// binS returns the length of a bin, s.
func (f *front) binS() float64 { return float64(f.bins.Size) / f.rateHz }

// write takes samples of the channel.
func (f *front) write(x []float64) {
	y := x
	for i, h := range f.halves {
		out := &f.work[i&1]
		*out = h.Halve((*out)[:0], y)
		y = *out
	}
	if len(f.halves) == 0 {
		f.work[0] = append(f.work[0][:0], x...)
		y = f.work[0]
	}
	f.high.Filter(y)
	f.bins.Write(y)
	f.tape.Write(y)
}

// curve returns the excess power of a stretch of the sound, to be folded.
func (f *front) curve(fromS, lengthS float64) fold.Curve {
	per := max(1, int(math.Round(fold.StepS/f.binS())))
	step := f.binS() * float64(per)
	return fold.Curve{Y: f.bins.Excess(int64(math.Round(fromS/f.binS())), int(lengthS/step), per, int(math.Round(1/step))), StepS: step}
}

// heardS returns how much sound is kept, s, from which second of the file.
func (f *front) heardS() (from, length float64) {
	return float64(f.bins.From()) * f.binS(), float64(f.bins.Kept()) * f.binS()
}
