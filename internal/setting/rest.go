package setting

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"timeball/internal/clock"
)

// ErrHands marks text that does not say how the hands rest.
var ErrHands = errors.New("not a place of the hands")

// ParseRest returns how the hands rest, from what hour and minute hand show,
// written h:mm or h:mm.m, and the second at which the seconds hand rests.
// Whole minutes name the mark that the minute hand has passed, and so does a
// tenth that the seconds hand confirms: it then stands where the seconds hand
// says. Any other tenth of a minute is taken as read.
func ParseRest(dial clock.Dial, hands string, secondS float64) (Rest, error) {
	bad := func(why string) (Rest, error) {
		return Rest{}, fmt.Errorf("%w: %.40q %s; write hours and minutes as h:mm or h:mm.m, such as 6:10 or 6:10.2", ErrHands, hands, why)
	}
	if dial != clock.TwelveHour && dial != clock.TwentyFourHour {
		return Rest{}, fmt.Errorf("%w: a dial of %d hours is not made; say 12 or 24", ErrHands, dial)
	}
	if !(secondS >= 0 && secondS < 60) {
		return Rest{}, fmt.Errorf("%w: the seconds hand does not rest at %g; read it from 0 to below 60", ErrHands, secondS)
	}
	h, m, ok := strings.Cut(strings.TrimSpace(hands), ":")
	if !ok {
		return bad("does not have hours and minutes")
	}
	hour, err := strconv.ParseUint(h, 10, 8)
	if err != nil || len(h) > 2 || hour > uint64(dial) {
		return bad(fmt.Sprintf("has hours that a dial of %d hours does not show", dial))
	}
	mark, part, tenths := strings.Cut(m, ".")
	minute, err := strconv.ParseUint(mark, 10, 8)
	if err != nil || len(mark) != 2 || minute > 59 {
		return bad("has minutes outside 00 to 59")
	}
	r := Rest{Dial: dial, HandsS: math.Mod(float64(hour), float64(dial))*3600 + float64(minute)*60, SecondS: secondS}
	if !tenths {
		r.HandsS += secondS
		return r, nil
	}
	if _, err := strconv.ParseUint(part, 10, 32); err != nil || len(part) > 3 {
		return bad("has a fraction of a minute that is no number")
	}
	fraction, err := strconv.ParseFloat("0."+part, 64)
	if err != nil {
		return bad("has a fraction of a minute that is no number")
	}
	r.HandsS += 60 * fraction
	// Half of a tenth is as near as a tenth can tell.
	if off := r.off(); math.Abs(off) <= agreeS/2 {
		r.HandsS = math.Mod(r.HandsS-off+dial.Modulus(), dial.Modulus())
	}
	return r, nil
}
