package reference

import (
	"fmt"
	"strings"
	"time"

	"timeball/internal/timescale"
)

const (
	ownClock      = "this computer’s clock"
	ownClockKept  = "this computer’s clock, kept by the system"
	ownClockTaken = "this computer’s clock, taken to be right"
)

// wording is what a reading says in words. Words change seldom, so that they
// are made once a second at most.
type wording struct {
	stale   bool
	made    bool
	at      time.Duration
	known   bool
	taken   bool
	source  string
	remarks []string
}

// word makes the words of a reading anew if they may have changed.
func (s *Standard) word(now time.Duration, utc time.Time, known, taken bool) {
	w := &s.worded
	if w.made && !w.stale && w.known == known && w.taken == taken && now-w.at < time.Second {
		return
	}
	*w = wording{made: true, at: now, known: known, taken: taken}
	w.source = s.sourceWords(now, known, taken)
	w.remarks = s.remarks(now, utc)
	// A caller that appends to the remarks must not write into ours.
	w.remarks = w.remarks[:len(w.remarks):len(w.remarks)]
}

func (s *Standard) sourceWords(now time.Duration, known, taken bool) string {
	f := s.found
	switch {
	case taken:
		return ownClockTaken
	case f == nil && known:
		return ownClockKept
	case f == nil:
		return ownClock
	case s.disputed:
		return "servers disagree"
	}
	who := count(f.agreeing)
	if f.voting > f.agreeing {
		who += " of " + count(f.voting)
	}
	// One round may fail without anyone having fallen silent.
	if ago := now - f.heard; ago > 2*s.options.Every+s.options.Timeout {
		if f.voting == 1 {
			return "one server, heard " + long(ago) + " ago"
		}
		return fmt.Sprintf("%s servers agreed %s ago", who, long(ago))
	}
	if f.voting == 1 {
		return "one server"
	}
	return who + " servers agree"
}

func (s *Standard) remarks(now time.Duration, utc time.Time) []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	switch l := s.lapsed; {
	case l.why == "":
	case s.found == nil && len(s.servers) > 0:
		say("%s; the servers are being asked again", l.why)
	case now-l.at < tellFor:
		say("%s; that was %s ago", l.why, long(now-l.at))
	}
	if s.setBy.by != 0 && now-s.setBy.at < tellFor {
		way := "forward"
		if s.setBy.by < 0 {
			way = "back"
		}
		used := "; it is not used"
		if s.found == nil {
			used = ""
		}
		say("this computer’s clock was set %s by %s, %s ago%s", way, long(s.setBy.by.Abs()), long(now-s.setBy.at), used)
	}
	switch f := s.found; {
	case f == nil:
		if s.asked && s.lapsed.why == "" {
			say("no server has been heard yet")
		}
	case s.disputed:
		s.remarkOnDispute(say)
	case now-f.heard > reachedFor*s.options.Every:
		say("no server answers; UTC is kept by this computer’s own going, which may drift by %.2f s a day", f.tolerance*86400)
	default:
		if f.voting == 1 {
			say("one server answers, nothing confirms it")
		}
		for _, v := range s.servers {
			if v.false {
				say("%s is not used: it %s", v.name, v.unfitting)
			}
		}
	}
	s.remarkOnLeap(utc, say)
	return out
}

func (s *Standard) remarkOnDispute(say func(string, ...any)) {
	n := 0
	for _, v := range s.servers {
		if v.unfitting == disagreeing {
			n++
		}
	}
	if n == 2 {
		say("two servers disagree; a third is needed to tell which is wrong")
		return
	}
	say("%s servers disagree, and most of them do not agree on anything", count(n))
}

func (s *Standard) remarkOnLeap(utc time.Time, say func(string, ...any)) {
	const near = 24 * time.Hour
	l := timescale.Current()
	if !s.leapAt.IsZero() {
		by := ""
		if s.announce {
			by = "; the servers say so, and the list of leap seconds does not know it"
		}
		say("a leap second ends just before %s%s", s.leapAt.Format("2 January 2006, 15:04 UTC"), by)
	}
	at, ok := l.Next(utc.Add(-near))
	if (ok && at.Sub(utc) <= near) || (!s.leapAt.IsZero() && s.leapAt.Sub(utc) <= near) {
		say("a leap second is less than a day away, and comparisons are doubtful: some servers spread it over hours")
	}
	if utc.After(l.Expires) {
		say("the list of leap seconds expired on %s; later leap seconds, if any, are not known", day(l.Expires))
	}
}

// trouble says why a server is not used.
func (s *Standard) trouble(v *server, now time.Duration) string {
	switch {
	case v.unfitting != "" && s.reached(v, now):
		return v.unfitting
	case v.trouble != "" && v.everSaid:
		return v.trouble + "; it was last heard " + long(now-v.heard) + " ago"
	case v.trouble != "":
		return v.trouble
	case v.polls == 0:
		return "has not been asked yet"
	case !s.reached(v, now):
		return "has not answered yet"
	}
	return "has not been weighed yet"
}

// disagreeing is said of a server that no majority confirms.
const disagreeing = "disagrees with the others"

// count writes a small number in words.
func count(n int) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}
	if n >= 0 && n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}

// seconds writes a small time, s, in the unit that suits it.
func seconds(s float64) string {
	switch a := max(s, -s); {
	case a < 0.0995:
		return fmt.Sprintf("%.2g ms", a*1000)
	case a < 9.95:
		return fmt.Sprintf("%.1f s", a)
	default:
		return long(duration(a))
	}
}

// long writes a duration in its two largest units.
func long(d time.Duration) string {
	d = d.Abs()
	if d < 10*time.Second {
		return seconds(d.Seconds())
	}
	d = d.Round(time.Second)
	if d >= time.Hour {
		d = d.Round(time.Minute)
	}
	if d >= 24*time.Hour {
		d = d.Round(time.Hour)
	}
	var out []string
	for _, u := range []struct {
		unit time.Duration
		name string
	}{{24 * time.Hour, "d"}, {time.Hour, "h"}, {time.Minute, "min"}, {time.Second, "s"}} {
		if n := d / u.unit; n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, u.name))
			d -= n * u.unit
		}
	}
	return strings.Join(out, " ")
}
