// Package simulate makes instruments of known truth, so that a method can be
// held against what it is meant to find.
//
// Error is dial minus UTC in seconds, positive fast; rate is its change per
// day of 86,400 SI seconds, positive gaining. The going is the clock model of
// Zucca and Tavella, "The clock model and its relationship with the Allan and
// related variances", IEEE Trans. UFFC 52(2) (2005) pp. 289-296: white and
// random-walk noise of the rate, stepped exactly. To it come a rate that
// follows the temperature, the position and age, and what people do: hands
// moved, stops, starts, regulation, carriage and misreadings.
//
// Every random number is drawn from the source that the caller passes, so the
// same seed gives the same instrument.
package simulate
