package clock

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// DialReading is what the hands show, in seconds since XII, in [0, 86400).
type DialReading float64

// ErrDialReading marks text that is no dial reading.
var ErrDialReading = errors.New("not a dial reading")

// ParseDial returns the reading written as h:mm:ss or h:mm:ss.s, hours 0 to 24
// (12:00:00 is XII; 24:00:00 is 0:00:00). Its error says which part is wrong
// and how to write it.
func ParseDial(s string) (DialReading, error) {
	bad := func(why string) (DialReading, error) {
		return 0, fmt.Errorf("%w: %.40q %s; write h:mm:ss or h:mm:ss.s, such as 7:41:03.5", ErrDialReading, s, why)
	}
	text := strings.TrimSpace(s)
	if text == "" {
		return bad("is empty")
	}
	parts := strings.Split(text, ":")
	if len(parts) != 3 {
		return bad("does not have hours, minutes and seconds")
	}
	h, ok := digits(parts[0], 2)
	if !ok || h > 24 {
		return bad("has hours that no dial shows")
	}
	m, ok := digits(parts[1], 2)
	if !ok || m > 59 || len(parts[1]) != 2 {
		return bad("has minutes outside 00 to 59")
	}
	whole, frac, point := strings.Cut(parts[2], ".")
	sec, ok := digits(whole, 2)
	if !ok || len(whole) != 2 || sec > 59 {
		return bad("has seconds outside 00 to 59")
	}
	if _, ok := digits(frac, 9); point && !ok {
		return bad("has a fraction of a second that is no number")
	}
	// Parsed as one number, so that a reading is the one nearest to its text.
	total, err := strconv.ParseFloat(fmt.Sprintf("%d.%s", h*3600+m*60+sec, frac), 64)
	if err != nil {
		return bad("is no number of seconds")
	}
	if h == 24 && total > 86400 {
		return bad("is past 24 hours")
	}
	return DialReading(math.Mod(total, 86400)), nil
}

// String returns h:mm:ss.s with one to three decimals, rounded to the
// millisecond.
func (r DialReading) String() string {
	ms := int64(math.Round(float64(r)*1000)) % 86400000
	s := ms / 1000
	text := fmt.Sprintf("%d:%02d:%02d.%03d", s/3600, s/60%60, s%60, ms%1000)
	return strings.TrimSuffix(strings.TrimSuffix(text, "0"), "0")
}

// digits returns the value of a string of 1 to most ASCII digits.
func digits(s string, most int) (int, bool) {
	if s == "" || len(s) > most {
		return 0, false
	}
	n := 0
	for _, c := range s {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}
