package together

import (
	"fmt"
	"math"
	"slices"

	"timeball/internal/statespace"
	"timeball/internal/together/noise"
	"timeball/internal/together/rounds"
)

// search is a book in which changes are looked for.
type search struct {
	*rounds.Table
	given      []statespace.Noise // of each member; nil to read it out of the table
	windowDays float64
}

// search returns what o looks for in b, which must have two members at least.
func (o Options) search(b Book) (*search, error) {
	tb, err := rounds.Lay(b, !o.WithoutUTC)
	if err != nil {
		return nil, err
	}
	if o.Noise != nil && len(o.Noise) != tb.Instruments {
		return nil, fmt.Errorf("%w: noise is given for %d instruments of %d; give all, or zero for those not known", ErrBook, len(o.Noise), tb.Instruments)
	}
	for _, q := range o.Noise {
		if !(q.SigmaW >= 0 && q.SigmaR >= 0 && q.SigmaW < rounds.MostS && q.SigmaR < rounds.MostS) {
			return nil, fmt.Errorf("%w: a noise is %g and %g; give numbers that are not negative", ErrBook, q.SigmaW, q.SigmaR)
		}
	}
	if len(tb.X) < 2 {
		return nil, fmt.Errorf("%w: the book has one instrument; a comparison needs two, or rows known to be UTC", ErrAlone)
	}
	s := &search{Table: tb, windowDays: o.WindowDays}
	if o.Noise != nil {
		s.given = append(slices.Clone(o.Noise), statespace.Noise{})[:len(tb.X)]
	}
	return s, nil
}

// clone returns the same search in a table that can be changed.
func (s *search) clone() *search {
	c := *s
	c.Table = s.Table.Clone()
	return &c
}

// fitWithout returns the noise of the members as the table shows it apart from
// a change of kind k at row pivot.
func (s *search) fitWithout(k Kind, pivot int) *noise.Fit {
	return noise.In(s.Table).Fit(k.place(pivot), s.given, nil)
}

// lookAt looks for a change of kind k at row pivot, and returns the rows used.
func (s *search) lookAt(k Kind, pivot int, fit *noise.Fit) (look, []int, bool) {
	lo, hi := s.reach(pivot)
	members, rows := s.window(k, pivot, lo, hi)
	if len(members) < 2 {
		return look{}, nil, false
	}
	l, ok := s.examine(k, pivot, s.Days[pivot], members, rows, fit)
	return l, rows, ok
}

const (
	windowDays = 20
	windowRows = 6
	mostWindow = 40 // rows to either side
)

// reach returns the first and last row used for a change at row k.
func (s *search) reach(k int) (lo, hi int) {
	days, least := s.windowDays, 0
	if days == 0 {
		days, least = windowDays, windowRows
	}
	const slack = 1e-6
	lo, hi = k, k
	for lo > 0 && k-lo < mostWindow && (s.Days[k]-s.Days[lo-1] <= days+slack || k-lo < least) {
		lo--
	}
	for hi < len(s.Days)-1 && hi-k < mostWindow && (s.Days[hi+1]-s.Days[k] <= days+slack || hi-k < least) {
		hi++
	}
	return lo, hi
}

// place says which terms of the noise feel a change of kind k at row pivot.
func (k Kind) place(pivot int) noise.Leave {
	switch k {
	case Jump:
		return noise.Leave{After: pivot - 1, Before: pivot}
	case Reading:
		return noise.Leave{After: pivot - 1, Before: pivot + 1}
	}
	return noise.Leave{After: pivot, Before: pivot}
}

// window returns the members to ask about a change at row k, and the rows lo
// to hi in which all of them were read. A member that was seldom read is left
// out where it would cost the others half of their rows.
func (s *search) window(k Kind, pivot, lo, hi int) (members, rows []int) {
	for p := range s.X {
		members = append(members, p)
	}
	rows = s.shared(members, lo, hi)
	for len(members) > 2 {
		fewest, count := 0, math.MaxInt
		for i, p := range members {
			if n := len(s.shared([]int{p}, lo, hi)); n <= count {
				fewest, count = i, n
			}
		}
		fewer := slices.Delete(slices.Clone(members), fewest, fewest+1)
		more := s.shared(fewer, lo, hi)
		if enough(k, pivot, rows) && len(more) < 2*len(rows) {
			break
		}
		members, rows = fewer, more
	}
	if !enough(k, pivot, rows) {
		return nil, nil
	}
	return members, rows
}

func (s *search) shared(members []int, lo, hi int) []int {
	var rows []int
	for r := lo; r <= hi; r++ {
		all := true
		for _, p := range members {
			all = all && !math.IsNaN(s.X[p][r])
		}
		if all {
			rows = append(rows, r)
		}
	}
	return rows
}

// enough says whether rows show a change of kind k at row pivot apart from the
// error and rate before it.
func enough(k Kind, pivot int, rows []int) bool {
	at, found := slices.BinarySearch(rows, pivot)
	before, after := at, len(rows)-at // strictly before; at or after
	switch k {
	case RateChange:
		if found {
			return before >= 1 && after >= 2
		}
		return before >= 2 && after >= 2
	case Jump:
		return before >= 1 && after >= 1 && len(rows) >= 3
	case Reading:
		return found && before >= 1 && after >= 2
	}
	return false
}
