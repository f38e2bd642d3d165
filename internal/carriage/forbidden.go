package carriage

import (
	"regexp"
	"strings"
)

// Breach is advice that must never be given.
type Breach struct {
	Rule     string // what is forbidden
	Sentence string // where it is said
}

// Forbidden returns the advice in a text that must never be given: to turn
// hands back, to touch the seconds hand, to wedge a balance tight, to ship in
// the gimbals, to open a barrel or a luminous dial, to seal airtight, to wind or
// start on arrival before the dial was read; and advice on radium, mainsprings,
// solvents, insurance, customs or permits that does not end in local rules and
// a licensed person. A sentence that forbids the thing is no breach.
func Forbidden(text string) []Breach {
	var found []Breach
	for _, sentence := range sentences(text) {
		low := strings.ToLower(sentence)
		for _, r := range advice {
			for _, at := range r.gives.FindAllStringIndex(low, -1) {
				if !denied.MatchString(clause(low, at[0], at[1], r.list)) {
					found = append(found, Breach{r.rule, sentence})
					break
				}
			}
		}
	}
	low := strings.ToLower(text)
	if at := matters.FindString(low); at != "" && !(strings.Contains(low, "local rules") && strings.Contains(low, "licensed")) {
		found = append(found, Breach{"advice on " + at + " without local rules and a licensed person", text})
	}
	return found
}

var advice = []struct {
	rule  string
	gives *regexp.Regexp
	list  bool // one "do not" may deny a list of verbs, past commas
}{
	{"to turn hands back", regexp.MustCompile(`\b(turn|move|set|put|push|wind|bring)(s|ed|ing|ting)?\b[^.;]{0,40}\bhands?\b[^.;]{0,30}\b(back|backwards?|anticlockwise|counter-?clockwise)\b`), false},
	{"to turn hands back", regexp.MustCompile(`\b(turn|move|set|put|push)\w*\b[^.;]{0,20}\b(back|backwards?)\b[^.;]{0,20}\bhands?\b`), false},
	{"to turn hands back", regexp.MustCompile(`\bhands?\b[^.;,]{0,30}\b(turned|moved|set|put|pushed|go|goes)\b[^.;,]{0,20}\b(back|backwards?)\b`), false},
	{"to touch the seconds hand", regexp.MustCompile(`\bseconds?[- ]hand\b[^.;,]{0,20}\b(touched|turned|moved|pushed|shifted|nudged|adjusted|held)\b`), false},
	{"to touch the seconds hand", regexp.MustCompile(`\b(touch|turn|move|set|push|shift|hold|nudge|adjust)\w*\b[^.;]{0,20}\bseconds?[- ]hand\b`), false},
	{"to wedge the balance tight", regexp.MustCompile(`\b(wedg|cork|jam|clamp|press|pack|push)\w*\b[^.;]{0,60}\b(tight|tightly|hard|firm|firmly|fast)\b`), false},
	{"to wedge the balance tight", regexp.MustCompile(`\b(tight|firm|hard)\w*\b[^.;]{0,20}\b(wedge|cork)`), false},
	{"to hold a balance that swings", regexp.MustCompile(`\b(wedge|strips?|cork)\w*\b[^.;]{0,40}\bwhile\b[^.;]{0,20}\b(swing|going|it goes)`), false},
	{"to ship in the gimbals", regexp.MustCompile(`\b(ship|send|post|pack|travel|dispatch)\w*\b[^.;]{0,40}\b(in|on) (its|the|their) gimbals\b`), false},
	{"to open a barrel", regexp.MustCompile(`\b(open|remove|unscrew|take off|undo)\w*\b[^.;]{0,20}\b(barrel|mainspring|fusee)\b`), false},
	{"to let down by the detent", regexp.MustCompile(`\blift\w*\b[^.;]{0,20}\bdetent\b`), false},
	{"to work on luminous paint", regexp.MustCompile(`\b(scrap|brush|clean|strip|relum|renew|repaint|open)\w*\b[^.;]{0,30}\b(lumin|radium|paint)`), true},
	{"to seal airtight", regexp.MustCompile(`\b(airtight|hermetic\w*|vacuum[- ]?seal\w*|heat[- ]?seal\w*)\b`), false},
	{"to oil or clean for the journey", regexp.MustCompile(`\b(oil|wash|degrease|lubricat)\w*\b[^.;]{0,30}\b(movement|pivots?|escapement|detent|bowl|dial)\b`), false},
	{"to shake it", regexp.MustCompile(`\bshak(e|ing) (it|the)\b`), true},
	{"to wind or start before the dial was read", regexp.MustCompile(`\b(wind|start)\w*\b[^.;]{0,30}\b(on arrival|as soon as it arrives|at once on opening|before reading|before the dial is read)\b`), false},
	{"to start what came free", regexp.MustCompile(`\b(came free|it ran)\b[^.]{0,40}\bstart it\b`), false},
	{"to send with the balance free", regexp.MustCompile(`\b(ship|send|travel|carrier)\w*\b[^.;]{0,40}\bbalance\b[^.;]{0,10}\bfree\b`), false},
	{"to open it cold", regexp.MustCompile(`\b(open|unpack)\w*\b[^.;]{0,30}\b(at once|immediately|straight away|while cold)\b`), false},
}

var (
	denied  = regexp.MustCompile(`\b(never|not|no|nor|nothing|don't|without|neither|instead of|cannot)\b`)
	matters = regexp.MustCompile(`\b(radium|luminous|mainsprings?|solvents?|benzene|naphtha|insurance|insured|customs|permits?|ivory|rosewood)\b`)
)

// clause returns what stands before a match in its clause, and the match: what
// denies it stands there.
func clause(low string, from, to int, list bool) string {
	ends := ";:,"
	if list {
		ends = ";:"
	}
	start := strings.LastIndexAny(low[:from], ends) + 1
	return low[start:to]
}

// sentences returns the sentences of a text.
func sentences(text string) []string {
	var all []string
	for {
		at := strings.IndexAny(text, ".!?\n")
		for at >= 0 && at+1 < len(text) && text[at] != '\n' && text[at+1] != ' ' && text[at+1] != '\n' {
			next := strings.IndexAny(text[at+1:], ".!?\n")
			if next < 0 {
				at = -1
				break
			}
			at += 1 + next
		}
		if at < 0 {
			break
		}
		if s := strings.TrimSpace(text[:at+1]); s != "" {
			all = append(all, s)
		}
		text = text[at+1:]
	}
	if s := strings.TrimSpace(text); s != "" {
		all = append(all, s)
	}
	return all
}
