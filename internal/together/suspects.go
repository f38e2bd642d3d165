package together

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Suspect is one instrument supposed to be the only one that changed.
type Suspect struct {
	Name   string  `json:"name"`
	Change float64 `json:"change"` // s/d of a rate, s of a jump or a reading
	SD     float64 `json:"change_sd"`
	Lo95   float64 `json:"lo95"`
	Hi95   float64 `json:"hi95"`
	// RestChi2 is what the others do among themselves when this one is taken
	// out, on RestDF degrees of freedom; Quiet where that is no more than 95
	// in a hundred quiet books show. Nothing is left to be quiet on 0 degrees.
	RestChi2 float64 `json:"rest_chi2"`
	RestDF   int     `json:"rest_df"`
	Quiet    bool    `json:"quiet"`

	member    int
	df        float64 // degrees of freedom of SD
	restNoise float64 // and of the noise behind RestChi2
	p         float64 // of a change as great in a quiet book, at this one look; set by settle
}

// look is what all members show of one change at one place.
type look struct {
	kind     Kind
	pivot    int // row
	members  []int
	f        functional
	y        []float64 // the functional of each member
	suspects []Suspect
}

// examine looks for a change of kind k at tau among members in rows.
func (tb *table) examine(k Kind, pivot int, tau float64, members, rows []int, fit *noiseFit) (look, bool) {
	f, ok := tb.estimator(k, tau, rows, members, fit.noise)
	if !ok {
		return look{}, false
	}
	l := look{kind: k, pivot: pivot, members: members, f: f}
	n := len(members)
	v, white, wander := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, p := range members {
		l.y = append(l.y, f.value(tb, p))
		v[i], white[i], wander[i] = f.variance(tb, p, fit.noise[p])
	}
	for j, p := range members {
		if tb.standard(p) {
			continue
		}
		total, mean := 0.0, 0.0
		for i := range members {
			if i != j {
				total += 1 / v[i]
				mean += l.y[i] / v[i]
			}
		}
		mean /= total
		s := Suspect{Name: tb.names[p], Change: l.y[j] - mean, SD: math.Sqrt(v[j] + 1/total), RestDF: n - 2, member: p}
		for i := range members {
			if i != j {
				s.RestChi2 += (l.y[i] - mean) * (l.y[i] - mean) / v[i]
			}
		}
		// The doubt of ln SD² by the doubt of the noise (delta method).
		slope := func(i int) float64 {
			if i == j {
				return 1 / (s.SD * s.SD)
			}
			return 1 / (v[i] * v[i] * total * total * s.SD * s.SD)
		}
		rest := func(i int) float64 {
			if i == j {
				return 0
			}
			return 1 / (v[i] * v[i] * total * float64(max(n-2, 1)))
		}
		s.df = fit.degrees(members, white, wander, slope)
		s.restNoise = fit.degrees(members, white, wander, rest)
		l.suspects = append(l.suspects, s)
	}
	return l, len(l.suspects) > 0
}

// mostDF is where Student's law is no longer told from the normal one.
const mostDF = 1e5

func student(df float64) distuv.StudentsT {
	return distuv.StudentsT{Sigma: 1, Nu: math.Min(math.Max(df, 1), mostDF)}
}

// restLimit is the 95% point of χ² on df degrees of freedom, widened for a
// noise known to noiseDF degrees: 3.84 for one and a known noise.
func restLimit(df int, noiseDF float64) float64 {
	if noiseDF >= mostDF {
		return distuv.ChiSquared{K: float64(df)}.Quantile(0.95)
	}
	return float64(df) * distuv.F{D1: float64(df), D2: math.Max(noiseDF, 1)}.Quantile(0.95)
}

// degrees returns the degrees of freedom of a variance whose logarithm has the
// slope given by each member's: twice over its own variance.
func (f *noiseFit) degrees(members []int, white, wander []float64, slope func(int) float64) float64 {
	if f.cov == nil {
		return mostDF
	}
	n := f.cov.SymmetricDim()
	g := mat.NewVecDense(n, nil)
	for i, p := range members {
		if at := f.at[p]; at >= 0 {
			g.SetVec(at, slope(i)*(white[i]+wander[i]))
			g.SetVec(at+1, slope(i)*wander[i])
		}
	}
	if v := mat.Inner(g, f.cov, g); v > 2/mostDF {
		return 2 / v
	}
	return mostDF
}

// settle sets what takes long to reckon and is wanted of few looks: chance,
// interval and quiet.
func (l *look) settle() {
	for i := range l.suspects {
		s := &l.suspects[i]
		t := student(s.df)
		half := -t.Quantile(0.025) * s.SD
		s.Lo95, s.Hi95 = s.Change-half, s.Change+half
		s.p = 2 * t.CDF(-math.Abs(s.Change)/s.SD)
		s.Quiet = s.RestDF == 0 || s.RestChi2 <= restLimit(s.RestDF, s.restNoise)
	}
}

// strength returns the size of the change in its standard deviations.
func (s *Suspect) strength() float64 { return math.Abs(s.Change) / s.SD }

// likeliest returns the suspect that explains most.
func (l *look) likeliest() *Suspect {
	best := &l.suspects[0]
	for i := range l.suspects {
		if s := &l.suspects[i]; s.strength() > best.strength() {
			best = s
		}
	}
	return best
}
