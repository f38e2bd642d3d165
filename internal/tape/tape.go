// Package tape keeps the newest stretch of a filtered sound in little room, and
// its power in short steps.
package tape

import (
	"math"

	"timeball/internal/dsp"
	"timeball/internal/robust"
)

// Tape keeps the newest stretch of a filtered sound, a byte a sample: blocks of
// ten milliseconds or so, each with its own scale, so that ten minutes fit into
// some megabytes. The rounding lies 45 dB below the loudest sample of a block,
// far under the noise of any room.
type Tape struct {
	Block  int      // samples in a block
	most   int      // blocks kept
	pages  [][]int8 // pageBlocks blocks each, made when they are needed
	scale  []float32
	From   int64 // first sample kept
	Length int64 // samples written since the beginning
	part   []float64
}

// New returns an empty tape of blocks of so many samples, that keeps mostSamples.
func New(block, mostSamples int) *Tape {
	return &Tape{Block: block, most: max(2, mostSamples/block)}
}

// Write appends samples. What does not fill a block waits.
func (t *Tape) Write(x []float64) {
	if len(t.part) > 0 {
		n := min(t.Block-len(t.part), len(x))
		t.part = append(t.part, x[:n]...)
		x = x[n:]
		if len(t.part) < t.Block {
			return
		}
		t.add(t.part)
		t.part = t.part[:0]
	}
	for len(x) >= t.Block {
		t.add(x[:t.Block])
		x = x[t.Block:]
	}
	t.part = append(t.part, x...)
}

func (t *Tape) add(x []float64) {
	step := dsp.Loudest(x) / 127
	slot := len(t.scale)
	if slot < t.most {
		t.scale = append(t.scale, 0)
		if slot%pageBlocks == 0 {
			t.pages = append(t.pages, make([]int8, pageBlocks*t.Block))
		}
	} else {
		slot = int(t.Length / int64(t.Block) % int64(t.most))
		t.From += int64(t.Block)
	}
	t.scale[slot] = float32(step)
	out := t.slot(slot)
	if step > 0 {
		inv := 1 / float64(float32(step))
		const half = 128.5 // shifts to positive numbers, so that cutting rounds
		for i, v := range x {
			out[i] = int8(int32(v*inv+half) - 128)
		}
	} else {
		clear(out)
	}
	t.Length += int64(t.Block)
}

// Keep lets go of what is older than the newest samples.
func (t *Tape) Keep(samples int) {
	most := max(2, samples/t.Block)
	if most >= t.most {
		return
	}
	n := min(most, len(t.scale))
	first := t.Length/int64(t.Block) - int64(n)
	kept := New(t.Block, most*t.Block)
	kept.scale = make([]float32, n)
	for b := first; b < first+int64(n); b++ { // block b lies at b modulo most, as if the tape had always been so short
		from, to := int(b%int64(t.most)), int(b%int64(most))
		if n < most {
			to = int(b - first)
		}
		for len(kept.pages) <= to/pageBlocks {
			kept.pages = append(kept.pages, make([]int8, pageBlocks*t.Block))
		}
		copy(kept.slot(to), t.slot(from))
		kept.scale[to] = t.scale[from]
	}
	t.pages, t.scale, t.most = kept.pages, kept.scale, most
	t.From = first * int64(t.Block)
}

// pageBlocks is how many blocks are made room for at a time.
const pageBlocks = 256

// slot returns the samples of a slot of the ring.
func (t *Tape) slot(i int) []int8 {
	at := i % pageBlocks * t.Block
	return t.pages[i/pageBlocks][at : at+t.Block]
}

// Read fills into with the samples from first on; what is not kept is zero. It
// reports whether all were there.
func (t *Tape) Read(into []float64, first int64) bool {
	whole := true
	for i := 0; i < len(into); {
		at := first + int64(i)
		if at < t.From || at >= t.Length {
			whole = false
			into[i] = 0
			i++
			continue
		}
		b := at / int64(t.Block)
		slot := int(b % int64(t.most))
		off := int(at - b*int64(t.Block))
		n := min(t.Block-off, len(into)-i)
		s := float64(t.scale[slot])
		for j, v := range t.slot(slot)[off : off+n] {
			into[i+j] = float64(v) * s
		}
		i += n
	}
	return whole
}

// Powers keeps the power of a filtered sound in steps of half a millisecond.
type Powers struct {
	most  int
	power []float32 // a ring once it is full
	Count int64     // written since the beginning
	sum   float64
	in    int // samples in sum
	Size  int // samples a bin
}

// NewPowers returns an empty one, of size samples a step, that keeps most steps.
func NewPowers(size, most int) *Powers { return &Powers{Size: size, most: most} }

// Write takes samples.
func (b *Powers) Write(x []float64) {
	for len(x) > 0 {
		n := min(b.Size-b.in, len(x))
		var s0, s1 float64
		y := x[:n]
		i := 0
		for ; i+1 < len(y); i += 2 {
			s0 += y[i] * y[i]
			s1 += y[i+1] * y[i+1]
		}
		if i < len(y) {
			s0 += y[i] * y[i]
		}
		b.sum += s0 + s1
		b.in += n
		x = x[n:]
		if b.in == b.Size {
			p := float32(b.sum / float64(b.Size))
			if len(b.power) < b.most {
				b.power = append(b.power, p)
			} else {
				b.power[b.Count%int64(b.most)] = p
			}
			b.Count++
			b.sum, b.in = 0, 0
		}
	}
}

// From returns the first bin kept.
func (b *Powers) From() int64 { return b.Count - int64(len(b.power)) }

// At returns the power of bin i, or zero if it is not kept.
func (b *Powers) At(i int64) float64 {
	if i < b.From() || i >= b.Count {
		return 0
	}
	return float64(b.power[i%int64(b.most)])
}

// Excess returns, for n groups of per bins from first on, how far each stands out of the
// floor of its surroundings: log(1 + power/(4 floor)), less its mean of the
// second, seconds full of noise counting less. The floor is the 30% quantile of
// means over 20 ms, its median over five seconds taken.
func (b *Powers) Excess(first int64, n, per, perSecond int) []float64 {
	z := make([]float64, n)
	seconds := n/perSecond + 1
	floor := make([]float64, seconds)
	group := max(1, perSecond/50)
	var means []float64
	for s := range floor {
		means = means[:0]
		for i := s * perSecond; i+group <= min(n, (s+1)*perSecond); i += group {
			sum := 0.0
			for j := range group {
				for k := range per {
					sum += b.At(first + int64((i+j)*per+k))
				}
			}
			means = append(means, sum/float64(group*per))
		}
		if len(means) < 10 && s > 0 {
			floor[s] = floor[s-1]
			continue
		}
		floor[s] = robust.Quantile(means, 0.3)
	}
	smooth := make([]float64, seconds)
	top := 0.0
	for s := range smooth {
		smooth[s] = robust.Median(floor[max(0, s-2):min(seconds, s+3)])
		top = max(top, smooth[s])
	}
	sds := make([]float64, seconds)
	mean := make([]float64, seconds)
	for s := range sds {
		f := max(smooth[s], 1e-6*top, 1e-24)
		lo, hi := s*perSecond, min(n, (s+1)*perSecond)
		if hi <= lo {
			continue
		}
		sum, sum2 := 0.0, 0.0
		for i := lo; i < hi; i++ {
			v := 0.0
			for k := range per {
				v += math.Log1p(b.At(first+int64(i*per+k)) / (4 * f))
			}
			v /= float64(per)
			z[i] = v
			sum += v
			sum2 += v * v
		}
		m := sum / float64(hi-lo)
		mean[s], sds[s] = m, math.Sqrt(max(0, sum2/float64(hi-lo)-m*m))
	}
	usual := robust.Median(sds[:max(1, n/perSecond)])
	for s := range sds {
		w := 1.0
		if sds[s] > 1.3*usual {
			w = 1.3 * usual / sds[s]
			w *= w
		}
		for i := s * perSecond; i < min(n, (s+1)*perSecond); i++ {
			z[i] = (z[i] - mean[s]) * w
		}
	}
	return z
}

// Kept returns how many steps are kept.
func (b *Powers) Kept() int { return len(b.power) }
