package reference

import "time"

// clocks are the clocks of a computer.
type clocks struct {
	// read returns the clock as everyone on the computer sees it and, at the
	// same moment, one that is never set; it may stop while the computer sleeps.
	read func() (wall time.Time, steady time.Duration)
	// slept returns how long the computer has slept since it was started;
	// false if that is not known.
	slept func() (time.Duration, bool)
	// kept returns the greatest error of the clock, s, if the system
	// disciplines it.
	kept func() (float64, bool)
	// stepS is the smallest step of the clocks, s.
	stepS float64
}

// computer returns the clocks of this computer.
func computer() clocks {
	start := time.Now()
	return clocks{
		read: func() (time.Time, time.Duration) {
			now := time.Now()
			return now.UTC().Round(0), now.Sub(start)
		},
		slept: sleptFor,
		kept:  keptBySystem,
		stepS: smallestStepS(func() time.Duration { return time.Since(start) }),
	}
}

// smallestStepS returns the smallest step of a clock that is seen, s, and at
// least 1 µs: the precision of RFC 5905, 7.3.
func smallestStepS(since func() time.Duration) float64 {
	step := time.Second
	for range 10 {
		before := since()
		now := before
		for now == before {
			now = since()
		}
		step = min(step, now-before)
	}
	return max(step.Seconds(), 1e-6)
}

// upset is what may have happened to a computer's clock.
type upset int

const (
	steady upset = iota
	reset        // the clock was set
	broken       // the computer slept, or may have: how long is not known well enough
)

const (
	// leastJump is the least step of the clock that is taken for a setting.
	leastJump = 10 * time.Millisecond
	// slewing is how fast the two clocks may part without a setting, s/s: the
	// fastest slewing of kernels (RFC 5905, 11.3, from memory).
	slewing = 500e-6
	// leastSleep is the least sleep that breaks a scale off.
	leastSleep = time.Millisecond
	// askSleep is how often the system is asked whether it has slept, since
	// asking costs more than reading a clock.
	askSleep = time.Second
)

// scale is the clock of a computer from when it was started, never set: the
// time of the start and what has gone by since.
type scale struct {
	clocks
	start     time.Time
	started   time.Duration
	at        time.Duration // when it was last looked at, by the steady clock
	ahead     time.Duration // how far the computer's clock is before the scale
	slept     time.Duration
	knowSlept bool
	asked     time.Duration
}

func newScale(c clocks) *scale {
	s := &scale{clocks: c}
	s.start, s.started = c.read()
	s.at, s.asked = s.started, s.started
	s.slept, s.knowSlept = c.slept()
	return s
}

// time returns the scale at a reading of the steady clock.
func (s *scale) time(at time.Duration) time.Time { return s.start.Add(at - s.started) }

// look returns the steady clock now, and what happened to the computer's clock
// since it was last looked at and by how much.
func (s *scale) look() (now time.Duration, what upset, by time.Duration) {
	wall, now := s.read()
	ahead := wall.Sub(s.time(now))
	jump := func() time.Duration { return ahead - s.ahead }
	allowed := leastJump + time.Duration(slewing*float64(now-s.at))
	// The program may be held up between the two readings, which looks like a
	// setting and is gone when it looks again.
	for range 3 {
		if jump().Abs() <= allowed {
			break
		}
		wall, now = s.read()
		ahead = wall.Sub(s.time(now))
	}
	by = jump()
	if by.Abs() > allowed {
		what = reset
		if !s.knowSlept {
			what = broken
		}
	}
	if s.knowSlept && (what == reset || now-s.asked >= askSleep) {
		if slept, ok := s.clocks.slept(); ok {
			// Asking takes two readings, between which the program may be held up.
			if d := slept - s.slept; d > leastSleep {
				if again, ok := s.clocks.slept(); ok && again-s.slept > leastSleep {
					what, by = broken, min(d, again-s.slept)
					s.slept = again
				}
			}
		}
		s.asked = now
	}
	s.at, s.ahead = now, ahead
	return now, what, by
}
