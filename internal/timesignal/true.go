package timesignal

import (
	"math"

	"timeball/internal/robust"
	"timeball/internal/timebase"
)

// knotS is how far the places are apart at which a wandering clock is known.
const knotS = 60.0

// layTrue lays true time against file time for each run: a line, or if e wanders
// beyond the scatter (by the Bayesian information criterion) a line between
// places a minute apart.
func (c *Clock) layTrue(w walk, l timebase.Lines) {
	period := 1 + l.Slope
	zero := 0.0
	jumps := 0
	at := 0 // of the first pulse of the run, in l
	for i, r := range w.runs {
		rest := l.Rest[at : at+len(r)]
		at += len(r)
		level := l.MiddleY[i] - l.Slope*l.MiddleX[i] // file seconds at number 0
		file := func(number, off float64) float64 { return level + number*period + off }
		first, last := r[0].number, r[len(r)-1].number
		numbers, off := []float64{first, last}, []float64{0, 0}
		if steps := int((last - first) / knotS); steps >= 3 {
			if bent, ok := bend(r, rest, steps); ok {
				c.Wanders = true
				numbers, off = nil, bent
				for k := range steps + 1 {
					numbers = append(numbers, first+(last-first)*float64(k)/float64(steps))
				}
			}
		}
		if i == 0 {
			zero = first
		} else {
			before := c.runs[i-1]
			last := w.runs[i-1][len(w.runs[i-1])-1]
			c.runs[i-1].endS = (last.fileS + r[0].fileS) / 2
			if w.cause[i] == cutJump {
				// Where the run before would have had this second.
				c.Jumps[jumps].LostS = first - zero - before.at(r[0].fileS)
				jumps++
			}
		}
		m := run{endS: math.Inf(1)}
		// Before and after, the mean clock goes on.
		pad := 1.0
		m.fileS, m.trueS = append(m.fileS, file(numbers[0], off[0])-pad*period), append(m.trueS, numbers[0]-pad-zero)
		for k, number := range numbers {
			m.fileS, m.trueS = append(m.fileS, file(number, off[k])), append(m.trueS, number-zero)
		}
		n := len(numbers) - 1
		m.fileS, m.trueS = append(m.fileS, file(numbers[n], off[n])+pad*period), append(m.trueS, numbers[n]+pad-zero)
		c.runs = append(c.runs, m)
	}
}

// bend fits what the line leaves by straight pieces between steps + 1 places, by
// least squares of what is within five times the scatter of a first fit, and
// reports whether that is worth its unknowns.
func bend(r []second, rest []float64, steps int) ([]float64, bool) {
	first := r[0].number
	length := (r[len(r)-1].number - first) / float64(steps)
	off := make([]float64, steps+1)
	use := make([]bool, len(r))
	limit := math.Inf(1)
	var before, after, n float64
	for range 4 {
		diagonal, beside, right := make([]float64, steps+1), make([]float64, steps), make([]float64, steps+1)
		for i, s := range r {
			k, share := place(s.number, first, length, steps)
			left := rest[i] - off[k]*(1-share) - off[k+1]*share
			if use[i] = math.Abs(left) <= limit; !use[i] {
				continue
			}
			diagonal[k] += (1 - share) * (1 - share)
			diagonal[k+1] += share * share
			beside[k] += share * (1 - share)
			right[k] += (1 - share) * rest[i]
			right[k+1] += share * rest[i]
		}
		// A little weight to 0 keeps places without pulses from flying off.
		for k := range diagonal {
			diagonal[k] += 1e-3
		}
		for k := 1; k <= steps; k++ { // elimination in a band of three
			by := beside[k-1] / diagonal[k-1]
			diagonal[k] -= by * beside[k-1]
			right[k] -= by * right[k-1]
		}
		off[steps] = right[steps] / diagonal[steps]
		for k := steps - 1; k >= 0; k-- {
			off[k] = (right[k] - beside[k]*off[k+1]) / diagonal[k]
		}
		var sizes []float64
		before, after, n = 0, 0, 0
		for i, s := range r {
			k, share := place(s.number, first, length, steps)
			left := rest[i] - off[k]*(1-share) - off[k+1]*share
			sizes = append(sizes, math.Abs(left))
			if use[i] {
				before += rest[i] * rest[i]
				after += left * left
				n++
			}
		}
		limit = max(1e-9, 5*1.4826*robust.Median(sizes))
	}
	gain := n*math.Log(max(before, 1e-24)/max(after, 1e-24)) - float64(steps-1)*math.Log(n)
	return off, gain > 10
}

// place returns the piece of a number, and the share of it that is behind.
func place(number, first, length float64, steps int) (int, float64) {
	x := (number - first) / length
	k := min(max(int(x), 0), steps-1)
	return k, x - float64(k)
}
