package chronometer

import "strings"

// Signal is a time signal that a comparison can be made with where the
// workshop's own standard is not to be had.
type Signal struct {
	Name   string  // as it is written in Compared.Standard
	OnTime string  // which part of it is on time
	SDS    float64 // standard deviation that its way here brings, s
}

// Signals returns the time signals that are good enough to compare with.
// Short waves: ground wave and up to three hops take 3 to 30 ms; six pips: the
// start of the sixth (Greenwich Time Signal); DCF77: the start of the
// reduction (PTB). The doubts of the two telephones, of pips and of receivers
// are from memory.
func Signals() []Signal {
	return []Signal{
		{"telephone, by wire", "the start of the stroke that is announced", 0.03},
		{"telephone, mobile or by internet", "the start of the stroke; it comes 0.1 to 0.3 s late", 0.2},
		{"short-wave radio", "the start of the pulse; none in seconds 29 and 59", 0.02},
		{"six pips on analogue radio", "the start of the sixth, longer pip", 0.01},
		{"long-wave receiver", "the start of the drop of the carrier", 0.05},
	}
}

// late are the words by which a standard is known that comes seconds to tens
// of seconds late, by an amount nobody tells.
var late = []string{"dab", "digital radio", "television", "tv", "web stream", "stream", "internet radio", "smart speaker", "loudspeaker"}

// LateStandard reports whether a standard is one that must not be used.
func LateStandard(name string) bool {
	name = strings.ToLower(strings.TrimSpace(name))
	for _, word := range late {
		if name == word || strings.HasPrefix(name, word+" ") || strings.HasSuffix(name, " "+word) {
			return true
		}
	}
	return false
}

// signalSD returns the standard deviation of a named signal, 0 if it is none.
func signalSD(name string) float64 {
	for _, s := range Signals() {
		if strings.EqualFold(s.Name, strings.TrimSpace(name)) {
			return s.SDS
		}
	}
	return 0
}
