package reference

import (
	"time"

	"golang.org/x/sys/unix"
)

// sleptFor returns how long this computer has been asleep since it was
// started: CLOCK_BOOTTIME counts sleep and CLOCK_MONOTONIC does not.
func sleptFor() (time.Duration, bool) {
	var boot, steady unix.Timespec
	if unix.ClockGettime(unix.CLOCK_BOOTTIME, &boot) != nil || unix.ClockGettime(unix.CLOCK_MONOTONIC, &steady) != nil {
		return 0, false
	}
	return time.Duration(boot.Nano() - steady.Nano()), true
}

// keptBySystem returns the greatest error of this computer's clock, s, as the
// kernel counts it; false if nothing disciplines the clock.
func keptBySystem() (float64, bool) {
	var t unix.Timex // no mode is set, so nothing is changed
	state, err := unix.Adjtimex(&t)
	if err != nil || state == unix.TIME_ERROR || t.Status&unix.STA_UNSYNC != 0 {
		return 0, false
	}
	return float64(t.Maxerror) / 1e6, true
}
