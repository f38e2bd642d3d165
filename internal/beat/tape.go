package beat

import (
	"math"

	"timeball/internal/dsp"
)

// tape keeps the newest stretch of a filtered sound, a byte a sample: blocks of
// ten milliseconds or so, each with its own scale, so that ten minutes fit into
// some megabytes. The rounding lies 45 dB below the loudest sample of a block,
// far under the noise of any room.
type tape struct {
	block  int      // samples in a block
	most   int      // blocks kept
	pages  [][]int8 // pageBlocks blocks each, made when they are needed
	scale  []float32
	from   int64 // first sample kept
	length int64 // samples written since the beginning
	part   []float64
}

func newTape(block, mostSamples int) *tape {
	return &tape{block: block, most: max(2, mostSamples/block)}
}

// write appends samples. What does not fill a block waits.
func (t *tape) write(x []float64) {
	if len(t.part) > 0 {
		n := min(t.block-len(t.part), len(x))
		t.part = append(t.part, x[:n]...)
		x = x[n:]
		if len(t.part) < t.block {
			return
		}
		t.add(t.part)
		t.part = t.part[:0]
	}
	for len(x) >= t.block {
		t.add(x[:t.block])
		x = x[t.block:]
	}
	t.part = append(t.part, x...)
}

func (t *tape) add(x []float64) {
	step := dsp.Loudest(x) / 127
	slot := len(t.scale)
	if slot < t.most {
		t.scale = append(t.scale, 0)
		if slot%pageBlocks == 0 {
			t.pages = append(t.pages, make([]int8, pageBlocks*t.block))
		}
	} else {
		slot = int(t.length / int64(t.block) % int64(t.most))
		t.from += int64(t.block)
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
	t.length += int64(t.block)
}

// keep lets go of what is older than the newest samples.
func (t *tape) keep(samples int) {
	most := max(2, samples/t.block)
	if most >= t.most {
		return
	}
	n := min(most, len(t.scale))
	first := t.length/int64(t.block) - int64(n)
	kept := newTape(t.block, most*t.block)
	kept.scale = make([]float32, n)
	for b := first; b < first+int64(n); b++ { // block b lies at b modulo most, as if the tape had always been so short
		from, to := int(b%int64(t.most)), int(b%int64(most))
		if n < most {
			to = int(b - first)
		}
		for len(kept.pages) <= to/pageBlocks {
			kept.pages = append(kept.pages, make([]int8, pageBlocks*t.block))
		}
		copy(kept.slot(to), t.slot(from))
		kept.scale[to] = t.scale[from]
	}
	t.pages, t.scale, t.most = kept.pages, kept.scale, most
	t.from = first * int64(t.block)
}

// pageBlocks is how many blocks are made room for at a time.
const pageBlocks = 256

// slot returns the samples of a slot of the ring.
func (t *tape) slot(i int) []int8 {
	at := i % pageBlocks * t.block
	return t.pages[i/pageBlocks][at : at+t.block]
}

// read fills into with the samples from first on; what is not kept is zero. It
// reports whether all were there.
func (t *tape) read(into []float64, first int64) bool {
	whole := true
	for i := 0; i < len(into); {
		at := first + int64(i)
		if at < t.from || at >= t.length {
			whole = false
			into[i] = 0
			i++
			continue
		}
		b := at / int64(t.block)
		slot := int(b % int64(t.most))
		off := int(at - b*int64(t.block))
		n := min(t.block-off, len(into)-i)
		s := float64(t.scale[slot])
		for j, v := range t.slot(slot)[off : off+n] {
			into[i+j] = float64(v) * s
		}
		i += n
	}
	return whole
}

// bins keeps the power of a filtered sound in steps of half a millisecond.
type bins struct {
	most  int
	power []float32 // a ring once it is full
	count int64     // written since the beginning
	sum   float64
	in    int // samples in sum
	size  int // samples a bin
}

func newBins(size, most int) *bins { return &bins{size: size, most: most} }

func (b *bins) write(x []float64) {
	for len(x) > 0 {
		n := min(b.size-b.in, len(x))
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
		if b.in == b.size {
			p := float32(b.sum / float64(b.size))
			if len(b.power) < b.most {
				b.power = append(b.power, p)
			} else {
				b.power[b.count%int64(b.most)] = p
			}
			b.count++
			b.sum, b.in = 0, 0
		}
	}
}

// from returns the first bin kept.
func (b *bins) from() int64 { return b.count - int64(len(b.power)) }

// at returns the power of bin i, or zero if it is not kept.
func (b *bins) at(i int64) float64 {
	if i < b.from() || i >= b.count {
		return 0
	}
	return float64(b.power[i%int64(b.most)])
}

// excess returns, for n groups of per bins from first on, how far each stands out of the
// floor of its surroundings: log(1 + power/(4 floor)), less its mean of the
// second, seconds full of noise counting less. The floor is the 30% quantile of
// means over 20 ms, its median over five seconds taken.
func (b *bins) excess(first int64, n, per, perSecond int) []float64 {
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
					sum += b.at(first + int64((i+j)*per+k))
				}
			}
			means = append(means, sum/float64(group*per))
		}
		if len(means) < 10 && s > 0 {
			floor[s] = floor[s-1]
			continue
		}
		floor[s] = quantile(means, 0.3)
	}
	smooth := make([]float64, seconds)
	top := 0.0
	for s := range smooth {
		smooth[s] = median(floor[max(0, s-2):min(seconds, s+3)])
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
				v += math.Log1p(b.at(first+int64(i*per+k)) / (4 * f))
			}
			v /= float64(per)
			z[i] = v
			sum += v
			sum2 += v * v
		}
		m := sum / float64(hi-lo)
		mean[s], sds[s] = m, math.Sqrt(max(0, sum2/float64(hi-lo)-m*m))
	}
	usual := median(sds[:max(1, n/perSecond)])
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
