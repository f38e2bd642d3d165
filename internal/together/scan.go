package together

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// Verdict is the answer to the question which one changed.
type Verdict string

// The verdicts.
const (
	Accused     Verdict = "one changed"
	CannotTell  Verdict = "cannot tell which"
	MoreThanOne Verdict = "more than one changed"
	Quiet       Verdict = "nothing changed"
)

// Options says how to look. The zero value is for a scan of an ordinary book.
type Options struct {
	Kind Kind // for Question; RateChange if empty
	// WindowDays is how far before and after an instant readings are used;
	// 20 days if 0, and at least six rows.
	WindowDays float64
	// Noise is that of each of the book's names, as its own rating found it;
	// nil, or zero for one of them, to read it out of the book.
	Noise []statespace.Noise
	// WithoutUTC leaves out that some rows are known to be UTC.
	WithoutUTC bool
}

// FalseAlarm is the chance that Scan finds anything in a quiet book, at most:
// each look is held to this over the number of looks (Bonferroni), with the
// noise at each place taken from the rest of the book (Student's law).
const FalseAlarm = 0.05

// Change is one change that the book shows, and who is to blame.
type Change struct {
	Kind    Kind      `json:"kind"`
	Verdict Verdict   `json:"verdict"`
	Name    string    `json:"name,omitempty"` // of the one accused
	At      time.Time `json:"at"`             // about when
	From    time.Time `json:"from"`           // between which instants, 95%
	To      time.Time `json:"to"`
	// Suspects holds every instrument that was asked, in the order of the book.
	Suspects []Suspect `json:"suspects"`
	Chance   float64   `json:"chance"` // of as great a change anywhere in a quiet book, at most
	Looks    int       `json:"looks"`
	Words    string    `json:"words"`

	look   look
	shift  []float64 // taken from each member to go on looking
	rowsAt int       // rows after it
}

const (
	windowDays  = 20
	windowRows  = 6
	mostWindow  = 40 // rows to either side
	mostChanges = 8
	shortlist   = 12
)

// reach returns the first and last row used for a change at row k.
func (tb *table) reach(k int, days float64) (lo, hi int) {
	least := windowRows
	if days == 0 {
		days = windowDays
	} else {
		least = 0
	}
	const slack = 1e-6
	lo, hi = k, k
	for lo > 0 && k-lo < mostWindow && (tb.t[k]-tb.t[lo-1] <= days+slack || k-lo < least) {
		lo--
	}
	for hi < len(tb.t)-1 && hi-k < mostWindow && (tb.t[hi+1]-tb.t[k] <= days+slack || hi-k < least) {
		hi++
	}
	return lo, hi
}

// place says which terms of the noise feel a change of kind k at row pivot.
func (k Kind) place(pivot int) leave {
	switch k {
	case Jump:
		return leave{after: pivot - 1, before: pivot}
	case Reading:
		return leave{after: pivot - 1, before: pivot + 1}
	}
	return leave{after: pivot, before: pivot}
}

// Question returns which instrument changed at one instant that was chosen
// before looking: the row nearest to it. Where nothing shows, the verdict is
// Quiet. It returns an error that wraps ErrAlone if fewer than two members, or
// too few rows, stand around that instant.
func Question(b Book, at time.Time, o Options) (Change, error) {
	tb, err := o.lay(b)
	if err != nil {
		return Change{}, err
	}
	pivot := -1
	for k := range tb.t {
		if pivot < 0 || at.Sub(tb.at[k]).Abs() < at.Sub(tb.at[pivot]).Abs() {
			pivot = k
		}
	}
	kind := o.Kind
	if kind == "" {
		kind = RateChange
	}
	none := fmt.Errorf("%w: too few instruments were read together around %s; read two or more at one time, before and after", ErrAlone, at.UTC().Format(time.RFC3339))
	if pivot < 0 {
		return Change{}, none
	}
	l, _, ok := tb.lookAt(kind, pivot, o, tb.fit(tb.terms(), kind.place(pivot), o.given(tb), nil))
	if !ok {
		return Change{}, none
	}
	c := judge(l, 1)
	c.At, c.From, c.To = tb.at[pivot], tb.at[l.f.rows[0]], tb.at[l.f.rows[len(l.f.rows)-1]]
	if c.Chance > FalseAlarm {
		c.Verdict, c.Name = Quiet, ""
	}
	c.Words = tb.words(c)
	return c, nil
}

// lay returns the table of b as o wants it, for at least two members.
func (o Options) lay(b Book) (*table, error) {
	tb, err := lay(b, !o.WithoutUTC)
	if err != nil {
		return nil, err
	}
	if o.Noise != nil && len(o.Noise) != tb.n {
		return nil, fmt.Errorf("%w: noise is given for %d instruments of %d; give all, or zero for those not known", ErrBook, len(o.Noise), tb.n)
	}
	for _, q := range o.Noise {
		if !(q.SigmaW >= 0 && q.SigmaR >= 0 && q.SigmaW < mostS && q.SigmaR < mostS) {
			return nil, fmt.Errorf("%w: a noise is %g and %g; give numbers that are not negative", ErrBook, q.SigmaW, q.SigmaR)
		}
	}
	if len(tb.x) < 2 {
		return nil, fmt.Errorf("%w: the book has one instrument; a comparison needs two, or rows known to be UTC", ErrAlone)
	}
	return tb, nil
}

func (o Options) given(tb *table) []statespace.Noise {
	if o.Noise == nil {
		return nil
	}
	return append(slices.Clone(o.Noise), statespace.Noise{})[:len(tb.x)]
}

func (tb *table) lookAt(k Kind, pivot int, o Options, fit *noiseFit) (look, []int, bool) {
	lo, hi := tb.reach(pivot, o.WindowDays)
	members, rows := tb.window(k, pivot, lo, hi)
	if len(members) < 2 {
		return look{}, nil, false
	}
	l, ok := tb.examine(k, pivot, tb.t[pivot], members, rows, fit)
	return l, rows, ok
}

// judge gives the verdict on a look that was one of so many.
func judge(l look, looks int) Change {
	l.settle()
	best := l.likeliest()
	c := Change{Kind: l.kind, Suspects: slices.Clone(l.suspects), Looks: looks, look: l}
	c.Chance = math.Min(1, best.p*float64(looks))
	quiet := 0
	for _, s := range l.suspects {
		if s.Quiet {
			quiet++
			c.Name = s.Name
		}
	}
	switch quiet {
	case 1:
		c.Verdict = Accused
	case 0:
		c.Verdict, c.Name = MoreThanOne, ""
	default:
		c.Verdict, c.Name = CannotTell, ""
	}
	return c
}

// Scan returns all changes that b shows, in order of time: none, in at least
// 95 of a hundred quiet books. It looks for a change of rate at every row, a
// jump between any two and a reading that is out; what it finds is taken away
// and it looks again.
func Scan(b Book, o Options) ([]Change, []string, error) {
	tb, err := o.lay(b)
	if err != nil {
		return nil, nil, err
	}
	found, _, notes := tb.scan(o)
	return found, notes, nil
}

// scan returns all changes, the table without them, and remarks.
func (tb *table) scan(o Options) (found []Change, rest *table, notes []string) {
	rest = tb.copy()
	for len(found) < mostChanges {
		c, ok := rest.strongest(o)
		if !ok {
			break
		}
		rest.remove(&c, 1)
		found = append(found, c)
	}
	notes = tb.notes
	if len(found) == mostChanges {
		notes = append(slices.Clone(notes), fmt.Sprintf("the book shows %d changes or more; what follows from them is doubtful", mostChanges))
	}
	for i := range found {
		if found[i].Kind == Reading {
			continue
		}
		// Each is measured once more with all the others taken away.
		rest.remove(&found[i], -1)
		fit := rest.fit(rest.terms(), found[i].Kind.place(found[i].look.pivot), o.given(rest), nil)
		if l, rows, ok := rest.lookAt(found[i].Kind, found[i].look.pivot, o, fit); ok {
			found[i] = rest.refine(l, rows, fit, found[i])
		}
		rest.remove(&found[i], 1)
	}
	for i := range found {
		found[i].Words = tb.words(found[i])
	}
	slices.SortStableFunc(found, func(p, q Change) int { return p.At.Compare(q.At) })
	return found, rest, notes
}

// strongest returns the change with the least chance in a quiet book, if that
// is small enough.
func (tb *table) strongest(o Options) (Change, bool) {
	terms := tb.terms()
	all := tb.fit(terms, keepAll, o.given(tb), nil)
	var looks []look
	count := 0
	for _, k := range []Kind{RateChange, Jump, Reading} {
		for pivot := range tb.t {
			if k == RateChange && (pivot < 2 || pivot > len(tb.t)-3) {
				continue // at the ends it cannot be told from a jump
			}
			l, rows, ok := tb.lookAt(k, pivot, o, all)
			if !ok || !slices.Contains(rows, pivot) {
				continue
			}
			count += len(l.suspects)
			looks = append(looks, l)
		}
	}
	if len(looks) == 0 {
		return Change{}, false
	}
	slices.SortStableFunc(looks, func(p, q look) int {
		return cmp.Compare(q.likeliest().strength(), p.likeliest().strength())
	})
	// Whether anything happened is asked of each with the noise of the rest of
	// the book; what happened, of all with one and the same noise.
	looks = looks[:min(shortlist, len(looks))]
	var best *look
	var fit *noiseFit
	for i, l := range looks {
		f := tb.fit(terms, l.kind.place(l.pivot), o.given(tb), all)
		if again, _, ok := tb.lookAt(l.kind, l.pivot, o, f); ok && judge(again, count).Chance <= FalseAlarm {
			best, fit = &looks[i], f
			break
		}
	}
	if best == nil {
		return Change{}, false
	}
	most := 0.0
	for i, l := range looks {
		if again, _, ok := tb.lookAt(l.kind, l.pivot, o, fit); ok && again.likeliest().strength() > most {
			best, most = &looks[i], again.likeliest().strength()
		}
	}
	fit = tb.fit(terms, best.kind.place(best.pivot), o.given(tb), all)
	again, rows, ok := tb.lookAt(best.kind, best.pivot, o, fit)
	if !ok {
		return Change{}, false
	}
	c := judge(again, count)
	if c.Chance > FalseAlarm {
		return Change{}, false
	}
	return tb.refine(again, rows, fit, c), true
}

// refine averages the change over the instants at which it may have happened,
// each weighted by its likelihood, and gives the verdict.
func (tb *table) refine(l look, rows []int, fit *noiseFit, c Change) Change {
	prior := c
	c = judge(l, prior.Looks)
	c.Chance = prior.Chance
	best := l.likeliest()
	var taus, weights []float64
	var looks []look
	if l.kind == Reading {
		taus, weights, looks = []float64{tb.t[l.pivot]}, []float64{1}, []look{l}
	} else {
		at, _ := slices.BinarySearch(rows, l.pivot)
		top := 0.5 * best.Change * best.Change / (best.SD * best.SD)
		for i := max(1, at-10); i <= min(len(rows)-1, at+10); i++ {
			lo, hi := tb.t[rows[i-1]], tb.t[rows[i]]
			try := []float64{hi}
			width := hi - lo
			if l.kind == RateChange {
				try, width = []float64{lo + width/4, hi - width/4}, width/2
			}
			for _, tau := range try {
				a, ok := tb.examine(l.kind, rows[i], tau, l.members, rows, fit)
				if !ok {
					continue
				}
				s := a.of(best.member)
				taus, looks = append(taus, tau), append(looks, a)
				weights = append(weights, width*s.SD*math.Exp(0.5*s.Change*s.Change/(s.SD*s.SD)-top))
			}
		}
	}
	total := 0.0
	for _, w := range weights {
		total += w
	}
	if !(total > 0) || math.IsInf(total, 0) {
		taus, weights, looks, total = []float64{tb.t[l.pivot]}, []float64{1}, []look{l}, 1
	}
	for i := range c.Suspects {
		s := &c.Suspects[i]
		mean, square, inner := 0.0, 0.0, 0.0
		for j, a := range looks {
			o := a.of(s.member)
			w := weights[j] / total
			mean += w * o.Change
			square += w * o.Change * o.Change
			inner += w * o.SD * o.SD
		}
		half := (s.Hi95 - s.Lo95) / 2 / s.SD
		s.Change, s.SD = mean, math.Sqrt(inner+math.Max(0, square-mean*mean))
		s.Lo95, s.Hi95 = mean-half*s.SD, mean+half*s.SD
	}
	tb.when(&c, taus, weights, total, rows)
	tb.shifts(&c)
	return c
}

func (l *look) of(member int) *Suspect {
	for i := range l.suspects {
		if l.suspects[i].member == member {
			return &l.suspects[i]
		}
	}
	return &l.suspects[0]
}

// when sets the instant of c and the 95% interval that its weights give.
func (tb *table) when(c *Change, taus, weights []float64, total float64, rows []int) {
	at := func(tau float64) time.Time { return timescale.AddDays(tb.at[0], tau) }
	quantile := func(p float64) float64 {
		sum := 0.0
		for i, w := range weights {
			sum += w / total
			if sum >= p {
				return taus[i]
			}
		}
		return taus[len(taus)-1]
	}
	lo, mid, hi := quantile(0.025), quantile(0.5), quantile(0.975)
	before := func(tau float64) float64 { // the row before it
		last := tb.t[rows[0]]
		for _, r := range rows {
			if tb.t[r] < tau {
				last = tb.t[r]
			}
		}
		return last
	}
	after := func(tau float64) float64 { // the row at or after it
		for _, r := range rows {
			if tb.t[r] >= tau {
				return tb.t[r]
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
		if tb.t[r] >= mid {
			c.rowsAt++
		}
	}
}

// shifts sets what has to be taken from each member so that the change no
// longer shows: the accused one's own, or what each did.
func (tb *table) shifts(c *Change) {
	c.shift = make([]float64, len(tb.x))
	if c.Verdict == Accused {
		for i := range c.Suspects {
			if s := &c.Suspects[i]; s.Name == c.Name {
				c.shift[s.member] = s.Change
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
func (tb *table) remove(c *Change, sign float64) {
	if c.Kind == Reading {
		for p, s := range c.shift {
			if s != 0 {
				tb.x[p][c.look.pivot] = math.NaN()
			}
		}
		return
	}
	tau := timescale.Days(tb.at[0], c.At)
	if c.Kind == Jump {
		tau = tb.t[c.look.pivot]
	}
	for p, s := range c.shift {
		if tb.standard(p) {
			continue
		}
		for k := range tb.t {
			tb.x[p][k] -= sign * s * c.Kind.shape(tb.t[k], tau)
		}
	}
}
