package together

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/statespace"
	"timeball/internal/together/noise"
	"timeball/internal/together/rounds"
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
	mostChanges = 8
	shortlist   = 12
)

// Question returns which instrument changed at one instant that was chosen
// before looking: the row nearest to it. Where nothing shows, the verdict is
// Quiet. It returns an error that wraps ErrAlone if fewer than two members, or
// too few rows, stand around that instant.
func Question(b Book, at time.Time, o Options) (Change, error) {
	s, err := o.search(b)
	if err != nil {
		return Change{}, err
	}
	pivot := -1
	for k := range s.Days {
		if pivot < 0 || at.Sub(s.At[k]).Abs() < at.Sub(s.At[pivot]).Abs() {
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
	l, _, ok := s.lookAt(kind, pivot, s.fitWithout(kind, pivot))
	if !ok {
		return Change{}, none
	}
	c := judge(l, 1)
	c.At, c.From, c.To = s.At[pivot], s.At[l.f.rows[0]], s.At[l.f.rows[len(l.f.rows)-1]]
	if c.Chance > FalseAlarm {
		c.Verdict, c.Name = Quiet, ""
	}
	c.Words = c.words()
	return c, nil
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
	s, err := o.search(b)
	if err != nil {
		return nil, nil, err
	}
	found, _, notes := s.scan()
	return found, notes, nil
}

// scan returns all changes, the table without them, and remarks.
func (s *search) scan() (found []Change, without *rounds.Table, notes []string) {
	rest := s.clone()
	for len(found) < mostChanges {
		c, ok := rest.strongest()
		if !ok {
			break
		}
		rest.remove(&c, 1)
		found = append(found, c)
	}
	notes = s.Notes
	if len(found) == mostChanges {
		notes = append(slices.Clone(notes), fmt.Sprintf("the book shows %d changes or more; what follows from them is doubtful", mostChanges))
	}
	for i := range found {
		if found[i].Kind == Reading {
			continue
		}
		// Each is measured once more with all the others taken away.
		rest.remove(&found[i], -1)
		kind, pivot := found[i].Kind, found[i].look.pivot
		fit := rest.fitWithout(kind, pivot)
		if l, rows, ok := rest.lookAt(kind, pivot, fit); ok {
			found[i] = rest.refine(l, rows, fit, found[i])
		}
		rest.remove(&found[i], 1)
	}
	for i := range found {
		found[i].Words = found[i].words()
	}
	slices.SortStableFunc(found, func(p, q Change) int { return p.At.Compare(q.At) })
	return found, rest.Table, notes
}

// strongest returns the change with the least chance in a quiet book, if that
// is small enough.
func (s *search) strongest() (Change, bool) {
	terms := noise.In(s.Table)
	all := terms.Fit(noise.Nothing, s.given, nil)
	var looks []look
	count := 0
	for _, k := range []Kind{RateChange, Jump, Reading} {
		for pivot := range s.Days {
			if k == RateChange && (pivot < 2 || pivot > len(s.Days)-3) {
				continue // at the ends it cannot be told from a jump
			}
			l, rows, ok := s.lookAt(k, pivot, all)
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
	var fit *noise.Fit
	for i, l := range looks {
		f := terms.Fit(l.kind.place(l.pivot), s.given, all)
		if again, _, ok := s.lookAt(l.kind, l.pivot, f); ok && judge(again, count).Chance <= FalseAlarm {
			best, fit = &looks[i], f
			break
		}
	}
	if best == nil {
		return Change{}, false
	}
	most := 0.0
	for i, l := range looks {
		if again, _, ok := s.lookAt(l.kind, l.pivot, fit); ok && again.likeliest().strength() > most {
			best, most = &looks[i], again.likeliest().strength()
		}
	}
	fit = terms.Fit(best.kind.place(best.pivot), s.given, all)
	again, rows, ok := s.lookAt(best.kind, best.pivot, fit)
	if !ok {
		return Change{}, false
	}
	c := judge(again, count)
	if c.Chance > FalseAlarm {
		return Change{}, false
	}
	return s.refine(again, rows, fit, c), true
}
