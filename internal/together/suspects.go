package together

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"timeball/internal/together/noise"
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
func (s *search) examine(k Kind, pivot int, tau float64, members, rows []int, fit *noise.Fit) (look, bool) {
	f, ok := s.estimator(k, tau, rows, members, fit.Noise)
	if !ok {
		return look{}, false
	}
	l := look{kind: k, pivot: pivot, members: members, f: f}
	n := len(members)
	v, white, wander := make([]float64, n), make([]float64, n), make([]float64, n)
	for i, p := range members {
		l.y = append(l.y, f.value(s.Table, p))
		v[i], white[i], wander[i] = f.variance(s.Table, p, fit.Noise[p])
	}
	for j, p := range members {
		if s.Standard(p) {
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
		u := Suspect{Name: s.Names[p], Change: l.y[j] - mean, SD: math.Sqrt(v[j] + 1/total), RestDF: n - 2, member: p}
		for i := range members {
			if i != j {
				u.RestChi2 += (l.y[i] - mean) * (l.y[i] - mean) / v[i]
			}
		}
		// The doubt of ln SD² by the doubt of the noise (delta method).
		slope := func(i int) float64 {
			if i == j {
				return 1 / (u.SD * u.SD)
			}
			return 1 / (v[i] * v[i] * total * total * u.SD * u.SD)
		}
		rest := func(i int) float64 {
			if i == j {
				return 0
			}
			return 1 / (v[i] * v[i] * total * float64(max(n-2, 1)))
		}
		u.df = fit.Degrees(members, white, wander, slope)
		u.restNoise = fit.Degrees(members, white, wander, rest)
		l.suspects = append(l.suspects, u)
	}
	return l, len(l.suspects) > 0
}

func student(df float64) distuv.StudentsT {
	return distuv.StudentsT{Sigma: 1, Nu: math.Min(math.Max(df, 1), noise.MostDF)}
}

// restLimit is the 95% point of χ² on df degrees of freedom, widened for a
// noise known to noiseDF degrees: 3.84 for one and a known noise.
func restLimit(df int, noiseDF float64) float64 {
	if noiseDF >= noise.MostDF {
		return distuv.ChiSquared{K: float64(df)}.Quantile(0.95)
	}
	return float64(df) * distuv.F{D1: float64(df), D2: math.Max(noiseDF, 1)}.Quantile(0.95)
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
