package rating

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// leastSD is the smallest standard deviation a reading is given credit for, s.
const leastSD = 0.01

// observation is a reading prepared for the model.
type observation struct {
	Reading
	t      float64 // SI days since the origin
	read   float64 // dial minus UTC as read, s, nearest to what was expected
	y      float64 // read less known movements of the hands and leap seconds, s
	sd     float64 // not less than leastSD
	run    int     // counts free steps of the error: started, hands set
	rate   int     // counts these and all that may have changed the rate
	inGone bool    // read while it stood stopped
}

// record is a history in order of time, measured from an origin.
type record struct {
	origin  time.Time
	obs     []observation
	events  []Event
	effects []Effect
	history History
}

// prepare sorts the history, resolves dial readings to errors and takes known
// movements of the hands and leap seconds out of them.
func prepare(h History, asked []time.Time) record {
	h.Readings, h.Events = slices.Clone(h.Readings), slices.Clone(h.Events)
	slices.SortStableFunc(h.Readings, func(a, b Reading) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(h.Events, func(a, b Event) int { return a.At.Compare(b.At) })
	rec := record{events: h.Events, history: h}
	if len(h.Readings) == 0 {
		return rec
	}
	rec.origin = h.Readings[0].At
	for _, at := range asked {
		if at.Before(rec.origin) {
			rec.origin = at
		}
	}
	expected, known := 0.0, false
	stopped, run, rate, next, moved := false, 0, 0, 0, 0.0
	last := rec.origin
	for _, r := range h.Readings {
		for ; next < len(h.Events) && !h.Events[next].At.After(r.At); next++ {
			switch e := h.Events[next]; e.Kind {
			case HandsMoved:
				moved += e.MovedS
				expected += e.MovedS
			case HandsSet:
				run, known = run+1, false
			case Started:
				run, known, stopped = run+1, false, false
			case Stopped:
				stopped = true
			}
			if h.Events[next].Kind != HandsMoved {
				rate++
			}
		}
		leaps := float64(timescale.LeapSeconds(last, r.At))
		expected += leaps
		moved += leaps
		last = r.At
		near := 0.0
		if known {
			near = expected
		}
		o := observation{Reading: r, t: timescale.Days(rec.origin, r.At), sd: max(r.SDS, leastSD), run: run, rate: rate, inGone: stopped}
		o.read = float64(clock.Nearest(clock.DialError(r.ErrorS), clock.DialError(near), r.ModulusS))
		o.y = o.read - moved
		if !stopped {
			expected, known = o.read, true
		}
		rec.obs = append(rec.obs, o)
	}
	return rec
}

// moved returns the known movements of the hands and leap seconds from the
// origin up to and including an instant, s.
func (rec *record) moved(at time.Time) float64 {
	sum := float64(timescale.LeapSeconds(rec.origin, at))
	for _, e := range rec.events {
		if e.Kind == HandsMoved && !e.At.After(at) {
			sum += e.MovedS
		}
	}
	return sum
}

// brokenAfter returns when, after the epoch, the error ceased to be known: it
// was stopped, begun anew or altered. It is zero if it was not.
func (rec *record) brokenAfter(epoch time.Time) (time.Time, EventKind) {
	for _, e := range rec.events {
		if !e.At.After(epoch) {
			continue
		}
		switch e.Kind {
		case Started, Stopped, HandsSet, Regulated, Serviced:
			return e.At, e.Kind
		}
	}
	return time.Time{}, ""
}

// going returns the indices of the observations that were read while it went.
func (rec *record) going() []int {
	var at []int
	for k, o := range rec.obs {
		if !o.inGone {
			at = append(at, k)
		}
	}
	return at
}

// leastRun is the number of readings from which an unrecorded movement of the
// minute hand is looked for, and leastLevel the number for which a level must
// stand to be no misreading.
const (
	leastRun   = 6
	leastLevel = 3
)

// unrecorded finds movements of the minute hand that no event tells and takes
// them out of the observations that follow in the run. It looks between events,
// where one rate serves.
func (rec *record) unrecorded() []UnrecordedMove {
	var found []UnrecordedMove
	at := rec.going()
	for len(at) > 0 {
		n := 1
		for n < len(at) && rec.obs[at[n]].rate == rec.obs[at[0]].rate {
			n++
		}
		found = append(found, rec.unrecordedIn(at, n)...)
		at = at[n:]
	}
	for _, m := range found {
		rec.events = append(rec.events, Event{At: m.Before, Kind: HandsMoved, MovedS: m.MovedS})
	}
	slices.SortStableFunc(rec.events, func(a, b Event) int { return a.At.Compare(b.At) })
	return found
}

// level is a stretch of readings that stand the same number of whole minutes
// from the first.
type level struct {
	minutes    float64
	first, end int
}

// unrecordedIn looks among the first n of the observations at.
func (rec *record) unrecordedIn(all []int, n int) []UnrecordedMove {
	at := all[:n]
	if len(at) < leastRun {
		return nil
	}
	var rates []float64
	for i := 1; i < len(at); i++ {
		a, b := rec.obs[at[i-1]], rec.obs[at[i]]
		if b.t > a.t {
			rates = append(rates, (b.y-a.y)/(b.t-a.t))
		}
	}
	if len(rates) == 0 {
		return nil
	}
	r0 := median(rates)
	levels := []level{{end: 1}}
	base, strays, sum := 0, 0, 0.0
	for i := 1; i < len(at); i++ {
		a, b := rec.obs[at[base]], rec.obs[at[i]]
		d := b.t - a.t
		off := b.y - a.y - r0*d
		minutes := math.Round(off / 60)
		if math.Abs(off-60*minutes) >= min(5+d/2, 20) && strays < leastLevel {
			// A stray neither makes a level nor is compared with, unless they go on.
			strays++
			levels[len(levels)-1].end = i + 1
			continue
		}
		if strays == leastLevel {
			minutes = 0
		}
		base, strays = i, 0
		if minutes != 0 {
			sum += minutes
			levels = append(levels, level{minutes: sum, first: i})
		}
		levels[len(levels)-1].end = i + 1
	}
	// Shorter levels are misreadings; what stands on both sides of them counts.
	standing := levels[:0:0]
	for _, l := range levels {
		if l.end-l.first < leastLevel {
			continue
		}
		if n := len(standing); n > 0 && standing[n-1].minutes == l.minutes {
			standing[n-1].end = l.end
			continue
		}
		standing = append(standing, l)
	}
	if len(standing) < 2 {
		return nil
	}
	// Back at an earlier level in the end, either what lay between was misread or
	// the end was; the fewer readings are the more likely to be wrong.
	last := levels[len(levels)-1]
	for _, l := range standing[:len(standing)-1] {
		if l.minutes == last.minutes && last.first-l.end < leastLevel*(last.end-last.first) {
			return nil
		}
	}
	// Hands go one way; a level left again backwards was misread.
	sign := 0.0
	for i := 1; i < len(standing); i++ {
		step := standing[i].minutes - standing[i-1].minutes
		if sign*step < 0 {
			return nil
		}
		sign = step
	}
	var found []UnrecordedMove
	for i := 1; i < len(standing); i++ {
		after, before := rec.obs[at[standing[i-1].end-1]], rec.obs[at[standing[i].first]]
		by := 60 * (standing[i].minutes - standing[i-1].minutes)
		found = append(found, UnrecordedMove{After: after.At, Before: before.At, MovedS: by})
		for _, k := range all[standing[i].first:] {
			if rec.obs[k].run == before.run {
				rec.obs[k].y -= by
			}
		}
	}
	return found
}

func median(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	if n := len(s); n%2 == 0 {
		return (s[n/2-1] + s[n/2]) / 2
	}
	return s[len(s)/2]
}

// thin says why there is no rating.
func thin(n int) error {
	say := "none is given"
	if n == 1 {
		say = "there is one"
	} else if n > 1 {
		say = fmt.Sprintf("there are %d", n)
	}
	return fmt.Errorf("%w: %s; give at least %d from one run", ErrThin, say, fewest)
}

// fewest is the number of comparisons from which a rating is given.
const fewest = 3

// before returns how many values of sorted lie below t.
func before(sorted []float64, t float64) int { return sort.SearchFloat64s(sorted, t) }

func byTime[T any](s []T, at func(T) time.Time) []T {
	s = slices.Clone(s)
	slices.SortStableFunc(s, func(a, b T) int { return cmp.Compare(at(a).UnixNano(), at(b).UnixNano()) })
	return s
}
