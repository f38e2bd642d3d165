// Package journey says whether a journey changed the going of an instrument,
// from the comparisons before it left and after it arrived.
//
// A carriage is a change to be tested, not assumed. The test is that of the
// rating: the change of rate has a wide prior, the noise is averaged over, and
// the random walk of the rate over the journey is part of what no change means,
// so that the ordinary wandering of a good instrument is not taken for harm. Two
// straight lines with the scatter about each, the usual way, "find" a change in 38
// to 88 of a hundred simulated instruments whose rate did not change.
//
// The keeper looks every day, and whoever looks often enough finds something.
// So a verdict is given on planned days only, and the chance of a false alarm is
// shared out over them beforehand: see ChangeAlarms. Of unharmed journeys, at most
// AlarmsAtMost end in any alarm, however often the question is asked.
//
// Error is dial minus UTC, s, positive fast; rate is s/d, positive gaining; a
// day is 86,400 SI seconds. What jolting does is told by C. Stechert, Das
// Marine-Chronometer und seine Verwendung in der nautischen Praxis, Aus dem
// Archiv der Deutschen Seewarte 17 (1894) no. 4, and by the chapter "Das
// Chronometer", pp. 651–654, of a handbook of astronomy that is cited here as
// HWA (TIB Hannover, record 1666714097).
package journey
