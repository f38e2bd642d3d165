package trial

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// decide fills in the verdict with its words and what is missing.
func (rec *record) decide(res *Result, d *drawn) {
	var broken, dead, waiting []string
	limits, known := 0, 0
	for i, f := range res.Figures {
		lost := false
		if !f.Known {
			_, lost = rec.why(d.lack[i])
			if lost {
				res.Missing = append(res.Missing, fmt.Sprintf("%s cannot be known: %s.", f.Criterion.Name, f.Why))
			} else {
				res.Missing = append(res.Missing, fmt.Sprintf("%s is not known yet: %s.", f.Criterion.Name, f.Why))
			}
		}
		if !f.Limited {
			continue
		}
		limits++
		switch {
		case f.Known && !f.Kept:
			broken = append(broken, f.Criterion.Name)
			known++
		case f.Known:
			known++
		case lost:
			dead = append(dead, f.Criterion.Name)
		default:
			waiting = append(waiting, f.Criterion.Name)
		}
	}
	toCome := rec.toCome()
	sure := d.all(res.Figures)
	switch {
	case len(broken) > 0:
		res.Verdict, res.P = NotKept, 1-sure
	case len(waiting) > 0, limits == 0 && toCome > 0:
		res.Verdict = Open
	case len(dead) > 0:
		res.Verdict = Undecided
	case limits == 0:
		res.Verdict = NoLimits
	default:
		res.Verdict, res.P = Kept, sure
	}
	if len(waiting)+len(dead) == 0 {
		rec.classify(res, d)
	}
	res.Words = sentence(res, limits, broken, dead, toCome) + rec.unread(res)
	if close := closeOnes(res.Figures); close != "" {
		res.Remarks = append(res.Remarks, close)
	}
}

// unread says that a verdict which hangs on temperature rests on temperatures
// that nobody read.
func (rec *record) unread(res *Result) string {
	if res.Verdict != Kept && res.Verdict != NotKept {
		return ""
	}
	tempered := slices.ContainsFunc(res.Figures, func(f Figure) bool { return f.Known && f.Criterion.Of.Tempered() })
	unread := slices.ContainsFunc(rec.days, func(d Day) bool {
		return d.Known && d.TempC == nil && rec.programme.Periods[d.Period].TempC != nil
	})
	if !tempered || !unread {
		return ""
	}
	return " That is so only if each period was as warm as the programme asks: the temperature was not recorded on every day."
}

// toCome returns how many days are still to come.
func (rec *record) toCome() int {
	n := 0
	for _, d := range rec.days {
		if d.ToCome {
			n++
		}
	}
	return n
}

// all returns the part of the draws in which every limit is kept that could
// be computed.
func (d *drawn) all(figures []Figure) float64 {
	var limited []int
	draws := 0
	for i, f := range figures {
		if f.Known && f.Limited {
			limited, draws = append(limited, i), len(d.value[i])
		}
	}
	kept := 0
	for k := range draws {
		if !slices.ContainsFunc(limited, func(i int) bool { return !figures[i].Criterion.Keeps(d.value[i][k]) }) {
			kept++
		}
	}
	if draws == 0 {
		return 0
	}
	return float64(kept) / float64(draws)
}

// classify fills in the class of the trial: the worst that one of its criteria
// reaches, counted from the best of each.
func (rec *record) classify(res *Result, d *drawn) {
	worstOf := func(value func(i int) float64) (at, in int) {
		at, in = -1, -1
		for i, f := range res.Figures {
			if len(f.Criterion.Classes) > 0 {
				if c := f.Criterion.Class(value(i)); c > at {
					at, in = c, i
				}
			}
		}
		return at, in
	}
	own, in := worstOf(func(i int) float64 { return res.Figures[i].Value })
	if in < 0 {
		return
	}
	draws, same := len(d.value[in]), 0
	for k := range draws {
		if c, _ := worstOf(func(i int) float64 { return d.value[i][k] }); c == own {
			same++
		}
	}
	if draws > 0 {
		res.PClass = float64(same) / float64(draws)
	}
	if classes := res.Figures[in].Criterion.Classes; own < len(classes) {
		res.Class = classes[own].Name
	}
}

// sentence returns the verdict in words.
func sentence(res *Result, limits int, broken, dead []string, toCome int) string {
	still := ""
	if toCome > 0 {
		still = fmt.Sprintf(" %s still to come.", count(toCome, "day is", "days are"))
	}
	switch res.Verdict {
	case NotKept:
		w := fmt.Sprintf("Not kept: %s outside the limit", list(broken))
		if toCome > 0 {
			w += ", and no day still to come can mend it"
		}
		return w + ". " + certainty(res.P, "that the true rates do not keep every limit either")
	case Kept:
		w := "Kept: the limit is kept. "
		if limits > 1 {
			w = fmt.Sprintf("Kept: all %d limits are kept. ", limits)
		}
		if res.Class != "" {
			w = fmt.Sprintf("Kept: class %q is reached. %s ", res.Class, certainty(res.PClass, "that the true rates reach just that class"))
		}
		return w + certainty(res.P, "that the true rates keep every limit too") + still
	case Open:
		if len(dead) > 0 {
			return fmt.Sprintf("Going on:%s %s cannot be known any more, so the trial will stay undecided unless a limit is broken.", still, list(dead))
		}
		return "Going on:" + still
	case Undecided:
		return fmt.Sprintf("Undecided: %s cannot be known, because days that it needs are missing.%s", list(dead), still)
	}
	return "The programme sets no limits: the figures stand for themselves." + still
}

// certainty returns a probability in words.
func certainty(p float64, of string) string {
	switch {
	case p > 0.995:
		return fmt.Sprintf("Readings being what they are, it is more than 99%% sure %s.", of)
	case p < 0.005:
		return fmt.Sprintf("Readings being what they are, it is less than 1%% sure %s.", of)
	}
	return fmt.Sprintf("Readings being what they are, it is %.0f%% sure %s.", 100*p, of)
}

// closeOnes returns a sentence about the figures that lie too near a limit to
// be sure on which side.
func closeOnes(figures []Figure) string {
	var close []string
	for _, f := range figures {
		if f.Close {
			n := decimals(f.SD)
			close = append(close, fmt.Sprintf("%s (%.*f %s, most likely from %.*f to %.*f)", f.Criterion.Name, n, f.Value, f.Criterion.Unit, n, f.Lo95, n, f.Hi95))
		}
	}
	if close == nil {
		return ""
	}
	return "Too near a limit to be sure on which side the true value lies: " + strings.Join(close, ", ") + "."
}

// decimals returns the decimals with which a figure of that doubt is written.
func decimals(sd float64) int {
	if !(sd > 0) {
		return 3
	}
	return max(0, min(6, 1-int(math.Floor(math.Log10(sd)))))
}

func count(n int, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, more)
}

// list joins names: "a", "a and b", "a, b and c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}
