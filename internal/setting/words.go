package setting

import (
	"fmt"
	"strings"
	"time"

	"timeball/internal/clock"
)

// fractions are the places between two marks that have a name, in sixtieths.
var fractions = map[float64]string{
	6: "a tenth", 10: "a sixth", 12: "a fifth", 15: "a quarter", 20: "a third", 24: "two fifths",
	36: "three fifths", 40: "two thirds", 45: "three quarters", 48: "four fifths",
}

// MinuteHand returns in words where the minute hand must stand: "on minute 12",
// "two thirds of the way from minute 12 to 13".
func (p Plan) MinuteHand() string {
	mark, next := p.MinuteMark, (p.MinuteMark+1)%60
	if next == 0 {
		next = 60
	}
	switch seconds := float64(micros(p.BetweenMarks*60)) / 1e6; {
	case seconds == 0:
		return fmt.Sprintf("on minute %d", mark)
	case seconds == 30:
		return fmt.Sprintf("half way from minute %d to %d", mark, next)
	case fractions[seconds] != "":
		return fmt.Sprintf("%s of the way from minute %d to %d", fractions[seconds], mark, next)
	default:
		return fmt.Sprintf("%.2f of the way from minute %d to %d", p.BetweenMarks, mark, next)
	}
}

// Forward returns in words how far the minute hand is turned: "not at all",
// "0.6 min", "8 turns and 29 min".
func (p Plan) Forward() string {
	whole := int(p.ForwardS) / 3600
	minutes := fmt.Sprintf("%.4g min", float64(micros(p.ForwardS-float64(3600*whole)))/60e6)
	switch {
	case p.ForwardS == 0:
		return "not at all"
	case whole == 0:
		return minutes
	case whole == 1 && minutes == "0 min":
		return "1 turn"
	case whole == 1:
		return "1 turn and " + minutes
	case minutes == "0 min":
		return fmt.Sprintf("%d turns", whole)
	}
	return fmt.Sprintf("%d turns and %s", whole, minutes)
}

// Waiting returns a time of waiting in words, to the second below an hour and
// to the minute from there: "2 min 47 s", "11 h 59 min".
func Waiting(d time.Duration) string {
	s := int64(d.Round(time.Second) / time.Second)
	var parts []string
	if s >= 3600 {
		m := (s + 30) / 60
		parts = append(parts, fmt.Sprintf("%d h", m/60))
		s = m % 60 * 60
	}
	if s >= 60 {
		parts = append(parts, fmt.Sprintf("%d min", s/60))
		s %= 60
	}
	if s > 0 || len(parts) == 0 {
		parts = append(parts, fmt.Sprintf("%d s", s))
	}
	return strings.Join(parts, " ")
}

// Reads returns what the dial reads once it is set, as its numerals say it:
// "12:09:00" where a dial of twelve hours stands at XII.
func (p Plan) Reads() string {
	text := strings.TrimSuffix(p.Set.String(), ".0")
	if rest, ok := strings.CutPrefix(text, "0:"); ok && p.Dial == clock.TwelveHour {
		return "12:" + rest
	}
	return text
}
