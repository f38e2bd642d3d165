package reference

import (
	"context"
	"sync"
	"time"

	"github.com/beevik/ntp"

	"timeball/internal/timescale"
)

// ask polls all servers in rounds until ctx ends: some rounds close together
// at the start and after each break of the scale, and then one at a time.
func (s *Standard) ask(ctx context.Context) {
	breaks := -1
	for burst := 0; ; {
		s.round(ctx)
		if ctx.Err() != nil {
			return
		}
		if s.options.Heard != nil {
			s.options.Heard(s.State())
		}
		s.mu.Lock()
		if s.breaks != breaks {
			breaks, burst = s.breaks, s.options.Rounds
		}
		s.mu.Unlock()
		burst--
		wait := s.options.Every
		if burst > 0 {
			wait = min(s.options.Spacing, s.options.Every)
		}
		if !s.pause(ctx, wait) {
			return
		}
	}
}

// pause waits, or less if a round is asked for, but never so little that a
// server is asked again too soon. It returns false if ctx ended. Meanwhile it
// looks at the clock, so that a sleep is noticed when it is over.
func (s *Standard) pause(ctx context.Context, wait time.Duration) bool {
	least := time.NewTimer(min(wait, s.options.Spacing))
	defer least.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-least.C:
	}
	later := time.NewTimer(max(0, wait-s.options.Spacing))
	defer later.Stop()
	watch := time.NewTicker(max(s.options.Spacing, time.Millisecond))
	defer watch.Stop()
	for {
		select {
		case <-ctx.Done():
			return false
		case <-later.C:
			return true
		case <-s.wake:
			return true
		case <-watch.C:
			s.mu.Lock()
			s.look()
			s.mu.Unlock()
		}
	}
}

// round makes one exchange with each server and weighs what they say.
func (s *Standard) round(ctx context.Context) {
	s.mu.Lock()
	s.polled, s.asked = s.look(), true
	began := s.breaks
	var asked []*server
	for _, v := range s.servers {
		switch {
		case v.gone:
		case v.skip > 0:
			v.skip--
		default:
			v.polls++
			asked = append(asked, v)
		}
	}
	s.mu.Unlock()

	answers := make([]answer, len(asked))
	var wg sync.WaitGroup
	for i, v := range asked {
		wg.Go(func() {
			answers[i] = ask(ctx, v.name, s.options.Timeout, s.scale.stepS, s.steady)
		})
	}
	wg.Wait()
	if ctx.Err() != nil {
		return
	}

	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.look()
	if s.breaks != began {
		return // the scale broke off while they were asked: what they say is worth nothing
	}
	tolerance := s.tolerance()
	good := false
	for i, v := range asked {
		v.take(answers[i], tolerance)
		good = good || answers[i].trouble == ""
	}
	s.worded.stale = true
	if good {
		s.conclude(now)
	}
}

// steady returns the scale, and the steady clock at the same moment.
func (s *Standard) steady() (time.Time, time.Duration) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.look()
	return s.scale.time(now), now
}

// conclude finds what the servers agree on once at least one of them was heard
// anew: when all are silent the last agreement holds on as it was, rather than
// lose one vote after another.
func (s *Standard) conclude(now time.Duration) {
	s.worded.stale, s.weighed = true, now
	tolerance := s.tolerance()
	var fit, unfit []*server
	for _, v := range s.servers {
		if !v.weigh(now, tolerance) || !s.reached(v, now) {
			continue
		}
		if v.bestS > MostBoundS {
			unfit = append(unfit, v)
		} else {
			fit = append(fit, v)
		}
	}
	voting := fit
	if len(voting) == 0 {
		voting = unfit
	} else {
		for _, v := range unfit {
			v.unfitting = "may be wrong by " + seconds(v.bestS) + ", and others know better"
		}
	}
	said := make([]interval, len(voting))
	for i, v := range voting {
		said[i] = v.interval()
	}
	in, ok := agree(said)
	before := s.found
	if s.disputed {
		before = nil
	}
	s.disputed = !ok
	if !ok {
		for _, v := range voting {
			v.unfitting = disagreeing
		}
		if s.found == nil {
			s.found = &found{at: now, offsetS: middle(said), tolerance: tolerance}
		}
		return
	}
	next := found{at: now, offsetS: in.midS, halfS: max(in.halfS, s.scale.stepS), voting: len(voting), tolerance: tolerance}
	for _, v := range voting {
		if v.interval().contradicts(in) {
			v.false = true
			way := "ahead of"
			if v.best.offsetS < in.midS {
				way = "behind"
			}
			v.unfitting = "is " + seconds(v.best.offsetS-in.midS) + " " + way + " the others"
			continue
		}
		v.used = true
		next.agreeing++
		next.heard = max(next.heard, v.heard)
	}
	if before != nil && (interval{before.offsetS, before.boundS(now)}).contradicts(in) {
		// The servers did not all go wrong at once: this computer was stopped
		// without its knowing, as a virtual one can be, or drifted more than was
		// thought. The samples that contradict these are gone already.
		s.spell++
		s.lapsed = lapse{now, "UTC and the going of this computer parted by " + seconds(in.midS-before.offsetS)}
		s.drift = nil
	}
	s.found = &next
	s.keepDrift(next)
	s.hearLeap(voting, s.utc(now))
}

// keepDrift keeps an agreement for measuring the drift: the last one, and
// before it some that are far apart.
func (s *Standard) keepDrift(f found) {
	if n := len(s.drift); n > 1 && f.at-s.drift[n-2].at < driftApart {
		s.drift = s.drift[:n-1]
	}
	s.drift = append(s.drift, f)
	if len(s.drift) > driftKept {
		s.drift = append(s.drift[:0], s.drift[1:]...)
	}
}

// findLeap looks the next leap second up in the list.
func (s *Standard) findLeap(utc time.Time) {
	l := timescale.Current()
	s.leapAt, _ = l.Next(utc)
	s.announce = false
}

// hearLeap notes a leap second that more than half of the servers used
// announce for the end of the month (RFC 5905, 7.3, leap indicator).
func (s *Standard) hearLeap(voting []*server, utc time.Time) {
	s.findLeap(utc)
	used, announcing := 0, 0
	for _, v := range voting {
		if !v.used {
			continue
		}
		used++
		if l := v.samples[len(v.samples)-1].leap; l == ntp.LeapAddSecond || l == ntp.LeapDelSecond {
			announcing++
		}
	}
	end := time.Date(utc.Year(), utc.Month()+1, 1, 0, 0, 0, 0, time.UTC)
	if 2*announcing > used && (s.leapAt.IsZero() || s.leapAt.After(end)) {
		s.leapAt, s.announce = end, true
	}
}
