package timesignal

import "math"

// taps is half the number of samples that the value between two is made of.
const taps = 16

// between returns the value of y at i + part samples, part in [0, 1), by a sinc
// under a Blackman window; y has taps more samples on both sides. Weights w, of
// length 2 taps, are those of part.
func between(y []float64, i int, w *[2 * taps]float64) (v float64) {
	near := y[i-taps+1 : i+taps+1]
	for k, by := range w {
		v += by * near[k]
	}
	return v
}

// weights returns those of between.
func weights(part float64) (w [2 * taps]float64) {
	for k := range w {
		d := float64(k-taps+1) - part
		x := math.Pi * d / taps
		window := 0.42 + 0.5*math.Cos(x) + 0.08*math.Cos(2*x)
		sinc := 1.0
		if d != 0 {
			sinc = math.Sin(math.Pi*d) / (math.Pi * d)
		}
		w[k] = sinc * window
	}
	return w
}

// shape is the mean waveform of the pulses, or of their envelopes if the phase
// of the tone is another in each.
type shape struct {
	m        []float64 // less its mean
	slope    []float64 // of m, a sample
	mm       float64   // sum of m squared
	solve    [3]float64
	onset    float64 // samples after its beginning
	crest    float64
	envelope bool
	smooth   int // samples an envelope is the mean of
}

// match is how a window agrees with the shape.
type match struct {
	lag         float64 // samples by which the pulse is later than the middle
	height      float64 // of the shape
	correlation float64
}

// newShape returns the shape of one waveform.
func newShape(wave []float64, envelope bool, smooth int) *shape {
	s := &shape{envelope: envelope, smooth: smooth}
	if envelope {
		wave = envelopeOf(wave, smooth)
	}
	s.set(wave)
	return s
}

func (s *shape) set(wave []float64) {
	n := len(wave)
	mean := 0.0
	for _, v := range wave {
		mean += v / float64(n)
	}
	s.m, s.slope = make([]float64, n), make([]float64, n)
	s.mm = 0
	for i, v := range wave {
		s.m[i] = v - mean
		s.mm += s.m[i] * s.m[i]
	}
	slopeMean := 0.0
	for i := 1; i < n-1; i++ {
		s.slope[i] = (s.m[i+1] - s.m[i-1]) / 2
		slopeMean += s.slope[i] / float64(n)
	}
	var ms, ss float64
	for i := range s.slope {
		s.slope[i] -= slopeMean
		ms += s.m[i] * s.slope[i]
		ss += s.slope[i] * s.slope[i]
	}
	s.solve = [3]float64{s.mm, ms, ss}
}

// envelopeOf returns the running mean of the size of y over 2 smooth + 1
// samples.
func envelopeOf(y []float64, smooth int) []float64 {
	out := make([]float64, len(y))
	sum, count := 0.0, 0
	for i := -smooth; i < len(y); i++ {
		if j := i + smooth; j < len(y) {
			sum += math.Abs(y[j])
			count++
		}
		if j := i - smooth - 1; j >= 0 {
			sum -= math.Abs(y[j])
			count--
		}
		if i >= 0 {
			out[i] = sum / float64(count)
		}
	}
	return out
}

// match finds the shape in y, whose middle place for it begins at search + edge.
func (s *shape) match(y []float64, search, edge int) match {
	if s.envelope {
		y = envelopeOf(y, s.smooth)
	}
	n := len(s.m)
	best, at := math.Inf(-1), 0
	for lag := -search; lag <= search; lag++ {
		x := y[edge+search+lag : edge+search+lag+n]
		var dot, sum, sq float64
		for i, v := range x {
			dot += v * s.m[i]
			sum += v
			sq += v * v
		}
		if spread := sq - sum*sum/float64(n); spread > 0 {
			if c := dot / math.Sqrt(spread*s.mm); c > best {
				best, at = c, lag
			}
		}
	}
	if math.IsInf(best, -1) {
		return match{}
	}
	// Least squares in height, level and lag, from the best whole sample on.
	lag := float64(at)
	result := match{correlation: best}
	x := make([]float64, n)
	for range 8 {
		lag = min(max(lag, float64(-search-1)), float64(search+1))
		s.at(x, y, float64(edge+search)+lag)
		var xm, xs, sum, sq float64
		for i, v := range x {
			xm += v * s.m[i]
			xs += v * s.slope[i]
			sum += v
			sq += v * v
		}
		mm, ms, ss := s.solve[0], s.solve[1], s.solve[2]
		det := mm*ss - ms*ms
		if det <= 0 {
			return match{}
		}
		height, tilt := (xm*ss-xs*ms)/det, (xs*mm-xm*ms)/det
		if height <= 0 {
			return match{}
		}
		result.height, result.lag = height, lag
		if spread := sq - sum*sum/float64(n); spread > 0 {
			result.correlation = xm / math.Sqrt(spread*mm)
		}
		step := tilt / height
		lag -= max(-1, min(1, step))
		result.lag = lag
		if math.Abs(step) < 1e-7 {
			break
		}
	}
	if math.Abs(result.lag) > float64(search) {
		return match{}
	}
	return result
}

// at fills x with y from the place begin on.
func (s *shape) at(x, y []float64, begin float64) {
	whole := math.Floor(begin)
	w := weights(begin - whole)
	for i := range x {
		x[i] = between(y, int(whole)+i, &w)
	}
}

// meanShape returns the mean of the windows, each put where s finds itself in it
// and brought to the same height; those unlike s are left out.
func meanShape(windows []window, s *shape, length, search, edge int) *shape {
	sum, x := make([]float64, length), make([]float64, length)
	weight := 0.0
	for _, w := range windows {
		m := s.match(w.y, search, edge)
		if m.correlation < leastMatch {
			continue
		}
		y := w.y
		if s.envelope {
			y = envelopeOf(y, s.smooth)
		}
		s.at(x, y, float64(edge+search)+m.lag)
		for i, v := range x {
			sum[i] += v
		}
		weight += m.height
	}
	if weight == 0 {
		return s
	}
	for i := range sum {
		sum[i] /= weight
	}
	mean := &shape{envelope: s.envelope, smooth: s.smooth, onset: s.onset, crest: s.crest}
	mean.set(sum)
	return mean
}

// findOnset sets where the shape reaches half of its first crest, and its height.
func (s *shape) findOnset(rateHz float64) {
	n := len(s.m)
	base, quiet := 0.0, max(1, int(rateHz*0.001))
	for _, v := range s.m[:quiet] {
		base += v / float64(quiet)
	}
	size := func(i int) float64 { return math.Abs(s.m[i] - base) }
	s.crest = 0
	for i := range s.m {
		s.crest = max(s.crest, size(i))
	}
	first := 1
	for first < n-2 && (size(first) < 0.3*s.crest || size(first) < size(first+1)) {
		first++
	}
	half := size(first) / 2
	i := first
	for i > 0 && size(i-1) > half {
		i--
	}
	s.onset = float64(i)
	if i == 0 {
		return
	}
	// Between samples i-1 and i, by halving.
	padded := make([]float64, n+2*taps)
	for k := range padded {
		padded[k] = s.m[min(max(k-taps, 0), n-1)] - base
	}
	sign := 1.0
	if s.m[first] < base {
		sign = -1
	}
	low, high := 0.0, 1.0
	for range 30 {
		part := (low + high) / 2
		w := weights(part)
		if sign*between(padded, i-1+taps, &w) < half {
			low = part
		} else {
			high = part
		}
	}
	s.onset = float64(i-1) + (low+high)/2
}
