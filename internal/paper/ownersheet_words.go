package paper

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"timeball/internal/clock"
	"timeball/internal/setting"
)

// The rules of care are those of C. Stechert, Das Marine-Chronometer und seine
// Verwendung in der nautischen Praxis (1894), sections 27 (carrying, leaping
// seconds), 33 (winding), 34 (hands) and 35 (after a stop), and of the chapter
// Das Chronometer of Valentiner's Handwörterbuch der Astronomie, p. 654
// (restarting). Letting it take the warmth of the room first, and the 0 of a
// dial that is fully wound, are common practice, no source.
func (o OwnerSheet) passages() []passage {
	return []passage{
		{heading: "Put it in place", items: o.placing()},
		{heading: "Start it", numbered: true, items: o.starting()},
		{heading: "Wind it", items: o.winding()},
		{heading: "Never", framed: true, items: o.never()},
		{heading: "Read UTC from the dial", before: o.reading()},
		o.moving(),
		{heading: "Write to us", before: o.Reach, items: o.writing()},
	}
}

func (o OwnerSheet) placing() []string {
	held := "If two small wedges hold the balance, have a trained hand take them out, or ask us first: never pull at them."
	if o.Brake {
		held = "If the brake holds the balance, release it only with the instrument level; ask us first if you are not sure."
	}
	stands := "It lies dial up where nobody knocks it, away from heating, sunlight, magnets and loudspeakers."
	if o.Gimbals {
		stands = "The box stands level where nobody knocks it, away from heating, sunlight, magnets and loudspeakers; the bowl swings free in its gimbals."
	}
	return []string{"Leave it some hours in its closed case to take the warmth of the room, so that nothing mists.", held, stands}
}

func (o OwnerSheet) starting() []string {
	lock, free := "Hold it level", ""
	if o.Gimbals {
		lock, free = "Lock the gimbals", ", and free the gimbals"
	}
	round := "twice a day"
	if o.Dial == clock.TwentyFourHour {
		round = "once a day"
	}
	return []string{
		"Wind it fully first.",
		"Leave the hands as they are and wait until UTC comes to what they show: hour, minute and second, " + round + ". Take UTC from a time signal or a clock set by the network, not from television or a web stream, which are seconds late.",
		lock + ". On that second give the case one gentle turn, a quarter round and level: it starts by itself" + free + ".",
		"After five minutes compare it, write down what you saw and send it to us: from this start on its error is the one you saw, and " + o.voided() + ".",
	}
}

// voided says what of the sheet a start makes void.
func (o OwnerSheet) voided() string {
	if o.Fresh {
		return "the days told beside this count from it"
	}
	return "the error, the dates and the table that we gave you before hold no more"
}

func (o OwnerSheet) winding() []string {
	way := "the way the key turns freely: anticlockwise with a fusee, clockwise without"
	switch o.Fusee {
	case WithFusee:
		way = "anticlockwise"
	case WithoutFusee:
		way = "clockwise"
	}
	over := "Open the dust shutter, put the key in and turn " + way
	if o.Gimbals {
		over = "Turn the bowl over gently, open the dust shutter, put the key in and turn " + way
	}
	turns := "the same number each time"
	if o.HalfTurns > 0 {
		turns = "about " + halves(o.HalfTurns)
	}
	back := "Ease the shutter back."
	if o.Gimbals {
		back = "Ease the shutter and the bowl back."
	}
	when := "Every day at " + o.WindAt
	switch {
	case o.WindEvery == 7:
		when = "Every week on the same day at " + o.WindAt
	case o.WindEvery > 1:
		when = fmt.Sprintf("Every %d days at %s", o.WindEvery, o.WindAt)
	}
	missed := "If you missed it, wind it at once and write it down."
	if o.GoesFor > 0 {
		missed = fmt.Sprintf("If you missed it, wind it at once and write it down: it goes %s, but not at the same rate.", goes(o.GoesFor))
	}
	items := []string{
		when + ", always the same hour.",
		over + ". Count the half-turns, " + turns + ", slower at the end, and stop without force where the key stops. " + back,
		missed,
	}
	if o.UpAndDown {
		items = append(items, "The small hand of the up-and-down dial shows the hours since winding: fully wound it stands at 0.")
	}
	return items
}

// halves writes a number of half-turns, "7½".
func halves(n float64) string {
	whole, part := math.Modf(math.Round(2*n) / 2)
	text := strconv.Itoa(int(whole))
	if part != 0 {
		if whole == 0 {
			return "½"
		}
		text += "½"
	}
	return text
}

func goes(hours float64) string {
	if hours >= 96 && math.Mod(hours, 24) == 0 {
		return fmt.Sprintf("%.0f days", hours/24)
	}
	return fmt.Sprintf("%.0f h", hours)
}

func (o OwnerSheet) never() []string {
	items := []string{
		"Turn no hand back. Do not touch the seconds hand.",
		"Do not wedge the balance tight, and do not touch it.",
		"Do not swing or turn it quickly when it goes: carry it level.",
	}
	if o.Gimbals {
		items = append(items, "Do not send it in its gimbals.")
	}
	return append(items,
		"Do not open the movement or the barrel.",
		"If it stops and you do not know why, or the balance does not swing freely, do not start it again: write to us.",
		"Luminous paint (radium), mainsprings and solvents are for a licensed person, by your local rules.")
}

// exampleDial is what the dial shows in the worked example, s since XII.
const exampleDial = clock.DialReading(9*3600 + 10)

func (o OwnerSheet) reading() string {
	if o.Fresh {
		words := "UTC is the dial less what it is fast, or plus what it is slow. Example: slow 12 s, the dial shows 9:00:10: UTC is 9:00:22. " +
			"What it is slow or fast you find by comparing it; each day since then adds " + o.Rate.RateWords() + "."
		if o.Dial == clock.TwelveHour {
			words += " Morning and evening look alike on it."
		}
		return words
	}
	on := o.Example
	if on.At.IsZero() {
		on = ErrorAt{o.Epoch, o.Error}
	}
	e := clock.DialError(on.Error.Mean)
	half := strings.TrimPrefix(e.HalfWidth(on.Error.Half), "±")
	words := "UTC is the dial less what it is fast, or plus what it is slow. "
	words += "Example: on " + on.At.In(o.zone()).Format("2 January 2006") + " it will be " + on.Error.ErrorWords() + ", if no hand is moved before. "
	if !on.At.After(o.Made) {
		words = strings.Replace(strings.Replace(words, "it will be", "it was", 1), ", if no hand is moved before", "", 1)
	}
	words += fmt.Sprintf("The dial then shows 9:00:10: UTC is %s ±%s.", utcText(exampleDial, on.Error), half)
	if o.Dial == clock.TwelveHour {
		words += " Morning and evening look alike on it."
	}
	return words + " The correction table has every day."
}

// utcText returns UTC at a dial reading, as h:mm:ss with the decimals that the
// doubt of the error deserves.
func utcText(dial clock.DialReading, e Quantity) string {
	decimals := places(e)
	scale := math.Pow(10, float64(decimals))
	units := int64(math.Round((float64(dial) - e.Mean) * scale))
	day := int64(86400 * scale)
	units = (units%day + day) % day
	s := units / int64(scale)
	text := fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	if decimals > 0 {
		text += fmt.Sprintf(".%0*d", decimals, units%int64(scale))
	}
	return text
}

// places returns the decimals with which an error of this doubt is written.
func places(e Quantity) int {
	half := clock.DialError(e.Mean).HalfWidth(e.Half)
	if strings.Contains(half, "min") {
		return 0
	}
	_, after, _ := strings.Cut(half, ".")
	return len(after)
}

// halfMinute is how slow, s, whole minutes of the minute hand are best moved
// at: it is then as much fast.
const halfMinute = 30

// moveHow tells when and how the minute hand is moved.
func (o OwnerSheet) moveHow(minutes, much string) string {
	lock := "take the glass off"
	if o.Gimbals {
		lock = "lock the gimbals, take the glass off"
	}
	return fmt.Sprintf("Compare it every week. Once it is %d s slow or more, %s, and with the key turn the minute hand forward %s while it goes: it is then %s less slow.", halfMinute, lock, minutes, much)
}

// fresh tells when the first move is due after a start that was right.
func (o OwnerSheet) fresh() string {
	lose := -o.Rate.Mean
	least, most := lose-o.Rate.Half, lose+o.Rate.Half
	switch {
	case most <= 0:
		return "It gains, and hands are never turned back: apply what it is fast."
	case least <= 0 || most > 4*least:
		return "Whether it loses is not known well enough for a date: compare it every week, and write to us."
	}
	first, last := math.Floor(halfMinute/most), math.Ceil(halfMinute/least)
	return o.moveHow("exactly one minute", "60 s") + fmt.Sprintf(" Started right, it comes to that %.0f to %.0f days after its start, and then about every %.0f days. Send us your comparisons: we send you dates.", first, last, 60/lose)
}

func (o OwnerSheet) moving() passage {
	p := passage{heading: "Move the minute hand"}
	if o.Fresh {
		p.before = o.fresh()
		return p
	}
	windows := o.Moves.Windows
	if limit := max(o.LimitS, halfMinute); len(windows) == 0 && o.Error.Mean-o.Error.Half > limit {
		p.before = fmt.Sprintf("It is fast by more than %.4g s, and hands are never turned back: apply what it is fast, and write to us.", limit)
		return p
	}
	if len(windows) == 0 {
		p.before = o.Moves.Then.Words()
		switch o.Moves.Then {
		case setting.CompareFirst, setting.KnownNoFurther:
			p.before = "No date can be given yet: its error is not known well enough as far ahead as the first move. Compare it for some days and ask for a new sheet before " +
				o.Moves.After.In(o.zone()).Format("2 January 2006") + "."
		case setting.OnWithTheYears:
			p.before = "It need not be moved before " + o.Moves.After.In(o.zone()).Format("January 2006") + ". Ask for a new sheet then."
		}
		return p
	}
	minutes, much := "exactly one minute", "60 s"
	if n := windows[0].Minutes; n > 1 {
		minutes, much = fmt.Sprintf("exactly %d minutes, this once, and later one", n), fmt.Sprintf("%d s", 60*n)
	}
	p.before = o.moveHow(minutes, much) + " It comes to that in these days; do not move it before it is there:"
	p.after = o.Moves.Then.Words()
	switch left := len(windows) - mostWindows; {
	case left > 0:
		windows = windows[:mostWindows]
		p.after = fmt.Sprintf("%d more follow, which the calendar file has: ask for a new sheet before %s.", left, o.Moves.Windows[mostWindows].From.In(o.zone()).Format("2 January 2006"))
	case o.Moves.Then == setting.OnWithTheYears:
		p.after = "Ask for a new sheet before " + o.Moves.After.In(o.zone()).Format("January 2006") + "."
	case o.Moves.Then == setting.CompareFirst, o.Moves.Then == setting.KnownNoFurther:
		p.after = "Then the date is too uncertain: compare it and ask for a new sheet before " + o.Moves.After.In(o.zone()).Format("2 January 2006") + "."
	}
	across := 1
	if len(windows) > 3 {
		across = 2
	}
	rows := (len(windows) + across - 1) / across
	p.rows = make([][]string, rows)
	for i := range p.rows {
		p.rows[i] = make([]string, across)
	}
	for i, w := range windows {
		p.rows[i%rows][i/rows] = o.window(w)
	}
	return p
}

// window returns the days of a window, "30 Apr to 2 May 2027".
func (o OwnerSheet) window(w setting.Window) string {
	from, to := w.From.In(o.zone()), w.To.In(o.zone())
	words := spanOfDays(from, to)
	if w.Minutes > 1 {
		words += fmt.Sprintf(", %d min", w.Minutes)
	}
	return words
}

// spanOfDays returns "30 Apr to 2 May 2027", "12 to 15 Mar 2027" or one day.
func spanOfDays(from, to time.Time) string {
	const day = "2 Jan 2006"
	switch {
	case from.Format(day) == to.Format(day):
		return to.Format(day)
	case from.Format("Jan 2006") == to.Format("Jan 2006"):
		return from.Format("2") + " to " + to.Format(day)
	case from.Year() == to.Year():
		return from.Format("2 Jan") + " to " + to.Format(day)
	}
	return from.Format(day) + " to " + to.Format(day)
}

// freshFar is how far from its rate, s/d, an instrument just started is worth a
// letter: it is unsettled for a week or two (Stechert (1894), §35).
const freshFar = 2.0

func (o OwnerSheet) writing() []string {
	off := "if it differs from the correction table by more than twice its ±"
	if o.Fresh {
		off = fmt.Sprintf("if it gains or loses more than %.0f s a day", math.Ceil(math.Abs(o.Rate.Mean)+freshFar+o.Rate.Half))
	}
	return []string{
		"if it stops, before you start it again;",
		off + ";",
		"after a fall or a knock, or if the seconds hand leaps by two or three beats;",
		"if there is mist under the glass, rust or an oily dial;",
		"once a year, with your comparisons.",
	}
}
