// Package timescale measures elapsed time between instants of UTC in SI
// seconds, leap seconds counted, and reads instants as people write them.
//
// Go's time.Time knows no leap seconds. The table is the newest list of the
// IERS (Bulletin C) that this program carries, or a newer one it was given.
package timescale

import "time"

// TAIMinusUTC returns TAI minus UTC in whole seconds at an instant by the list
// in use; before 1972 it returns the 10 s of the first row, so that old
// records cross none.
func TAIMinusUTC(at time.Time) int { return current.Load().TAIMinusUTC(at) }

// LeapSeconds returns how many leap seconds were inserted in (from, to];
// negative if to is before from.
func LeapSeconds(from, to time.Time) int {
	l := current.Load()
	return l.TAIMinusUTC(to) - l.TAIMinusUTC(from)
}

// Elapsed returns the SI time from one instant of UTC to another.
func Elapsed(from, to time.Time) time.Duration {
	return to.Round(0).Sub(from.Round(0)) + time.Duration(LeapSeconds(from, to))*time.Second
}

// Days returns Elapsed in days of 86,400 SI seconds.
func Days(from, to time.Time) float64 {
	// Durations end at 292 years; seconds do not.
	return (float64(to.Unix()-from.Unix()) + float64(to.Nanosecond()-from.Nanosecond())/1e9 +
		float64(LeapSeconds(from, to))) / 86400
}

// AddDays returns the instant of UTC that lies days of 86,400 SI seconds after
// from, cut to the microsecond.
func AddDays(from time.Time, days float64) time.Time {
	whole := int64(days)
	part := time.Duration((days - float64(whole)) * 86400 * float64(time.Second))
	to := time.Unix(from.Unix()+whole*86400, int64(from.Nanosecond())).UTC().Add(part)
	to = to.Add(-time.Duration(LeapSeconds(from, to)) * time.Second)
	return to.Truncate(time.Microsecond)
}
