package together

import (
	"math"
	"slices"
	"time"

	"timeball/internal/timescale"
	"timeball/internal/together/noise"
)

// instant is one at which a change may have happened.
type instant struct {
	tau    float64 // days
	weight float64 // its part of the likelihood
	look   look    // the change, if it was then
}

// refine averages the change over the instants at which it may have happened,
// each weighted by its likelihood, and gives the verdict.
func (s *search) refine(l look, rows []int, fit *noise.Fit, prior Change) Change {
	c := judge(l, prior.Looks)
	c.Chance = prior.Chance
	instants := s.instants(l, rows, fit)
	for i := range c.Suspects {
		u := &c.Suspects[i]
		mean, square, inner := 0.0, 0.0, 0.0
		for _, at := range instants {
			o := at.look.of(u.member)
			mean += at.weight * o.Change
			square += at.weight * o.Change * o.Change
			inner += at.weight * o.SD * o.SD
		}
		half := (u.Hi95 - u.Lo95) / 2 / u.SD
		u.Change, u.SD = mean, math.Sqrt(inner+math.Max(0, square-mean*mean))
		u.Lo95, u.Hi95 = mean-half*u.SD, mean+half*u.SD
	}
	s.when(&c, instants, rows)
	s.shifts(&c)
	return c
}

// nearby is how many rows before and after the likeliest one are tried.
const nearby = 10

// instants returns when the change of l may have happened, in order of time;
// their weights add up to 1.
func (s *search) instants(l look, rows []int, fit *noise.Fit) []instant {
	alone := []instant{{s.Days[l.pivot], 1, l}}
	if l.kind == Reading {
		return alone
	}
	var all []instant
	total := 0.0
	best := l.likeliest()
	top := 0.5 * best.Change * best.Change / (best.SD * best.SD)
	middle, _ := slices.BinarySearch(rows, l.pivot)
	for i := max(1, middle-nearby); i <= min(len(rows)-1, middle+nearby); i++ {
		lo, hi := s.Days[rows[i-1]], s.Days[rows[i]]
		taus, width := []float64{hi}, hi-lo
		if l.kind == RateChange {
			taus, width = []float64{lo + width/4, hi - width/4}, width/2
		}
		for _, tau := range taus {
			a, ok := s.examine(l.kind, rows[i], tau, l.members, rows, fit)
			if !ok {
				continue
			}
			u := a.of(best.member)
			w := width * u.SD * math.Exp(0.5*u.Change*u.Change/(u.SD*u.SD)-top)
			all = append(all, instant{tau, w, a})
			total += w
		}
	}
	if !(total > 0) || math.IsInf(total, 0) {
		return alone
	}
	for i := range all {
		all[i].weight /= total
	}
	return all
}

// of returns what the look says of a member.
func (l *look) of(member int) *Suspect {
	for i := range l.suspects {
		if l.suspects[i].member == member {
			return &l.suspects[i]
		}
	}
	return &l.suspects[0]
}

// when sets the instant of c and the 95% interval that the weights give.
func (s *search) when(c *Change, instants []instant, rows []int) {
	at := func(tau float64) time.Time { return timescale.AddDays(s.At[0], tau) }
	quantile := func(p float64) float64 {
		sum := 0.0
		for _, i := range instants {
			if sum += i.weight; sum >= p {
				return i.tau
			}
		}
		return instants[len(instants)-1].tau
	}
	lo, mid, hi := quantile(0.025), quantile(0.5), quantile(0.975)
	before := func(tau float64) float64 { // the row before it
		last := s.Days[rows[0]]
		for _, r := range rows {
			if s.Days[r] < tau {
				last = s.Days[r]
			}
		}
		return last
	}
	after := func(tau float64) float64 { // the row at or after it
		for _, r := range rows {
			if s.Days[r] >= tau {
				return s.Days[r]
			}
		}
		return tau
	}
	switch c.Kind {
	case Reading:
		c.At, c.From, c.To = at(mid), at(mid), at(mid)
	default:
		c.From, c.To = at(before(lo)), at(after(hi))
		c.At = at(mid)
		if c.Kind == Jump {
			c.At = at((before(mid) + mid) / 2)
		}
	}
	c.rowsAt = 0
	for _, r := range rows {
		if s.Days[r] >= mid {
			c.rowsAt++
		}
	}
}

// shifts sets what has to be taken from each member so that the change no
// longer shows: the accused one's own, or what each did.
func (s *search) shifts(c *Change) {
	c.shift = make([]float64, len(s.X))
	if c.Verdict == Accused {
		for i := range c.Suspects {
			if u := &c.Suspects[i]; u.Name == c.Name {
				c.shift[u.member] = u.Change
			}
		}
		return
	}
	base := c.look.y[len(c.look.y)-1] // the standard, where there is one
	for i, p := range c.look.members {
		c.shift[p] = c.look.y[i] - base
	}
}

// remove takes c away from the readings, or gives it back with sign -1.
func (s *search) remove(c *Change, sign float64) {
	if c.Kind == Reading {
		for p, by := range c.shift {
			if by != 0 {
				s.X[p][c.look.pivot] = math.NaN()
			}
		}
		return
	}
	tau := timescale.Days(s.At[0], c.At)
	if c.Kind == Jump {
		tau = s.Days[c.look.pivot]
	}
	for p, by := range c.shift {
		if s.Standard(p) {
			continue
		}
		for k := range s.Days {
			s.X[p][k] -= sign * by * c.Kind.shape(s.Days[k], tau)
		}
	}
}
