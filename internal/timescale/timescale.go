// Package timescale measures elapsed time between instants of UTC in SI
// seconds, leap seconds counted, and reads instants as people write them.
//
// Go's time.Time knows no leap seconds. The table is the IERS list
// (Bulletin C) as carried in the tz database of 6 July 2026.
package timescale

import (
	"sort"
	"time"
)

// leap is one row of the IERS table: TAI minus UTC from the instant on.
type leap struct {
	from     time.Time
	taiLessS int
}

// Expires is the instant up to which the built-in table is known to be complete.
var Expires = time.Date(2027, time.June, 28, 0, 0, 0, 0, time.UTC)

// table holds TAI minus UTC; its first row is the start of present UTC and
// not a leap second. Source: IERS leap-seconds.list.
var table = []leap{
	{day(1972, 1), 10}, {day(1972, 7), 11}, {day(1973, 1), 12}, {day(1974, 1), 13}, {day(1975, 1), 14},
	{day(1976, 1), 15}, {day(1977, 1), 16}, {day(1978, 1), 17}, {day(1979, 1), 18}, {day(1980, 1), 19},
	{day(1981, 7), 20}, {day(1982, 7), 21}, {day(1983, 7), 22}, {day(1985, 7), 23}, {day(1988, 1), 24},
	{day(1990, 1), 25}, {day(1991, 1), 26}, {day(1992, 7), 27}, {day(1993, 7), 28}, {day(1994, 7), 29},
	{day(1996, 1), 30}, {day(1997, 7), 31}, {day(1999, 1), 32}, {day(2006, 1), 33}, {day(2009, 1), 34},
	{day(2012, 7), 35}, {day(2015, 7), 36}, {day(2017, 1), 37},
}

func day(year int, month time.Month) time.Time {
	return time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
}

// TAIMinusUTC returns TAI minus UTC in whole seconds at an instant; before
// 1972 it returns the 10 s of the first row, so that old records cross none.
func TAIMinusUTC(at time.Time) int {
	i := sort.Search(len(table), func(i int) bool { return table[i].from.After(at) })
	if i == 0 {
		return table[0].taiLessS
	}
	return table[i-1].taiLessS
}

// LeapSeconds returns how many leap seconds were inserted in (from, to];
// negative if to is before from.
func LeapSeconds(from, to time.Time) int { return TAIMinusUTC(to) - TAIMinusUTC(from) }

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
