package programme

// Measure is how a criterion is computed from daily rates.
type Measure string

// The measures. Rates are in s/d, in the order of the days.
const (
	MeanRate          Measure = "mean rate"                                                // of all days
	MeanVariation     Measure = "mean variation"                                           // mean of the absolute differences of one day and the next of the same period, ISO 3159 V
	GreatestVariation Measure = "greatest variation"                                       // the greatest of those
	GreatestDeparture Measure = "greatest departure"                                       // greatest absolute difference of a day from the mean
	DifferenceOfMeans Measure = "difference of means"                                      // mean of Periods less mean of Less
	PerDegree         Measure = "change per degree"                                        // difference of means over the difference of the temperatures read, or of the programme's where none were
	PerDegreeAsked    Measure = "change per degree of the programme"                       // the same over the difference of the programme's temperatures, ISO 3159 C
	MeanDeviation     Measure = "mean deviation"                                           // mean absolute departure from the mean of the own period
	RangeOfSums       Measure = "range of sums"                                            // a: greatest less least sum of SumDays days
	GreatestStep      Measure = "greatest step between sums"                               // b: greatest absolute change from one sum to the next
	RangeOfPairs      Measure = "range of symmetric pairs"                                 // A: periods of equal temperature paired symmetrically in time and averaged; greatest less least
	StepLessRange     Measure = "greatest step less its share of the range"                // B = B′ − (τ/T)·A: B′ the change from one period to the next that is greatest, τ its change of temperature, A the range of pairs, + where the warmer gains more, T the range of temperatures
	StepLessRangeBare Measure = "greatest step less its share of the range, signs ignored" // the same of absolute values
	Acceleration      Measure = "acceleration"                                             // C: rate difference of symmetric periods over the days between, mean of the two outermost pairs
	MiddleError       Measure = "middle temperature error"                                 // mean at the middle temperature less the straight line between the outer two
	Combined          Measure = "sum of"                                                   // Terms
)

// Measures returns the measures in the order in which a page offers them.
func Measures() []Measure {
	return []Measure{
		MeanRate, MeanVariation, GreatestVariation, GreatestDeparture, MeanDeviation, DifferenceOfMeans, PerDegree, PerDegreeAsked, MiddleError,
		RangeOfSums, GreatestStep, RangeOfPairs, StepLessRange, StepLessRangeBare, Acceleration, Combined,
	}
}

// Unit returns the unit of the measure where a programme names none.
func (m Measure) Unit() string {
	switch m {
	case RangeOfSums, GreatestStep:
		return "s"
	case PerDegree, PerDegreeAsked:
		return "s/d per °C"
	case Acceleration:
		return "s/d per day"
	}
	return "s/d"
}

// PerDegrees reports whether the measure is a change for each degree.
func (m Measure) PerDegrees() bool { return m == PerDegree || m == PerDegreeAsked }

// Tempered reports whether the measure tells something of the temperature, so
// that it means nothing unless that was as asked.
func (m Measure) Tempered() bool {
	switch m {
	case MiddleError, RangeOfPairs, StepLessRange, StepLessRangeBare:
		return true
	}
	return m.PerDegrees()
}
