package regulating

import (
	"fmt"
	"math"
	"strconv"
	"time"
)

// unit is how an effect is spoken of.
type unit struct {
	title, what string
	leave       string
	confused    string
	size        func(float64) string
	change      func(float64) string
	way         func(turns float64) string
	turn        func(u, step float64) string
}

// rates is the unit of the rate by the screws or nuts.
func rates(p Part) unit {
	noun := "screws"
	if p == TimingNuts {
		noun = "nuts"
	}
	u := rateUnit
	u.leave = "leave the " + noun + " alone"
	u.turn = func(turns, step float64) string {
		return fmt.Sprintf("both %s %s by %s, the same on each", noun, outIn(turns), Turns(math.Abs(turns), step))
	}
	return u
}

var rateUnit = unit{
	title: "The rate", what: "the rate", confused: "out and in are",
	size: func(x float64) string { return figures(x) + " s a day" },
	change: func(x float64) string {
		if x < 0 {
			return figures(x) + " s a day toward losing"
		}
		return figures(x) + " s a day toward gaining"
	},
	way: outIn,
}

var coefficients = unit{
	title: "The temperature coefficient", what: "the temperature coefficient", leave: "leave the weights alone", confused: "the two ways are",
	size: func(x float64) string { return decimals(math.Abs(x), 3) + " s a day per °C" },
	change: func(x float64) string {
		if x < 0 {
			return decimals(-x, 3) + " s a day per °C toward losing in warmth"
		}
		return decimals(x, 3) + " s a day per °C toward gaining in warmth"
	},
	way: towards, turn: weightWords,
}

func decimals(x float64, n int) string { return strconv.FormatFloat(x, 'f', n, 64) }

// figures returns the size of a rate or of its doubt to two figures or so.
func figures(x float64) string {
	x = math.Abs(x)
	switch {
	case x < 0.995:
		return decimals(x, 2)
	case x < 9.95:
		return decimals(x, 1)
	}
	return decimals(x, 0)
}

func outIn(turns float64) string {
	if turns < 0 {
		return "in"
	}
	return "out"
}

func towards(mm float64) string {
	if mm < 0 {
		return "away from the free ends"
	}
	return "toward the free ends"
}

func weightWords(mm, step float64) string {
	places := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	return fmt.Sprintf("both weights %s by %s mm, the same on each", towards(mm), decimals(math.Abs(mm), places))
}

// Turns returns a number of turns as a hand counts it, in parts of step: "3/40
// of a turn", "1/4 of a turn", "1 and 1/8 turns"; to a thousandth of a turn if
// step is not one part of a whole number of parts.
func Turns(turns, step float64) string {
	parts := math.Round(1 / step)
	if !finite(turns, parts) || !(step > 0) || math.Abs(parts*step-1) > 1e-6 || parts > 1000 || math.Abs(turns) > 1e6 {
		return decimals(turns, 3) + " turn"
	}
	count := int(math.Round(turns * parts))
	whole, rest, of := count/int(parts), count%int(parts), int(parts)
	for by := of; by > 1; by-- {
		if rest > 0 && rest%by == 0 && of%by == 0 {
			rest, of = rest/by, of/by
		}
	}
	switch {
	case rest == 0 && whole == 1:
		return "1 turn"
	case rest == 0:
		return fmt.Sprintf("%d turns", whole)
	case whole == 0:
		return fmt.Sprintf("%d/%d of a turn", rest, of)
	}
	return fmt.Sprintf("%d and %d/%d turns", whole, rest, of)
}

func day(at time.Time) string { return at.UTC().Format("2 Jan 2006") }

func days(n int) string {
	if n == 1 {
		return "One day"
	}
	return fmt.Sprintf("%d days", n)
}

// inHundred returns a probability as "about 55 in 100".
func inHundred(p float64) string {
	switch {
	case p > 0.985:
		return "more than 98 in 100"
	case p < 0.015:
		return "less than 2 in 100"
	}
	return fmt.Sprintf("about %.0f in 100", 100*p)
}
