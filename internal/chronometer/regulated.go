package chronometer

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"timeball/internal/clock"
)

// Part is what is turned or moved to alter a rate.
type Part string

// The parts. Timing screws and nuts sit at the ends of the balance arm and
// alter the rate at all temperatures; rim weights alter the compensation.
const (
	TimingScrews  Part = "timing screws"
	TimingNuts    Part = "timing nuts"
	RimWeights    Part = "rim weights"
	BalanceSpring Part = "balance spring"
	OtherPart     Part = "other"
)

// Choices returns the parts.
func (Part) Choices() []string {
	return []string{string(TimingScrews), string(TimingNuts), string(RimWeights), string(BalanceSpring), string(OtherPart)}
}

// Way is the direction in which a part was turned or moved.
type Way string

// The ways. Out makes a screw or nut turn slower; toward the free ends gives
// the compensation more.
const (
	Out     Way = "out"
	In      Way = "in"
	ToEnds  Way = "toward the free ends"
	FromEnd Way = "away from the free ends"
)

// Choices returns the ways.
func (Way) Choices() []string {
	return []string{string(Out), string(In), string(ToEnds), string(FromEnd)}
}

// Regulated is a deliberate change of rate.
type Regulated struct {
	What  string   `json:"what,omitempty" label:"What was altered" hint:"in words, if none of the parts below"`
	Part  Part     `json:"part,omitempty" label:"Part"`
	Turns *float64 `json:"turns,omitempty" label:"By how much, each of the pair" hint:"turns of a screw or nut, 0.1 for a tenth; millimetres of a weight"`
	Way   Way      `json:"way,omitempty" label:"Which way"`
	Alone bool     `json:"alone,omitempty" label:"One of the pair alone" hint:"it puts the balance out of poise"`
	Held  bool     `json:"held,omitempty" label:"Stopped, and its balance held, while it was turned" hint:"never turn anything on a moving balance"`
	Much  string   `json:"much,omitempty" label:"How much, which way, in words"`
	ForS  *float64 `json:"for_s_per_day,omitempty" label:"Change aimed at" unit:"s/d" hint:"to make it lose, with a minus"`
	Note  string   `json:"note,omitempty" label:"Note"`
}

// Kind returns KindRegulated.
func (Regulated) Kind() Kind { return KindRegulated }

// Words returns what was altered and the change aimed at.
func (r Regulated) Words() string {
	var aim string
	if r.ForS != nil {
		aim = "to change the rate: " + clock.Rate(*r.ForS).Words(0.5) + " a day"
	}
	part := string(r.Part)
	if r.Part == OtherPart {
		part = ""
	}
	return phrase(r.What, part, r.amount(), r.Much, aim, r.Note)
}

// amount returns "both out by 0.1 turn".
func (r Regulated) amount() string {
	if r.Turns == nil {
		return ""
	}
	which, unit := "both ", " turn"
	if r.Alone {
		which = "one alone "
	}
	switch {
	case r.Part == RimWeights:
		unit = " mm"
	case *r.Turns > 1:
		unit = " turns"
	}
	return which + string(r.Way) + " by " + strconv.FormatFloat(*r.Turns, 'g', 4, 64) + unit
}

// TurnsOut returns by how much each of the pair was turned out, or moved toward
// the free ends, negative the other way; false if no number was written.
func (r Regulated) TurnsOut() (float64, bool) {
	if r.Turns == nil || r.Part == "" {
		return 0, false
	}
	switch r.Way {
	case Out, ToEnds:
		return *r.Turns, true
	case In, FromEnd:
		return -*r.Turns, true
	}
	return 0, false
}

func (r Regulated) check() error {
	if strings.TrimSpace(r.What) == "" && (r.Part == "" || r.Part == OtherPart) {
		return fmt.Errorf("what is missing; choose the part, or write what was altered")
	}
	if r.Turns != nil {
		switch {
		case !(*r.Turns > 0) || math.IsInf(*r.Turns, 0):
			return fmt.Errorf("turns %s is not more than nothing; write how much, and the way beside it", number(*r.Turns))
		case r.Part == "":
			return fmt.Errorf("turns %s of what; choose the part", number(*r.Turns))
		case r.Way == "":
			return fmt.Errorf("turns %s which way; choose out or in", number(*r.Turns))
		case (r.Part == RimWeights) != (r.Way == ToEnds || r.Way == FromEnd):
			return fmt.Errorf("way %q does not go with %s; screws and nuts go out or in, weights toward or away from the free ends", string(r.Way), string(r.Part))
		}
	}
	return first(short("what", r.What), oneOf("part", r.Part, Part("").Choices()), withinIf("turns", r.Turns, 0, 100, ""), oneOf("way", r.Way, Way("").Choices()),
		short("much", r.Much), withinIf("for_s_per_day", r.ForS, -3600, 3600, "s/d"), short("note", r.Note))
}

// ParseRegulated reads what was turned in plain words, such as "timing screws
// out 0.25", "both timing nuts in by 1/8 turn" or "rim weights toward the free
// ends 0.2 mm"; it returns false for other words, which say it in full.
func ParseRegulated(text string) (Regulated, bool) {
	rest := strings.ToLower(strings.Join(strings.Fields(text), " "))
	r := Regulated{}
	take := func(words ...string) string {
		for _, w := range words {
			if before, after, ok := strings.Cut(" "+rest+" ", " "+w+" "); ok {
				rest = strings.TrimSpace(before + " " + after)
				return w
			}
		}
		return ""
	}
	r.Part = Part(take(string(TimingScrews), string(TimingNuts), string(RimWeights)))
	r.Way = Way(take(string(FromEnd), string(ToEnds), string(Out), string(In)))
	r.Alone = take("one alone", "one of them", "one") != ""
	take("both")
	take("by")
	take("turns", "turn", "mm")
	over, under, _ := strings.Cut(rest, "/")
	v, err := strconv.ParseFloat(over, 64)
	if err == nil && under != "" {
		var d float64
		if d, err = strconv.ParseFloat(under, 64); err == nil {
			v /= d
		}
	}
	if err != nil || r.Part == "" || r.Way == "" {
		return Regulated{}, false
	}
	r.Turns = &v
	return r, r.check() == nil
}
