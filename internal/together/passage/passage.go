// Package passage holds the rules by which navigators carried a rate from one
// port to the next, with a rate that does not stay.
//
// Error is dial minus true time, positive fast, and rate positive gaining; the
// rules are linear, so that they hold as well with both signs turned. The mean
// rate of a passage is clock.MeanRate of the errors at its two ports: what the
// dial says of the true difference of longitude is part of the error on arrival.
package passage

// ArrivalRate returns the rate at arrival, s/d, of an instrument that left
// with the rate departure, had the mean rate passage, and altered evenly on the
// way: 2 passage - departure. Source: L. I. Duperrey, Voyage autour du monde …
// sur la Coquille, Hydrographie (1829), chapter 1, pp. 21–23.
func ArrivalRate(departure, passage float64) float64 { return 2*passage - departure }

// DailyAlteration returns by how much the rate alters each day, s/d per day,
// when it alters by change s/d over days. It returns false unless days is
// positive. Source: M. Flinders, A Voyage to Terra Australis (1814), vol. 1,
// p. 268.
func DailyAlteration(change, days float64) (float64, bool) {
	if !(days > 0) {
		return 0, false
	}
	return change / days, true
}

// AlteringDaily returns the seconds beyond days at the old rate that an
// instrument has gained whose rate altered by change s/d over days, one equal
// step at the beginning of each day: change (days + 1)/2. Source: M. Flinders,
// A Voyage to Terra Australis (1814), vol. 1, p. 268; the rule is Rossel's.
func AlteringDaily(change, days float64) float64 { return change * (days + 1) / 2 }

// AlteringEvenly returns the same for a rate that alters without steps, which
// is that of the mean of the two rates: change days/2. It is change/2 less than
// AlteringDaily, always.
func AlteringEvenly(change, days float64) float64 { return change * days / 2 }

// Accumulated returns the seconds gained in days by an instrument whose rate
// is rate s/d at their beginning and grows by growth s/d each day: rate days +
// growth days²/2. Source: C. Börgen, Annalen der Hydrographie und maritimen
// Meteorologie 15 (1887), p. 27 (losing positive there).
func Accumulated(rate, growth, days float64) float64 { return rate*days + growth*days*days/2 }

// RateLater returns the rate, s/d, days after it was rate, growing by growth
// s/d each day. Source: C. Börgen (1887), p. 22.
func RateLater(rate, growth, days float64) float64 { return rate + growth*days }

// LongitudeArcsec returns the difference of longitude, seconds of arc, that
// the seconds of time s are worth: 15″ each.
func LongitudeArcsec(s float64) float64 { return 15 * s }
