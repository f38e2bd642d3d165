package journey

import (
	"fmt"
	"math"
	"strings"

	"timeball/internal/clock"
	"timeball/internal/rating"
)

const lostParcel = "If it is overdue, ask the carrier where it is and tell the owner; for the insurance follow your local rules and a licensed person."

// What a carriage may do, s: a tripped escapement puts the error up to 50 s
// ahead (Stechert (1894), §27).
const mostTripS = 50

// What to look at. The rules without a source are common practice.
const (
	lookTrip   = "Watch the seconds hand at a few swings of the balance: if it goes on by two or three half-seconds at a swing, the escapement is tripping (Stechert (1894), §27)."
	lookTime   = "After tripping it may lose up to 1 s a day for a time (Stechert (1894), §27): compare daily for a fortnight and rate it anew."
	lookDetent = "If it trips again, let it run no longer than must be, and have the detent, its spring and the locking looked at by somebody who repairs chronometers."
	lookRust   = "A growing loss points to rust on the balance spring: take it out of use and have the spring looked at by somebody who repairs chronometers (HWA p. 654)."
	lookPlace  = "First look at the place: is it level and free in its gimbals, wound at the same hour, and as warm as before?"
	lookIron   = "Keep it well away from magnets, loudspeakers and electric motors."
	lookInside = "If nothing about the place explains it, have the balance, its spring and pivots and the state of the oil looked at by somebody who repairs chronometers; old oil usually makes it gain (HWA p. 651)."
	lookHand   = "Look whether somebody moved the hands or started it anew and did not write it down; if so, write it down now and ask again."
	lookDaily  = "Compare it every day at the same hour."
	lookRate   = "Use the rate found since it arrived, not the one it left with."
)

// speak gives the verdict its words.
func (f *Finding) speak(x *journey, s shown) {
	var say []string
	add := func(v Verdict, chance float64, words string, lookAt ...string) {
		say = append(say, words)
		f.LookAt = append(f.LookAt, lookAt...)
		if f.Chance == 1 {
			f.Verdict, f.Chance = v, chance
			return
		}
		f.Also = append(f.Also, v)
	}
	if s.growth {
		add(GrowingLoss, s.growthChance, fmt.Sprintf("It loses more from day to day: every day by a further %s (%s), %s at present. So much would come by chance in %s unharmed journeys.",
			rateSize(*f.Growth), rateHalf(*f.Growth), rateWords(*f.RateNow), share(s.growthChance)), lookRust)
	}
	jump := func(tripped bool) {
		if !s.jump {
			return
		}
		if v, words, lookAt := jumped(*f.Jump); tripped == (v == Tripped) {
			add(v, s.jumpChance, words+fmt.Sprintf(" So much would come by chance in %s unharmed journeys.", share(s.jumpChance)), lookAt...)
		}
	}
	jump(true)
	if s.change {
		change := s.rate.change
		add(RateChanged, s.changeChance, fmt.Sprintf("Its rate changed: it %s %s a day (%s) more: %s when it left, %s when it arrived. A change as large would come by chance in %s unharmed journeys.",
			way(change.Size.Mean), rateSize(change.Size), rateHalf(change.Size), rateWords(change.Before), rateWords(change.After), share(s.changeChance)),
			lookPlace, lookIron, lookInside, lookRate)
	}
	jump(false)
	switch {
	case len(say) > 0:
	case len(x.after) < fewest:
		f.Verdict = TooFew
		say = append(say, "It has not been compared since it arrived.")
		if n := len(x.after); n > 0 {
			say = []string{fmt.Sprintf("There %s since it arrived, too few to tell its rate.", count(n))}
		}
	case f.Day < f.Main:
		f.Verdict, f.Chance = TooFew, s.changeChance
		say = append(say, fmt.Sprintf("So far its rate differs by %s a day (%s) from the one it left with; that says nothing yet.", rateSize(*f.Change), rateHalf(*f.Change)))
	default:
		f.Verdict, f.Chance = NoChange, s.changeChance
		say = append(say, fmt.Sprintf("No change shows: its rate differs by %s a day (%s) from the one it left with. A change as large would come by chance in %s unharmed journeys, and one under about %s a day could not be told from its ordinary wandering.",
			rateSize(*f.Change), rateHalf(*f.Change), share(s.changeChance), size(f.Smallest)))
		if f.Jump != nil {
			amount, half := errorSize(*f.Jump)
			say = append(say, fmt.Sprintf("Nor does a jump of its error on the way: %s (%s).", amount, half))
		}
	}
	f.Words = strings.Join(say, " ")
	if f.Verdict == TooFew {
		f.LookAt = append(f.LookAt, lookDaily)
		f.Words += " " + f.due()
	}
	f.notes(x, s)
}

// due says when to ask again.
func (f *Finding) due() string {
	words := fmt.Sprintf("The verdict is due on the %s day after it arrived. How long until a change of %s a day shows? ", ordinal(f.Main), size(f.Wish))
	switch {
	case f.Need.Never:
		return words + f.Need.Why
	case f.Need.Days == 0:
		return words + "There are enough comparisons for four of five cases."
	case f.Need.Days == 1:
		return words + "With one more daily comparison, in four of five cases."
	}
	return words + fmt.Sprintf("With %d more daily comparisons, in four of five cases.", f.Need.Days)
}

// notes says what a reader must know of the verdict.
func (f *Finding) notes(x *journey, s shown) {
	if f.Jump == nil && f.Change != nil {
		f.Notes = append(f.Notes, "Whether its error jumped on the way cannot be told, since it began anew.")
	}
	if f.Day > 0 {
		f.Notes = append(f.Notes, fmt.Sprintf("The verdict rests on the comparisons up to %s. Verdicts fall due on days fixed before it arrived, mainly the %s; so of 100 unharmed journeys at most %.0f end in any alarm, however often somebody asks.",
			f.Through.Format("2 January 2006"), ordinal(f.Main), math.Ceil(100*AlarmsAtMost-1e-9)))
	}
	switch {
	case f.Aside == 1:
		f.Notes = append(f.Notes, "One comparison does not fit the others and is set aside.")
	case f.Aside > 1:
		f.Notes = append(f.Notes, fmt.Sprintf("%d comparisons do not fit the others and are set aside.", f.Aside))
	}
	if f.Verdict == NoChange && f.Need.Never {
		f.Notes = append(f.Notes, "Would more comparisons show a change of "+size(f.Wish)+" a day? "+f.Need.Why)
	}
}

// jumped says what a step of the error over the journey may be.
func jumped(jump rating.Interval) (Verdict, string, []string) {
	amount, half := errorSize(jump)
	minutes := math.Round(math.Abs(jump.Mean) / 60)
	switch {
	case minutes > 0 && math.Abs(math.Abs(jump.Mean)-60*minutes) < 3*jump.SD:
		return CannotTell, fmt.Sprintf("Its error stepped by %s (%s) on the way, which is what the minute hand shows when it was moved; whether it was, or what else befell it, cannot be told.", amount, half), []string{lookHand}
	case jump.Mean < 0:
		return CannotTell, fmt.Sprintf("It lost %s (%s) at one go on the way: it stood still for so long, went through heat or cold, or the hands were moved; which cannot be told.", amount, half), []string{lookHand}
	case jump.Mean > mostTripS+3*jump.SD:
		return CannotTell, fmt.Sprintf("It gained %s (%s) at one go on the way, more than tripping is known to give; what it was cannot be told.", amount, half), []string{lookHand, lookTrip}
	}
	return Tripped, fmt.Sprintf("It jumped %s ahead (%s) on the way: the escapement tripped.", amount, half), []string{lookTrip, lookTime, lookDetent}
}

// errorSize returns an error without its direction, and its half width.
func errorSize(i rating.Interval) (amount, half string) {
	e := clock.DialError(i.Mean)
	words := e.Words(i.Half())
	for _, direction := range []string{"fast ", "slow ", "right to "} {
		words = strings.TrimPrefix(words, direction)
	}
	return words, e.HalfWidth(i.Half())
}

func way(rate float64) string {
	if rate > 0 {
		return "gains"
	}
	return "loses"
}

func rateWords(i rating.Interval) string {
	return clock.Rate(i.Mean).Words(i.Half()) + " a day (" + rateHalf(i) + ")"
}
func rateSize(i rating.Interval) string { return clock.Rate(i.Mean).Size(i.Half()) }
func rateHalf(i rating.Interval) string { return clock.Rate(i.Mean).HalfWidth(i.Half()) }
func size(rate float64) string          { return clock.Rate(rate).Size(0.5) }

// share returns a chance as so many of a hundred or a thousand, rounded up so
// that it never says less than there is.
func share(p float64) string {
	switch {
	case p < 0.001:
		return "fewer than 1 of 1000"
	case p < 0.01:
		return fmt.Sprintf("%.0f of 1000", math.Ceil(1000*p))
	}
	return fmt.Sprintf("%.0f of 100", math.Ceil(100*p))
}

func count(n int) string {
	if n == 1 {
		return "is one comparison"
	}
	return fmt.Sprintf("are %d comparisons", n)
}

func ordinal(n int) string {
	switch {
	case n%100/10 == 1:
	case n%10 == 1:
		return fmt.Sprintf("%dst", n)
	case n%10 == 2:
		return fmt.Sprintf("%dnd", n)
	case n%10 == 3:
		return fmt.Sprintf("%drd", n)
	}
	return fmt.Sprintf("%dth", n)
}

// sentence returns s with a capital and a full stop.
func sentence(s string) string { return strings.ToUpper(s[:1]) + s[1:] + "." }
