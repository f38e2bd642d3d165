package programme

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
)

// ErrProgramme marks a programme that does not hold.
var ErrProgramme = errors.New("the programme is refused")

// Limits of a programme.
const (
	MaxDays     = 400
	maxPeriods  = 100
	maxCriteria = 40
	maxClasses  = 12
	maxTerms    = 12
	maxName     = 80   // letters of a name
	maxText     = 2000 // letters of a text
)

// fault is what does not hold and where: "criterion 3 from".
type fault struct{ at, why string }

func (f *fault) Error() string {
	if f.at == "" {
		return f.why
	}
	return f.at + ": " + f.why
}

func bad(at, format string, args ...any) *fault { return &fault{at, fmt.Sprintf(format, args...)} }

// firstOf returns the first fault.
func firstOf(all ...*fault) *fault {
	for _, f := range all {
		if f != nil {
			return f
		}
	}
	return nil
}

// Check returns nil if the programme can be judged by, and else an error that
// wraps ErrProgramme and names the field and what to write.
func (p Programme) Check() error {
	if f := p.fault(); f != nil {
		return fmt.Errorf("%w: %w", ErrProgramme, f)
	}
	return nil
}

func (p Programme) fault() *fault {
	switch {
	case strings.TrimSpace(p.Name) == "":
		return bad("name", "there is none; write what the programme is called")
	case len(p.Periods) == 0:
		return bad("periods", "there are no days at all; write at least one period, such as - {days: 5, temp_c: 20, position: dial up}")
	case len(p.Periods) > maxPeriods:
		return bad("periods", "there are %d; write at most %d", len(p.Periods), maxPeriods)
	case len(p.Criteria) > maxCriteria:
		return bad("criteria", "there are %d; write at most %d", len(p.Criteria), maxCriteria)
	}
	f := firstOf(
		within("settling_h", p.SettlingH, 0, 10000, "hours"), within("within_h", p.WithinH, 0, 12, "hours"), within("within_c", p.WithinC, 0, 20, "°C"),
		short("name", p.Name, maxName), short("about", p.About, maxText), short("source", p.Source, maxText),
	)
	if f != nil {
		return f
	}
	days := 0
	for i, q := range p.Periods {
		if f := q.fault(fmt.Sprintf("period %d", i+1)); f != nil {
			return f
		}
		if days += q.Days; days > MaxDays {
			return bad(fmt.Sprintf("period %d days", i+1), "with it the trial has %d days; write at most %d in all", days, MaxDays)
		}
	}
	for i := range p.Criteria {
		if f := p.criterionFault(i); f != nil {
			return f
		}
	}
	return nil
}

func (q Period) fault(at string) *fault {
	f := firstOf(short(at+" name", q.Name, maxName), wholeWithin(at+" days", q.Days, 1, MaxDays, "days"), within(at+" wind_every_h", q.WindEveryH, 0, 1000, "hours"))
	if f == nil && q.TempC != nil {
		f = within(at+" temp_c", *q.TempC, -60, 80, "degrees Celsius")
	}
	if f == nil && q.Position != "" && !slices.Contains(positions, q.Position) {
		f = bad(at+" position", "%.40q is not known; write one of: %s", q.Position, strings.Join(positions, ", "))
	}
	return f
}

func (p Programme) criterionFault(i int) *fault {
	c, at := p.Criteria[i], fmt.Sprintf("criterion %d", i+1)
	if strings.TrimSpace(c.Name) == "" {
		return bad(at+" name", "there is none; write a letter or short words")
	}
	for k, other := range p.Criteria[:i] {
		if other.Name == c.Name {
			return bad(at+" name", "%.40q is the name of criterion %d too; give each its own", c.Name, k+1)
		}
	}
	if !slices.Contains(Measures(), c.Of) {
		return bad(at+" of", "the measure %.60q is not known%s; write one of: %s", string(c.Of), Perhaps(string(c.Of), texts(Measures())), strings.Join(texts(Measures()), ", "))
	}
	f := firstOf(
		short(at+" name", c.Name, maxName), short(at+" about", c.About, maxText), short(at+" unit", c.Unit, 30),
		p.namesPeriods(at+" periods", c.Periods), p.namesPeriods(at+" less", c.Less), limits(at, c),
	)
	if f != nil {
		return f
	}
	if c.Of == Combined {
		return p.termsFault(at, i)
	}
	if len(c.Terms) > 0 {
		return bad(at+" terms", "%q has no terms; leave them out, or write of: %s", string(c.Of), Combined)
	}
	return p.measureFault(at, c)
}

func limits(at string, c Criterion) *fault {
	for _, l := range []struct {
		name string
		v    *float64
	}{{" from", c.From}, {" to", c.To}} {
		if l.v != nil {
			if f := within(at+l.name, *l.v, -1e6, 1e6, ""); f != nil {
				return f
			}
		}
	}
	switch {
	case c.From != nil && c.To != nil && *c.From > *c.To:
		return bad(at+" from", "%g is above to, %g; write the lower limit in from", *c.From, *c.To)
	case len(c.Classes) > 0 && (c.From != nil || c.To != nil):
		return bad(at+" classes", "there are from or to as well; write either the two limits or classes")
	case len(c.Classes) > maxClasses:
		return bad(at+" classes", "there are %d; write at most %d", len(c.Classes), maxClasses)
	}
	for k, class := range c.Classes {
		own := fmt.Sprintf("%s class %d", at, k+1)
		if strings.TrimSpace(class.Name) == "" {
			return bad(own+" name", "there is none; write what the class is called")
		}
		if f := firstOf(short(own+" name", class.Name, maxName), within(own+" most", class.Most, 0, 1e6, "")); f != nil {
			return f
		}
		if k > 0 && class.Most <= c.Classes[k-1].Most {
			return bad(own+" most", "%g is not above %g of the class before; write the best class first", class.Most, c.Classes[k-1].Most)
		}
	}
	return nil
}

func (p Programme) namesPeriods(at string, named []int) *fault {
	for k, n := range named {
		if n < 1 || n > len(p.Periods) {
			return bad(at, "there is no period %d; write numbers from 1 to %d", n, len(p.Periods))
		}
		if k > 0 && n <= named[k-1] {
			return bad(at, "%d stands after %d; write the periods in order and each once", n, named[k-1])
		}
	}
	return nil
}

func (p Programme) termsFault(at string, i int) *fault {
	c := p.Criteria[i]
	switch {
	case len(c.Terms) == 0:
		return bad(at+" terms", "there are none; write what is summed, such as - {times: 2, name: b}")
	case len(c.Terms) > maxTerms:
		return bad(at+" terms", "there are %d; write at most %d", len(c.Terms), maxTerms)
	case len(c.Periods) > 0 || len(c.Less) > 0:
		return bad(at+" periods", "a sum of criteria takes the periods of its terms; leave them out")
	case c.SumDays != 0:
		return bad(at+" sum_days", "a sum of criteria takes the days of its terms; leave it out")
	}
	for k, t := range c.Terms {
		own := fmt.Sprintf("%s term %d", at, k+1)
		if f := within(own+" times", t.Factor, -1e6, 1e6, ""); f != nil {
			return f
		}
		var before []string
		for _, o := range p.Criteria[:i] {
			before = append(before, o.Name)
		}
		if !slices.Contains(before, t.Name) {
			return bad(own+" name", "no criterion before this one is called %.40q%s; write the name of one before it", t.Name, Perhaps(t.Name, before))
		}
	}
	return nil
}

// measureFault returns what the measure of a criterion lacks in the periods.
func (p Programme) measureFault(at string, c Criterion) *fault {
	periods := p.taken(c.Periods)
	days := p.daysIn(periods)
	needsLess := c.Of == DifferenceOfMeans || c.Of.PerDegrees()
	sums := c.Of == RangeOfSums || c.Of == GreatestStep
	switch {
	case len(days) == 0:
		return bad(at+" periods", "every period is apart, so there are no days to take; name some")
	case needsLess && len(c.Less) == 0:
		return bad(at+" less", "there is none; write the periods whose mean is taken off")
	case !needsLess && len(c.Less) > 0:
		return bad(at+" less", "%q takes nothing off; leave it out, or write of: %s", string(c.Of), DifferenceOfMeans)
	case !sums && c.SumDays != 0:
		return bad(at+" sum_days", "%q has no sums; leave it out", string(c.Of))
	case sums && (c.SumDays < 1 || c.SumDays > MaxDays):
		return bad(at+" sum_days", "%d is not from 1 to %d; write the days of one sum, 7 for weeks", c.SumDays, MaxDays)
	case sums && len(blocks(days, c.SumDays)) < 2:
		return bad(at+" sum_days", "the periods hold %d whole sums of %d days in a row; two are needed", len(blocks(days, c.SumDays)), c.SumDays)
	case c.Of == GreatestDeparture && len(days) < 2:
		return bad(at+" periods", "they hold one day; two are needed")
	}
	if c.Of == MeanVariation || c.Of == GreatestVariation || c.Of == MeanDeviation {
		for _, i := range periods {
			if p.Periods[i].Days < 2 {
				return bad(at+" periods", "period %d has one day, and this measure needs two of each; name the others", i+1)
			}
		}
	}
	return p.temperatureFault(at, c, periods)
}

// temperatureFault returns what a measure lacks that needs temperatures.
func (p Programme) temperatureFault(at string, c Criterion, periods []int) *fault {
	symmetric := c.Of == RangeOfPairs || c.Of == StepLessRange || c.Of == StepLessRangeBare || c.Of == Acceleration
	if !symmetric && !c.Of.PerDegrees() && c.Of != MiddleError {
		return nil
	}
	both := append(slices.Clone(periods), p.taken(c.Less)...)
	if !c.Of.PerDegrees() {
		both = periods
	}
	for _, i := range both {
		if p.Periods[i].TempC == nil {
			return bad(at+" periods", "period %d has no temperature, and this measure needs one; write its temp_c or name other periods", i+1)
		}
	}
	temps := p.temperatures(periods)
	n := len(periods)
	switch {
	case c.Of.PerDegrees() && (len(temps) > 1 || len(p.temperatures(p.taken(c.Less))) > 1):
		return bad(at+" periods", "the periods of each side have more than one temperature; name periods of one")
	case c.Of.PerDegrees() && temps[0] == p.temperatures(p.taken(c.Less))[0]:
		return bad(at+" less", "its temperature is that of periods; name periods of another temperature")
	case c.Of == MiddleError && len(temps) != 3:
		return bad(at+" periods", "they have %d temperatures and three are needed; name others", len(temps))
	case symmetric && n < 2, c.Of == Acceleration && n < 4:
		return bad(at+" periods", "there are %d periods, and this measure needs pairs: write at least two, four for an acceleration", n)
	case (c.Of == StepLessRange || c.Of == StepLessRangeBare) && len(temps) < 2:
		return bad(at+" periods", "they have one temperature and two are needed; name others")
	}
	if symmetric {
		for k := range n / 2 {
			a, b := periods[k], periods[n-1-k]
			if *p.Periods[a].TempC != *p.Periods[b].TempC {
				return bad(at+" periods", "period %d at %g °C and period %d at %g °C are a pair and must have one temperature; make the periods symmetric", a+1, *p.Periods[a].TempC, b+1, *p.Periods[b].TempC)
			}
		}
	}
	return nil
}

// temperatures returns the temperatures of periods, each once, rising.
func (p Programme) temperatures(periods []int) []float64 {
	var t []float64
	for _, i := range periods {
		if p.Periods[i].TempC != nil {
			t = append(t, *p.Periods[i].TempC)
		}
	}
	slices.Sort(t)
	return slices.Compact(t)
}

func within(at string, v, lo, hi float64, unit string) *fault {
	if !isFinite(v) || v < lo || v > hi {
		return bad(at, "%g is not from %g to %g%s; write a number between them", v, lo, hi, spaced(unit))
	}
	return nil
}

func wholeWithin(at string, v, lo, hi int, unit string) *fault {
	if v < lo || v > hi {
		return bad(at, "%d is not from %d to %d%s; write a whole number between them", v, lo, hi, spaced(unit))
	}
	return nil
}

func spaced(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}

func short(at, text string, most int) *fault {
	if n := len([]rune(text)); n > most {
		return bad(at, "it has %d letters; write at most %d", n, most)
	}
	for _, r := range text {
		if r < ' ' && r != '\n' {
			return bad(at, "it holds a control character; write plain text")
		}
	}
	return nil
}

func texts(all []Measure) []string {
	words := make([]string, len(all))
	for i, m := range all {
		words[i] = string(m)
	}
	return words
}

// Perhaps returns ", perhaps X" with the word that a mistyped text is most like,
// to stand behind "is not known", or nothing if it is like none.
func Perhaps(text string, words []string) string {
	best, least := "", math.MaxInt
	for _, w := range words {
		if d := edits(strings.ToLower(text), strings.ToLower(w)); d < least {
			best, least = w, d
		}
	}
	if best == "" || least > max(2, len(best)/3) {
		return ""
	}
	return fmt.Sprintf(", perhaps %q is meant", best)
}

// edits returns the least number of letters to put in, take out or change to
// make b of a, looking at the first hundred.
func edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	x, y = x[:min(len(x), 100)], y[:min(len(y), 100)]
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i, r := range x {
		before := row[0]
		row[0] = i + 1
		for j, s := range y {
			cost := before
			if r != s {
				cost++
			}
			before = row[j+1]
			row[j+1] = min(cost, before+1, row[j]+1)
		}
	}
	return row[len(y)]
}
