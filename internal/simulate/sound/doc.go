// Package sound makes recordings of known truth: chronometers heard through a
// microphone whose sampling clock, noise and faults are given, and sounds in
// which no chronometer is to be found.
//
// Rates are in s/d, positive gaining. True time is in SI seconds after the
// start of a recording; file time is a sample's index divided by the nominal
// sampling frequency, as a listener who does not know the sampling clock
// counts it. A beat is named by its unlocking, the first of its sounds.
//
// Every sound of a beat is a sum of damped sinusoids made in the frequency
// domain, so that its place is exact to far below a sample. The scatter of
// levels and events, and the delays of a beat whose amplitude is not given,
// are assumptions about an ordinary instrument, not measurements of one.
//
// Every random number is drawn from the source that the caller passes, so the
// same seed gives the same recording, read in whatever pieces.
package sound
