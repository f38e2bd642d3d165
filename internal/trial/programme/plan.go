package programme

import "math"

// Plan is how a criterion is computed: the days it needs, from 0, and its
// value from the rates of all days and the values of the criteria before it.
type Plan struct {
	Needs []int    // days that must be known one by one
	Sums  [][2]int // first and last day of each sum
	Terms []int    // criteria before it, for Combined
	Value func(rates, before []float64) float64
}

// Days returns the number of days of the programme.
func (p Programme) Days() int {
	n := 0
	for _, q := range p.Periods {
		n += q.Days
	}
	return n
}

// PeriodOfDays returns the index of the period of every day.
func (p Programme) PeriodOfDays() []int {
	var of []int
	for i, q := range p.Periods {
		for range q.Days {
			of = append(of, i)
		}
	}
	return of
}

// DaysOf returns the days, from 0, of a period, from 0.
func (p Programme) DaysOf(period int) []int {
	first := 0
	for _, q := range p.Periods[:period] {
		first += q.Days
	}
	days := make([]int, p.Periods[period].Days)
	for i := range days {
		days[i] = first + i
	}
	return days
}

// taken returns the periods, from 0, that a list from 1 names, or all that are
// not apart.
func (p Programme) taken(named []int) []int {
	var of []int
	if len(named) > 0 {
		for _, n := range named {
			of = append(of, n-1)
		}
		return of
	}
	for i, q := range p.Periods {
		if !q.Apart {
			of = append(of, i)
		}
	}
	return of
}

func (p Programme) daysIn(periods []int) []int {
	var days []int
	for _, i := range periods {
		days = append(days, p.DaysOf(i)...)
	}
	return days
}

// Sums returns the first and last days, from 0, of sums of length days within
// the periods that a list from 1 names, or within all that are not apart.
func (p Programme) Sums(named []int, length int) [][2]int {
	return blocks(p.daysIn(p.taken(named)), length)
}

// blocks returns the first and last days, from 0, of sums of length days
// within the days given: as many as go into each unbroken row of them.
func blocks(days []int, length int) [][2]int {
	var of [][2]int
	for from := 0; from < len(days); {
		to := from
		for to+1 < len(days) && days[to+1] == days[to]+1 {
			to++
		}
		for ; from+length-1 <= to; from += length {
			of = append(of, [2]int{days[from], days[from] + length - 1})
		}
		from = to + 1
	}
	return of
}

// Plans returns the plans of the criteria of a programme that holds. tempC is
// the temperature read of every day, °C, NaN where none was; nil if none was at
// all.
func (p Programme) Plans(tempC []float64) []Plan {
	var plans []Plan
	for _, c := range p.Criteria {
		plans = append(plans, p.plan(c, tempC))
	}
	return plans
}

func (p Programme) plan(c Criterion, tempC []float64) Plan {
	periods := p.taken(c.Periods)
	days := p.daysIn(periods)
	switch c.Of {
	case MeanRate:
		return Plan{Needs: days, Value: func(r, _ []float64) float64 { return MeanOf(r, days) }}
	case MeanVariation, GreatestVariation:
		var pairs []int
		for _, i := range periods {
			d := p.DaysOf(i)
			pairs = append(pairs, d[:len(d)-1]...)
		}
		return Plan{Needs: days, Value: func(r, _ []float64) float64 {
			sum, most := 0.0, 0.0
			for _, d := range pairs {
				v := math.Abs(r[d] - r[d+1])
				sum, most = sum+v, max(most, v)
			}
			if c.Of == GreatestVariation {
				return most
			}
			return sum / float64(len(pairs))
		}}
	case GreatestDeparture:
		return Plan{Needs: days, Value: func(r, _ []float64) float64 {
			mean, most := MeanOf(r, days), 0.0
			for _, d := range days {
				most = max(most, math.Abs(r[d]-mean))
			}
			return most
		}}
	case MeanDeviation:
		var each [][]int
		for _, i := range periods {
			each = append(each, p.DaysOf(i))
		}
		return Plan{Needs: days, Value: func(r, _ []float64) float64 {
			sum := 0.0
			for _, own := range each {
				mean := MeanOf(r, own)
				for _, d := range own {
					sum += math.Abs(r[d] - mean)
				}
			}
			return sum / float64(len(days))
		}}
	case DifferenceOfMeans, PerDegree, PerDegreeAsked:
		less := p.taken(c.Less)
		lessDays, degrees := p.daysIn(less), 1.0
		if c.Of.PerDegrees() {
			degrees = *p.Periods[periods[0]].TempC - *p.Periods[less[0]].TempC
		}
		if c.Of == PerDegree && len(tempC) > 0 {
			// The same sign as asked, or the days would not count: within_c.
			if read := MeanOf(tempC, days) - MeanOf(tempC, lessDays); read*degrees > 0 {
				degrees = read
			}
		}
		return Plan{Needs: append(append([]int{}, days...), lessDays...), Value: func(r, _ []float64) float64 {
			return (MeanOf(r, days) - MeanOf(r, lessDays)) / degrees
		}}
	case MiddleError:
		return p.middle(periods, days)
	case RangeOfSums, GreatestStep:
		of := blocks(days, c.SumDays)
		return Plan{Sums: of, Value: func(r, _ []float64) float64 { return ofSums(c.Of, r, of) }}
	case RangeOfPairs, StepLessRange, StepLessRangeBare, Acceleration:
		s := p.symmetric(periods)
		return Plan{Needs: days, Value: func(r, _ []float64) float64 { return s.measure(c.Of, r) }}
	}
	return p.combined(c)
}

func (p Programme) combined(c Criterion) Plan {
	pl := Plan{}
	factors := []float64{}
	for _, t := range c.Terms {
		for i, other := range p.Criteria {
			if other.Name == t.Name {
				pl.Terms = append(pl.Terms, i)
				factors = append(factors, t.Factor)
				break
			}
		}
	}
	pl.Value = func(_, before []float64) float64 {
		sum := 0.0
		for k, i := range pl.Terms {
			sum += factors[k] * math.Abs(before[i])
		}
		return sum
	}
	return pl
}

// middle is the plan of MiddleError. With three temperatures equally spaced
// the straight line stands at the mean of the outer two.
func (p Programme) middle(periods, days []int) Plan {
	temps := p.temperatures(periods)
	at := make([][]int, len(temps))
	for _, i := range periods {
		for k, t := range temps {
			if *p.Periods[i].TempC == t {
				at[k] = append(at[k], p.DaysOf(i)...)
			}
		}
	}
	part := (temps[1] - temps[0]) / (temps[2] - temps[0])
	return Plan{Needs: days, Value: func(r, _ []float64) float64 {
		return MeanOf(r, at[1]) - (1-part)*MeanOf(r, at[0]) - part*MeanOf(r, at[2])
	}}
}

func ofSums(m Measure, r []float64, of [][2]int) float64 {
	low, high, step, before := math.Inf(1), math.Inf(-1), 0.0, 0.0
	for k, b := range of {
		sum := 0.0
		for _, v := range r[b[0] : b[1]+1] {
			sum += v
		}
		low, high = min(low, sum), max(high, sum)
		if k > 0 {
			step = max(step, math.Abs(sum-before))
		}
		before = sum
	}
	if m == GreatestStep {
		return step
	}
	return high - low
}

// symmetric is a row of periods that goes through its temperatures and back.
type symmetric struct {
	days   [][]int
	temps  []float64
	centre []float64 // of the period, days
}

func (p Programme) symmetric(periods []int) symmetric {
	var s symmetric
	for _, i := range periods {
		days := p.DaysOf(i)
		s.days = append(s.days, days)
		s.temps = append(s.temps, *p.Periods[i].TempC)
		s.centre = append(s.centre, float64(days[0]+days[len(days)-1]+1)/2)
	}
	return s
}

func (s symmetric) measure(of Measure, r []float64) float64 {
	n := len(s.days)
	means := make([]float64, n)
	for i, d := range s.days {
		means[i] = MeanOf(r, d)
	}
	if of == Acceleration {
		return (means[n-1]-means[0])/(s.centre[n-1]-s.centre[0])/2 + (means[n-2]-means[1])/(s.centre[n-2]-s.centre[1])/2
	}
	// The period in the middle of an odd number pairs with itself.
	low, high := 0, 0
	pair := func(i int) float64 { return (means[i] + means[n-1-i]) / 2 }
	coldest, hottest := s.temps[0], s.temps[0]
	for i := range (n + 1) / 2 {
		if pair(i) < pair(low) {
			low = i
		}
		if pair(i) > pair(high) {
			high = i
		}
		coldest, hottest = min(coldest, s.temps[i]), max(hottest, s.temps[i])
	}
	a := pair(high) - pair(low)
	if of == RangeOfPairs {
		return a
	}
	at := 0
	for i := range n - 1 {
		if math.Abs(means[i+1]-means[i]) > math.Abs(means[at+1]-means[at]) {
			at = i
		}
	}
	step, share := means[at+1]-means[at], (s.temps[at+1]-s.temps[at])/(hottest-coldest)
	if of == StepLessRangeBare {
		return math.Abs(step) - math.Abs(share)*a
	}
	if s.temps[high] < s.temps[low] {
		a = -a
	}
	return step - share*a
}

// MeanOf returns the mean of the rates of some days, from 0.
func MeanOf(r []float64, days []int) float64 {
	sum := 0.0
	for _, d := range days {
		sum += r[d]
	}
	return sum / float64(len(days))
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
