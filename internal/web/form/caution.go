package form

import (
	"timeball/internal/chronometer"
)

// localRules ends every caution of which the law or a licensed person has more
// to say than this program.
const localRules = " Follow your local rules and a licensed person."

// cautions stand beside the forms of work that can hurt someone or something.
// Where no source is named they are common practice.
var cautions = map[chronometer.Kind][]string{
	chronometer.KindMoved: {
		"Turn the minute hand forward only, never back, and never touch the seconds hand.",
	},
	chronometer.KindSet: {
		"Turn the minute hand forward only, never back, and never touch the seconds hand. Set the hands with the balance held, then start on the signal.",
	},
	chronometer.KindStarted: {
		"One gentle turn of the bowl and back, level; never push the balance. Do not start it cold: let it come to the warmth of the room first.",
	},
	chronometer.KindWound: {
		"A box chronometer: turn the bowl over gently, count the half-turns, and do not force the key at the end. A watch: wind it slowly by its crown or key and stop where it stops.",
	},
	chronometer.KindRegulated: {
		"Regulation is bench work for a trained hand, with the balance stopped.",
	},
	chronometer.KindHeld: {
		"Wedges are never tight: a hard wedge lifts the staff on its jewel. Two opposite soft strips hold the rim near the arms, with the train locked on a tooth.",
		"Opening an instrument is for a trained hand; power remains in the mainspring when it has stopped." + localRules,
	},
	// Stechert, Das Marine-Chronometer (1894), §35, for the stop without a cause.
	chronometer.KindStopped: {
		"Power remains in the mainspring. Do not shake or push it to make it go; after a second stop without a known cause it is not started again but examined." + localRules,
	},
	chronometer.KindIntoGimbals: {
		"Gimbals latched until the bowl sits; lower it level, pivots last, and see that it swings free before the latch is opened.",
	},
	chronometer.KindCased: {
		"Dial up, gimbals latched while the box is moved, and the key in its place: loose, it strikes the glass.",
	},
	chronometer.KindReleased: {
		"Take the strips out without moving the balance, and count that as many came out as went in.",
	},
	chronometer.KindFromGimbals: {
		"Latch the gimbals and support the bowl first; lift it level, without a twist.",
	},
	// D. Meadows and D. Passmore, Repairing your own clock, p. 10 (power remains);
	// 10 CFR 31.12 (radium); NIOSH Pocket Guide 2005-149 (benzene, ammonia).
	chronometer.KindWorkDone: {
		"Mainspring: let it down with a fitting key before anything is loosened; power remains when it has stopped." + localRules,
		"Solvents: never benzene; naphtha burns, and its vapour creeps along the floor; ammonia harms lungs, brass and shellac." + localRules,
		"Luminous dial: assume radium. Do not open, scrape, brush, clean or relume it; keep it closed, and wash your hands." + localRules,
	},
	chronometer.KindFound: {
		"Luminous dial: assume radium. Do not open, scrape, brush or clean it; keep it closed, and wash your hands." + localRules,
	},
	chronometer.KindPacked: {
		"Never ship it in its gimbals. Bowl alone, balance held, dial up, in a rigid inner box with cushions on all sides, wrapped so that air can pass.",
	},
	// Convention on International Trade in Endangered Species, appendices I and II
	// (ivory, rosewood); 49 CFR 173.424 (radioactive instruments).
	chronometer.KindSent: {
		"Insurance: have its value agreed in writing for the way there, the way back and the time between; many carriers exclude old clocks." + localRules,
		"Customs: goods sent for repair need their own declaration, and old things may need leave to go abroad." + localRules,
		"Ivory, rosewood, shell: a permit may be needed before it crosses a border. Luminous dials: many carriers refuse them." + localRules,
	},
	chronometer.KindReceived: {
		"Leave the parcel closed for a day to take the warmth of the room, then open it. Read the dial and the up-and-down dial before anything is moved.",
		"Luminous dial: assume radium. If its glass is broken, do not open or brush it; keep it closed, and wash your hands." + localRules,
	},
	chronometer.KindCarried: {
		"Gimbals latched, level, without a twist of the wrist, and away from magnets.",
	},
}

// Cautions returns what stands beside the form of a kind that can hurt someone
// or something.
func Cautions(kind chronometer.Kind) []string { return cautions[kind] }

// buttons are the words of a form's button where it does more than write.
var buttons = map[chronometer.Kind]string{
	chronometer.KindPhotograph: "Attach the picture",
	chronometer.KindUpheld:     "Use it",
	chronometer.KindStruckOut:  "Strike out",
}
