package timebase

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Lines are parallel lines through points: one slope, and a level for each.
type Lines struct {
	Slope, SlopeSd   float64
	MiddleX, MiddleY []float64 // of each line: its weighted mean point
	Points           []float64 // of each line: the sum of its weights
	Rest             []float64 // of each point: what the line leaves of y
	Weight           []float64 // of each point, 0 to 1; 0 is set aside
	Scatter          float64   // of the points, one standard deviation
}

// FitLines lays lines parallel lines through the points (x, y), of which of says
// the line, by Tukey's biweight. SlopeSd and Scatter are widened for few points
// and for neighbours that err together, so that 1.96 of them make 95%. It panics
// unless there are more points than unknowns and all lengths agree.
func FitLines(x, y []float64, of []int, lines int) Lines {
	n := len(x)
	if len(y) != n || len(of) != n || n <= lines+1 {
		panic("timebase: lengths differ, or too few points")
	}
	l := Lines{
		MiddleX: make([]float64, lines), MiddleY: make([]float64, lines), Points: make([]float64, lines),
		Rest: make([]float64, n), Weight: make([]float64, n),
	}
	for i := range l.Weight {
		l.Weight[i] = 1
	}
	scale := 0.0
	size := make([]float64, n)
	for range 30 {
		l.lay(x, y, of)
		for i, r := range l.Rest {
			size[i] = math.Abs(r)
		}
		slices.Sort(size)
		was := scale
		scale = max(leastScatter, 1.4826*size[n/2])
		for i, r := range l.Rest {
			u := r / (tukey * scale)
			l.Weight[i] = 0
			if u*u < 1 {
				l.Weight[i] = (1 - u*u) * (1 - u*u)
			}
		}
		if math.Abs(scale-was) < 1e-6*scale {
			break
		}
	}
	l.doubt(x, of, scale)
	return l
}

// tukey is the bound of the biweight that keeps 95% of the efficiency on normal
// scatter (J. W. Tukey; in P. J. Huber, Robust Statistics (1981), section 4.8).
const tukey = 4.685

// leastScatter keeps points that lie on a line to the last bit from being set
// aside.
const leastScatter = 1e-10

// lay lays the lines with the weights of now.
func (l *Lines) lay(x, y []float64, of []int) {
	clear(l.MiddleX)
	clear(l.MiddleY)
	clear(l.Points)
	for i, w := range l.Weight {
		l.MiddleX[of[i]] += w * x[i]
		l.MiddleY[of[i]] += w * y[i]
		l.Points[of[i]] += w
	}
	for k, sum := range l.Points {
		if sum > 0 {
			l.MiddleX[k] /= sum
			l.MiddleY[k] /= sum
		}
	}
	var sxx, sxy float64
	for i, w := range l.Weight {
		d := x[i] - l.MiddleX[of[i]]
		sxx += w * d * d
		sxy += w * d * (y[i] - l.MiddleY[of[i]])
	}
	if sxx > 0 {
		l.Slope = sxy / sxx
	}
	for i := range x {
		l.Rest[i] = y[i] - l.MiddleY[of[i]] - l.Slope*(x[i]-l.MiddleX[of[i]])
	}
}

// doubt sets the scatter that gives the doubt of such an estimate, with its
// correction for few points: Huber (1981), section 7.6.
func (l *Lines) doubt(x []float64, of []int, scale float64) {
	n, unknown := float64(len(x)), float64(len(l.Points)+1)
	var psi2, slopes, slopes2, sxx float64
	for i, r := range l.Rest {
		d := x[i] - l.MiddleX[of[i]]
		sxx += d * d
		if u2 := math.Pow(r/(tukey*scale), 2); u2 < 1 {
			by := (1 - u2) * (1 - 5*u2)
			slopes += by
			slopes2 += by * by
			psi2 += math.Pow(r*(1-u2)*(1-u2), 2)
		}
	}
	s2 := scale * scale
	if slopes > 0 {
		few := 1 + unknown*(slopes2/(slopes*slopes)-1/n)
		s2 = max(leastScatter*leastScatter, few*few*n*psi2/(slopes*slopes)*n/(n-unknown))
	}
	student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - unknown}.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
	l.Scatter = math.Sqrt(s2*l.together()) * student
	l.SlopeSd = l.Scatter / math.Sqrt(sxx)
}

// together returns the factor by which neighbours that err together widen a
// variance: 1 + 2 times the sum of their significant autocorrelations.
func (l *Lines) together() float64 {
	var kept []float64
	var all float64
	for i, r := range l.Rest {
		if l.Weight[i] > 0 {
			kept = append(kept, r)
			all += r * r
		}
	}
	factor, n := 1.0, len(kept)
	if all == 0 {
		return factor
	}
	for lag := 1; lag <= min(n/4, 1000); lag++ {
		var sum float64
		for i := lag; i < n; i++ {
			sum += kept[i] * kept[i-lag]
		}
		if sum/all < 2/math.Sqrt(float64(n)) {
			break
		}
		factor += 2 * sum / all
	}
	return factor
}
