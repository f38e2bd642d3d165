package timebase

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ErrNotClock marks a text that says nothing of a sampling clock.
var ErrNotClock = errors.New("not the error of a sampling clock")

// mostPPM is more than any clock that still records: 2%.
const mostPPM = 20_000

// Parse reads what is known of a sampling clock: "PPM sd SD", such as
// "+12.3 sd 0.5", where both are ppm, positive is fast and SD is one standard
// deviation, or "unknown" for a clock that nobody measured. The unit may be
// written after either number. Its error wraps ErrNotClock.
func Parse(text string) (Clock, error) {
	const how = `write it as "+12.3 sd 0.5", in ppm with one standard deviation, or as "unknown"`
	words := strings.Fields(strings.ToLower(strings.ReplaceAll(text, "ppm", " ppm ")))
	kept := words[:0]
	for i, w := range words {
		if w == "ppm" && i > 0 && words[i-1] != "sd" {
			continue
		}
		kept = append(kept, w)
	}
	if len(kept) == 1 && kept[0] == "unknown" {
		return Assumed(), nil
	}
	if strings.ContainsAny(text, "±") || strings.Contains(text, "+-") || strings.Contains(text, "+/-") {
		return Clock{}, fmt.Errorf(`%w: %.40q has a ± that may be one standard deviation or two; write "sd" and one`, ErrNotClock, text)
	}
	if len(kept) == 1 {
		if _, err := strconv.ParseFloat(kept[0], 64); err == nil {
			return Clock{}, fmt.Errorf("%w: %.40q has no doubt; %s", ErrNotClock, text, how)
		}
	}
	if len(kept) != 3 || kept[1] != "sd" {
		return Clock{}, fmt.Errorf("%w: %.40q; %s", ErrNotClock, text, how)
	}
	ppm, err1 := number(kept[0])
	sd, err2 := number(kept[2])
	switch {
	case err1 != nil || err2 != nil:
		return Clock{}, fmt.Errorf("%w: %.40q; %s", ErrNotClock, text, how)
	case math.Abs(ppm) > mostPPM || sd > mostPPM:
		return Clock{}, fmt.Errorf("%w: %.40q is more than %d ppm; give parts per million", ErrNotClock, text, mostPPM)
	case sd <= 0:
		return Clock{}, fmt.Errorf("%w: %.40q has no doubt above 0; %s", ErrNotClock, text, how)
	}
	return Clock{Source: FromCalibration, PPM: ppm, SdPPM: sd}, nil
}

// number reads a decimal number, which has no other letters than an exponent's.
func number(s string) (float64, error) {
	if strings.Trim(s, "0123456789.+-e−") != "" {
		return 0, strconv.ErrSyntax
	}
	return strconv.ParseFloat(strings.Replace(s, "−", "-", 1), 64)
}

// String returns the clock as Parse reads it.
func (c Clock) String() string {
	if c.Source == FromNothing {
		return "unknown"
	}
	return fmt.Sprintf("%+g ppm sd %g ppm", c.PPM, c.SdPPM)
}
