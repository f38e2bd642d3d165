package trials

import (
	"fmt"
	"math"
	"net/url"
	"strconv"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/regulating"
	"timeball/internal/trial/programme"
	"timeball/internal/web/wording"
)

// Turning is what to turn on a balance, and what turning has done.
type Turning struct {
	Cautions []string
	Rate     *Told  // nil if it is not known
	Why      string // why not, a sentence
	Wish     string
	Chance   string // that it lies within the wish as it is

	Turn     bool
	Do       string // what to do with the screws, a sentence
	Worth    string
	Expect   *Told
	Within   string
	After    []string // how long to compare or listen before turning again
	Warnings []string
	Write    string // where it is written, filled in
	Wait     bool   // compare first

	Part      string
	PerTurn   string // of both, a sentence
	OneTurn   Told
	RestsOn   string
	Learnt    []string // what else the turnings have shown
	Turnings  []Turned
	Weights   *Weights
	HandWords string
}

// Turned is one turning with what it did.
type Turned struct {
	When, What    string
	Href          string // its entry
	Before, After *Told
	Heard         bool  // both were heard, not compared
	Effect        *Told // per turn out of both
	Why           string
}

// Weights is what to move for the temperature.
type Weights struct {
	Now      *Told
	Do       string
	Worth    string
	Effect   string
	Warnings []string
	Write    string
}

// NewTurning returns what regulating says of an instrument whose page is at an
// address.
func NewTurning(r adjust.Regulating, at string, now time.Time) Turning {
	t := Turning{Cautions: regulating.Cautions(), Part: string(r.Part), Wish: WishWords(r.Wish)}
	if r.RateKnown {
		told := rate(r.Now.Mean, r.Now.Half())
		t.Rate = &told
		t.Chance = inHundred(r.Advice.Now) + " that it lies within the wish"
		t.advise(r, at)
	} else {
		t.Why = wording.Sentence(wording.Upper(r.Why))
	}
	t.effect(r)
	t.turnings(r, at, now)
	if r.Weights != nil {
		t.Weights = newWeights(*r.Weights, at)
	}
	return t
}

// WishWords returns a wish in words: "losing 0.5 to 1 s a day".
func WishWords(w regulating.Wish) string {
	lo, hi := math.Abs(w.From), math.Abs(w.To)
	switch {
	case w.To <= 0:
		return "losing " + plain(hi) + " to " + plain(lo) + " s a day"
	case w.From >= 0:
		return "gaining " + plain(lo) + " to " + plain(hi) + " s a day"
	}
	return "losing " + plain(lo) + " to gaining " + plain(hi) + " s a day"
}

func (t *Turning) advise(r adjust.Regulating, at string) {
	a := r.Advice
	t.Turn, t.Do, t.Worth, t.Warnings = a.Turn, wording.Sentence(wording.Upper(a.Words)), a.Worth, a.Warnings
	if !a.Turn {
		t.Wait = a.CompareDays > 0
		return
	}
	told := rate(a.Expect.Mean, a.Expect.Half())
	t.Expect, t.Within = &told, inHundred(a.Within)+" that it then lies within the wish"
	t.Write = writeTurning(at, r.Part, a.TurnsOut, a.Expect.Mean-r.Now.Mean)
	if a.CompareDays > 0 {
		t.After = append(t.After, fmt.Sprintf("Compare it on %s days in a row, the day itself included, before anything is turned again.", wording.Count(a.CompareDays)))
	}
	if a.ListenS > 0 {
		words := fmt.Sprintf("Or listen for %s just before and just after, with the same device: that tells what the turning did to ±%.2f s a day", listenWords(a.ListenS), 1.96*a.HeardSDS)
		if a.HeardWillDo {
			words += ", which is enough to turn again on the same day."
		} else {
			words += ", which is not enough to turn again; the days are needed."
		}
		t.After = append(t.After, words)
	}
}

func listenWords(s float64) string {
	if s < 120 {
		return fmt.Sprintf("%.0f s", s)
	}
	return strconv.FormatFloat(math.Round(s/30)/2, 'f', -1, 64) + " min"
}

// writeTurning returns where a turning is written, with what is known of it
// beforehand.
func writeTurning(at string, part regulating.Part, out, change float64) string {
	q := url.Values{"part": {string(part)}, "turns": {strconv.FormatFloat(math.Abs(out), 'g', 4, 64)}}
	way := chronometer.Out
	switch {
	case part == regulating.RimWeights && out < 0:
		way = chronometer.FromEnd
	case part == regulating.RimWeights:
		way = chronometer.ToEnds
	case out < 0:
		way = chronometer.In
	}
	q.Set("way", string(way))
	if part != regulating.RimWeights {
		q.Set("for_s_per_day", strconv.FormatFloat(rounded(change, 2), 'f', -1, 64))
	}
	return at + "/write/regulated?" + q.Encode()
}

// span returns a 95% interval of a rate in words.
func span(e regulating.Estimate) string {
	half := (e.Hi95 - e.Lo95) / 2
	n := decimals(half, "s")
	size := func(v float64) string { return strconv.FormatFloat(math.Abs(v), 'f', n, 64) }
	switch {
	case e.Hi95 <= 0:
		return fmt.Sprintf("losing %s to %s s a day", size(e.Hi95), size(e.Lo95))
	case e.Lo95 >= 0:
		return fmt.Sprintf("gaining %s to %s s a day", size(e.Lo95), size(e.Hi95))
	}
	return fmt.Sprintf("losing %s to gaining %s s a day", size(e.Lo95), size(e.Hi95))
}

func (t *Turning) effect(r adjust.Regulating) {
	e := r.Effect
	per := e.PerTurn
	half := (per.Hi95 - per.Lo95) / 2
	t.PerTurn = fmt.Sprintf("One turn out of both %s: %s s a day more, by 95%% %s.", r.Part, wayOf(per.Mean, decimals(half, "s")), span(per))
	t.OneTurn = Told{Words: wayOf(per.Mean, decimals(half, "s")) + " s", After: "a day more"}
	used := 0
	for _, u := range e.Used {
		if !u.Heard {
			used++
		}
	}
	heard := len(e.Used) - used
	switch {
	case len(e.Used) == 0:
		t.RestsOn = "This is what is thought beforehand of any such balance, from memory and wide on purpose: no turning of this one was measured yet."
	case e.Own:
		t.RestsOn = "Learnt from its own turnings: " + measuredWords(used, heard) + "."
	default:
		t.RestsOn = "Still mostly what is thought beforehand of any such balance; its own turnings say little yet: " + measuredWords(used, heard) + "."
	}
	t.HandWords = fmt.Sprintf("A hand sets the pair to ±%.2f turn of what was meant, which leaves ±%s s a day that no reckoning takes away.", 1.96*e.Hand.SDS, strconv.FormatFloat(1.96*e.PlaySDS, 'f', 2, 64))
	t.Learnt = e.Warnings
}

func wayOf(v float64, n int) string {
	return way(v) + " " + strconv.FormatFloat(math.Abs(v), 'f', n, 64)
}

func measuredWords(compared, heard int) string {
	var parts []string
	if compared > 0 {
		parts = append(parts, wording.Counted(compared, "change", "changes")+" by comparisons")
	}
	if heard > 0 {
		parts = append(parts, wording.Counted(heard, "change", "changes")+" by ear")
	}
	return wording.Joined(parts)
}

// turnings fills in the table of earlier turnings, the newest first.
func (t *Turning) turnings(r adjust.Regulating, at string, now time.Time) {
	for n := len(r.Turnings) - 1; n >= 0; n-- {
		turning, e := r.Turnings[n], r.Entries[n]
		row := Turned{When: wording.ShortDay(e.At, now), What: e.Fact.Words(), Href: at + "?entries=all#e-" + string(e.ID)}
		switch {
		case turning.Before != nil || turning.After != nil:
			if s := turning.Before; s != nil {
				told := rate(s.RateSPerDay, 1.96*s.SDS)
				row.Before = &told
			}
			if s := turning.After; s != nil {
				told := rate(s.RateSPerDay, 1.96*s.SDS)
				row.After = &told
			}
		case turning.HeardBefore != nil && turning.HeardAfter != nil:
			row.Heard = true
			for h, to := range map[*regulating.Heard]**Told{turning.HeardBefore: &row.Before, turning.HeardAfter: &row.After} {
				told := rate(h.RateSPerDay, 1.96*h.RecordingSDS)
				*to = &told
			}
		}
		for _, u := range r.Effect.Used {
			if u.Index != n || u.TurnsOut == 0 || row.Effect != nil && u.Heard {
				continue
			}
			told := rate(u.Change/u.TurnsOut, 1.96*u.SDS/math.Abs(u.TurnsOut))
			row.Effect = &told
		}
		for _, left := range r.Effect.LeftOut {
			if left.Index == n && row.Effect == nil {
				row.Why = wording.Upper(left.Reason)
			}
		}
		if row.Effect == nil && row.Why == "" && turning.Part != r.Part {
			row.Why = "Another part"
		}
		t.Turnings = append(t.Turnings, row)
	}
}

func newWeights(w adjust.Weights, at string) *Weights {
	out := Weights{Warnings: append([]string{}, w.Effect.Warnings...)}
	size := func(e regulating.Estimate) string {
		return fmt.Sprintf("%s s a day for each °C", wayOf(e.Mean, 3))
	}
	out.Effect = fmt.Sprintf("A millimetre toward the free ends, on both: %s more, by 95%% %.2f to %.2f.", size(w.Effect.PerTurn), w.Effect.PerTurn.Lo95, w.Effect.PerTurn.Hi95)
	if !w.Effect.Own {
		out.Effect += " This is thought beforehand, not measured on this one."
	}
	if w.Now.SD > 0 {
		told := tell(programme.Criterion{Of: programme.PerDegree, Unit: programme.PerDegree.Unit()}, w.Now.Mean, w.Now.Half())
		out.Now = &told
		out.Do, out.Worth = wording.Sentence(wording.Upper(w.Advice.Words)), w.Advice.Worth
		out.Warnings = append(out.Warnings, w.Advice.Warnings...)
		if w.Advice.Turn {
			out.Write = writeTurning(at, regulating.RimWeights, w.Advice.TurnsOut, 0)
		}
	}
	return &out
}
