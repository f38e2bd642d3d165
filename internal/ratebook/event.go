package ratebook

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"timeball/internal/chronometer"
)

// Serviced in the column event is work done that begins a new rate.
const serviced = "serviced"

// notSaid stands where a fact must say something and the row does not.
const notSaid = "not said"

// notJobs refuses what belongs to the owner and not to the rates.
const notJobs = "a comparison file does not hold the owner's enquiries and what they cost; write them in the logbook"

// notJourneys refuses the steps of carriage.
const notJourneys = "a comparison file does not hold the steps of a journey; tick them on the page of the journey"

// refused are the kinds that a comparison file cannot hold, with the reason.
var refused = map[chronometer.Kind]string{
	chronometer.KindEntered:    "a comparison file is about one instrument and does not hold its particulars; enter the instrument first",
	chronometer.KindOwner:      "a comparison file does not hold owners; enter the owner first",
	chronometer.KindEquation:   "a comparison file does not hold observers; measure the personal equation on its page",
	chronometer.KindHouse:      "a comparison file does not hold the workshop's particulars; write them on the page of its papers",
	chronometer.KindProgramme:  "a comparison file does not hold programmes; write them on the page of programmes",
	chronometer.KindJourney:    notJourneys,
	chronometer.KindStepDone:   notJourneys,
	chronometer.KindEnquired:   notJobs,
	chronometer.KindEstimated:  notJobs,
	chronometer.KindApproved:   notJobs,
	chronometer.KindReady:      notJobs,
	chronometer.KindTrialBegun: "a comparison file does not hold the programme of a trial; begin the trial on its page",
	chronometer.KindTrialEnded: "a comparison file does not hold trials; end the trial on its page",
	chronometer.KindCertified:  "a comparison file does not hold certificates; they are issued by the workshop",
	chronometer.KindPhotograph: "a comparison file does not hold pictures; attach the picture to the logbook",
	chronometer.KindUpheld:     "a comparison file does not hold entries about entries; uphold the comparison in the logbook",
	chronometer.KindStruckOut:  "a comparison file does not hold entries about entries; leave the wrong row out",
}

// Events returns what the column event may begin with, in the order in which
// a page offers the kinds.
func Events() []string {
	var events []string
	for _, k := range chronometer.Kinds() {
		if _, no := refused[k]; no || k == chronometer.KindCompared {
			continue
		}
		events = append(events, string(k))
		if k == chronometer.KindWorkDone {
			events = append(events, serviced)
		}
	}
	return events
}

// surroundings is what other columns of the row say that an event may need.
type surroundings struct {
	note         string
	position     chronometer.Position
	tempC        *float64
	decimalComma bool
}

// event is what the column event says.
type event struct {
	kind         chronometer.Kind
	fact         chronometer.Fact
	tookPosition bool // the fact holds the position of the row
	tookTemp     bool // the fact holds the temperature of the row
}

// readingFirst says that a reading of the same row was taken before the event,
// because there is nothing to read after it.
func (e event) readingFirst() bool {
	switch e.kind {
	case chronometer.KindStopped, chronometer.KindHeld, chronometer.KindPacked, chronometer.KindSent:
		return true
	}
	return false
}

// readEvent returns the event that text says; the zero event for no text.
func readEvent(text string, about surroundings) (event, error) {
	if text == "" {
		return event{}, nil
	}
	word, value := kindAndValue(text)
	if word == "" {
		return event{}, fmt.Errorf("event %.40q is not known; write one of: %s", text, strings.Join(Events(), ", "))
	}
	e := event{kind: chronometer.Kind(word)}
	if why, no := refused[e.kind]; no {
		return event{}, fmt.Errorf("event %q cannot stand here: %s", word, why)
	}
	value = strings.Clone(value)
	var err error
	switch {
	case e.kind == chronometer.KindCompared:
		if value != "" {
			err = fmt.Errorf("event %.40q has text after it; write it in the column note", text)
		}
	case strings.HasPrefix(value, "{"):
		e.fact, err = object(word, value, about)
	default:
		err = e.words(word, value, about)
	}
	if err != nil {
		return event{}, err
	}
	if word == serviced {
		e.kind = chronometer.KindWorkDone
	}
	return e, nil
}

// kinds are the words that an event may begin with.
var kinds = append(chronometer.Kinds(), serviced)

// kindAndValue splits text into the kind it begins with, small letters, and
// what follows.
func kindAndValue(text string) (word, value string) {
	best := 0
	for _, k := range kinds {
		if n := begins(text, string(k)); n > best {
			best, word = n, string(k)
		}
	}
	value = strings.TrimSpace(text[best:])
	if value != "" && (value[0] == ':' || value[0] == ',') {
		value = strings.TrimSpace(value[1:])
	}
	return word, value
}

// begins returns how many bytes of text are the words of kind, whatever their
// case and spacing, 0 if it does not begin with them.
func begins(text, kind string) int {
	at := 0
	for i, w := range strings.Fields(kind) {
		rest := strings.TrimLeft(text[at:], " \t")
		if i > 0 && len(rest) == len(text)-at {
			return 0
		}
		at = len(text) - len(rest)
		if len(rest) < len(w) || !strings.EqualFold(rest[:len(w)], w) {
			return 0
		}
		at += len(w)
	}
	if r, _ := utf8.DecodeRuneInString(text[at:]); at < len(text) && (unicode.IsLetter(r) || unicode.IsDigit(r)) {
		return 0
	}
	return at
}

// object reads the fields of a fact as the JSON object of an entry: the form
// for what has no plain words.
func object(word, value string, about surroundings) (chronometer.Fact, error) {
	if word == serviced {
		return nil, fmt.Errorf("event %q takes words and no object; write work done {…} with service true", word)
	}
	if about.note != "" {
		return nil, fmt.Errorf("event %q has its fields in braces and a note beside them; write the note within the braces", word)
	}
	fact, err := chronometer.DecodeFact(chronometer.Kind(word), []byte(value))
	if err != nil {
		return nil, fmt.Errorf("%w; write the fields as a JSON object, or plain words", err)
	}
	return fact, nil
}

// words reads the plain form of an event.
func (e *event) words(word, value string, about surroundings) error {
	note := about.note
	switch chronometer.Kind(word) {
	case chronometer.KindMoved:
		return e.moved(value, about)
	case chronometer.KindWound:
		return e.wound(value, about)
	case chronometer.KindPlaced:
		return e.placed(value, about)
	case chronometer.KindTemperature:
		return e.temperature(value, about)
	case chronometer.KindListened:
		return e.listened(value, about)
	case chronometer.KindHeld:
		with := chronometer.Hold(strings.ToLower(value))
		if !slices.Contains(with.Choices(), string(with)) {
			return fmt.Errorf("event %q needs what holds it; write balance held brake or balance held wedge", strings.TrimSpace(word+" "+value))
		}
		e.fact = chronometer.Held{With: with, Note: note}
	case chronometer.KindReceived:
		station := chronometer.Station(strings.ToLower(value))
		if !slices.Contains(station.Choices(), string(station)) {
			return fmt.Errorf("event %q needs where it is now; write received and one of: %s", strings.TrimSpace(word+" "+value), strings.Join(station.Choices(), ", "))
		}
		e.fact = chronometer.Received{Station: station, Note: note}
	case chronometer.KindStarted:
		e.fact = chronometer.Started{How: value, Note: note}
	case chronometer.KindSent:
		e.fact = chronometer.Sent{To: value, Note: note}
	case chronometer.KindStopped:
		why, note := said(value, note)
		e.fact = chronometer.Stopped{Why: why, Note: note}
	case chronometer.KindRegulated:
		if r, ok := chronometer.ParseRegulated(value); ok {
			r.Note = note
			e.fact = r
			break
		}
		what, note := said(value, note)
		e.fact = chronometer.Regulated{What: what, Note: note}
	case chronometer.KindFound:
		e.fact = chronometer.Found{Condition: orNotSaid(both(value, note))}
	case chronometer.KindWorkDone:
		e.fact = chronometer.WorkDone{Work: orNotSaid(both(value, note))}
	case serviced:
		work := serviced
		if more := both(value, note); more != "" {
			work += ": " + more
		}
		e.fact = chronometer.WorkDone{Work: work, Service: true}
	case chronometer.KindPacked:
		e.fact = chronometer.Packed{How: orNotSaid(both(value, note))}
	case chronometer.KindCarried:
		e.fact = chronometer.Carried{How: both(value, note)}
	case chronometer.KindSet:
		e.fact = chronometer.Set{Note: both(value, note)}
	case chronometer.KindReleased:
		e.fact = chronometer.Released{Note: both(value, note)}
	case chronometer.KindFromGimbals:
		e.fact = chronometer.FromGimbals{Note: both(value, note)}
	case chronometer.KindIntoGimbals:
		e.fact = chronometer.IntoGimbals{Note: both(value, note)}
	case chronometer.KindCased:
		e.fact = chronometer.Cased{Note: both(value, note)}
	case chronometer.KindNote:
		text := both(value, note)
		if strings.TrimSpace(text) == "" {
			return fmt.Errorf("event %q says nothing; write the text in the column note", word)
		}
		e.fact = chronometer.Note{Text: text}
	default:
		return fmt.Errorf("event %q has no plain words; write its fields as a JSON object after it", word)
	}
	return nil
}

// moved reads a known movement of the hands: +60, 60 s or +1 min.
func (e *event) moved(value string, about surroundings) error {
	text := strings.TrimPrefix(strings.ToLower(value), "by ")
	unit := 1.0
	if t, ok := strings.CutSuffix(text, "min"); ok {
		text, unit = t, 60
	} else {
		text = strings.TrimSuffix(text, "s")
	}
	v, ok := amount(text, about)
	switch {
	case value == "":
		return fmt.Errorf("event %q needs the amount in seconds; write hands moved +60, or hands set if it is not known", chronometer.KindMoved)
	case !ok:
		return fmt.Errorf("event %.40q: the amount is no number; write seconds forward, such as hands moved +60", "hands moved "+value)
	case v < 0:
		return fmt.Errorf("event %.40q is backward, and the hands of a chronometer are never moved back; write the movement forward, such as hands moved +60, or hands set if it is not known", "hands moved "+value)
	case v*unit == 0 || v*unit > 86400:
		return fmt.Errorf("event %.40q is not between 0 and 86400 s; write seconds forward, such as hands moved +60", "hands moved "+value)
	}
	e.fact = chronometer.Moved{ByS: v * unit, Note: about.note}
	return nil
}

const upDown = "up-and-down"

// wound reads half-turns and the up-and-down reading: 7.5, up-and-down 32.
func (e *event) wound(value string, about surroundings) error {
	w := chronometer.Wound{Note: about.note}
	turns, dial, hasDial := strings.Cut(strings.ToLower(value), upDown)
	turns = strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(turns), ","))
	turns = strings.TrimSpace(strings.TrimSuffix(turns, "half-turns"))
	bad := func() error {
		return fmt.Errorf("event %.40q is not read; write wound and the half-turns, such as wound 7.5, or wound 7.5 up-and-down 32", "wound "+value)
	}
	if turns != "" {
		if half, ok := strings.CutSuffix(turns, "½"); ok {
			turns = half + ".5"
		}
		v, ok := amount(turns, about)
		if !ok || v < 0 || v > 60 {
			return bad()
		}
		w.HalfTurns = v
	}
	if hasDial {
		v, ok := amount(strings.TrimSuffix(strings.TrimSpace(dial), "h"), about)
		if !ok || v < 0 || v > 1000 {
			return bad()
		}
		w.UpDownH = &v
	}
	e.fact = w
	return nil
}

// placed reads a position, a station, a spot, or a station and a spot.
func (e *event) placed(value string, about surroundings) error {
	e.tookPosition, e.tookTemp = true, true
	p := chronometer.Placed{Position: about.position, TempC: about.tempC, Note: about.note}
	station, where, both := strings.Cut(value, ",")
	switch position, err := chronometer.ParsePosition(value); {
	case err == nil && value != "":
		if p.Position != "" && p.Position != position {
			return fmt.Errorf("event %.40q and the column position (%s) differ; write the position once", "placed "+value, p.Position)
		}
		p.Position = position
	case isStation(station):
		p.Station = chronometer.Station(strings.ToLower(station))
		p.Where = strings.TrimSpace(where)
	case both, value != "":
		p.Where = value
	}
	e.fact = p
	return nil
}

func isStation(s string) bool {
	return slices.Contains(chronometer.Station("").Choices(), strings.ToLower(s))
}

// temperature reads the thermometer from the value or the column temp_c.
func (e *event) temperature(value string, about surroundings) error {
	e.tookTemp = true
	t := chronometer.Temperature{Note: about.note}
	if value == "" {
		if about.tempC == nil {
			return fmt.Errorf("event %q has no reading; write degrees Celsius in the column temp_c", chronometer.KindTemperature)
		}
		t.TempC = *about.tempC
		e.fact = t
		return nil
	}
	v, ok := amount(strings.TrimSuffix(strings.TrimSuffix(value, "C"), "°"), about)
	within := intervals[colTemp]
	if !ok || v < within.lo || v > within.hi {
		return fmt.Errorf("event %.40q is no temperature from -60 to 80 °C; write degrees Celsius, such as temperature 18.5", "temperature "+value)
	}
	if about.tempC != nil && *about.tempC != v {
		return fmt.Errorf("event %.40q and the column temp_c (%s) differ; write the temperature once", "temperature "+value, shortest(*about.tempC))
	}
	t.TempC = v
	e.fact = t
	return nil
}

const ofRate = "sd"

// listened reads a rate and its doubt, one standard deviation: -0.84 s/d sd 0.06.
// Without one it has that of a recorder whose sampling clock is not known.
func (e *event) listened(value string, about surroundings) error {
	e.tookPosition, e.tookTemp = true, true
	rate, sd, hasSD := strings.Cut(strings.ToLower(value), ofRate)
	read := func(text string) (float64, bool) {
		return amount(strings.TrimSuffix(strings.TrimSpace(text), "s/d"), about)
	}
	l := chronometer.Listened{RateSDSPerDay: chronometer.UnknownClockSD, TempC: about.tempC, Position: about.position, Note: about.note}
	var ok bool
	if l.RateSPerDay, ok = read(rate); !ok || l.RateSPerDay < -3600 || l.RateSPerDay > 3600 {
		return fmt.Errorf("event %.40q has no rate from -3600 to 3600 s/d; write seconds a day and one standard deviation, such as listened -0.84 sd 0.06", strings.TrimSpace("listened "+value))
	}
	if hasSD {
		if l.RateSDSPerDay, ok = read(sd); !ok || l.RateSDSPerDay <= 0 || l.RateSDSPerDay > 600 {
			return fmt.Errorf("event %.40q has no doubt above 0 and at most 600 s/d; write one standard deviation, such as listened -0.84 sd 0.06", "listened "+value)
		}
	}
	e.fact = l
	return nil
}

// amount reads a number within an event.
func amount(text string, about surroundings) (float64, bool) {
	if about.decimalComma && !strings.Contains(text, ".") {
		text = strings.Replace(text, ",", ".", 1)
	}
	return parseNumber(text)
}

// said returns what a fact must say: the value of the event, or else the note,
// or else that it was not said; and the note that is left.
func said(value, note string) (what, left string) {
	switch {
	case value != "":
		return value, note
	case strings.TrimSpace(note) != "":
		return note, ""
	}
	return notSaid, ""
}

func orNotSaid(text string) string {
	if strings.TrimSpace(text) == "" {
		return notSaid
	}
	return text
}

// both joins the value of an event and the note of its row.
func both(value, note string) string {
	switch {
	case value == "":
		return note
	case note == "":
		return value
	}
	return value + "; " + note
}
