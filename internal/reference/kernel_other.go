//go:build !linux

package reference

import "time"

// sleptFor is not known here.
func sleptFor() (time.Duration, bool) { return 0, false }

// keptBySystem is not known here.
func keptBySystem() (float64, bool) { return 0, false }
