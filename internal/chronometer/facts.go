package chronometer

import (
	"errors"
	"fmt"
	"math"

	"timeball/internal/clock"
)

// dialText is a dial reading as it stands in JSON, h:mm:ss.s.
type dialText clock.DialReading

// MarshalText writes the reading to the millisecond.
func (d dialText) MarshalText() ([]byte, error) { return []byte(clock.DialReading(d).String()), nil }

// UnmarshalText reads h:mm:ss.s.
func (d *dialText) UnmarshalText(text []byte) error {
	r, err := clock.ParseDial(string(text))
	if err != nil {
		return err
	}
	*d = dialText(r)
	return nil
}

// Method is how a comparison was made.
type Method string

// The methods.
const (
	ByEye       Method = "eye"         // the seconds hand read by eye
	EyeAndEar   Method = "eye and ear" // tenths estimated between beats
	ByTap       Method = "tap"         // taps on the beat
	BySound     Method = "sound"       // the beat recorded
	ByTelephone Method = "telephone"   // against a speaking clock
	ByRadio     Method = "radio"       // against a time signal
	OtherMethod Method = "other"
)

// Choices returns the methods.
func (Method) Choices() []string {
	return []string{string(ByEye), string(EyeAndEar), string(ByTap), string(BySound), string(ByTelephone), string(ByRadio), string(OtherMethod)}
}

// UsualSD returns the standard deviation, s, taken for a method when the
// keeper states none: eye and ear 0.15 (beginner 0.1 to 0.2, encyclopedia
// article "eye-ear method"), a single press 0.07 (Am. J. Phys. 87 (2019) 110),
// a reading by eye on a half-second beat 0.25; the others common practice, no
// source.
func (m Method) UsualSD() float64 {
	switch m {
	case EyeAndEar:
		return 0.15
	case ByTap:
		return 0.1
	case BySound:
		return 0.02
	case ByTelephone, ByRadio:
		return 0.2
	}
	return 0.25
}

// Compared is one reading of the dial against the standard at Entry.At.
// Either Dial or ErrorS is given.
type Compared struct {
	Dial       *dialText  `json:"dial,omitempty" label:"The dial read" hint:"h:mm:ss.s"`
	ErrorS     *float64   `json:"error_s,omitempty" label:"or its error" unit:"s" hint:"a slow one with a minus; only if no dial reading was kept"`
	SDS        float64    `json:"sd_s,omitempty" label:"Doubt of the reading" unit:"s" hint:"one standard deviation; empty: the usual one of the method"`
	Method     Method     `json:"method,omitempty" label:"How it was read"`
	Observer   string     `json:"observer,omitempty" label:"Observer"`
	Standard   string     `json:"standard,omitempty" label:"Standard" hint:"what gave UTC; empty: the standard of this workshop"`
	StandardSD float64    `json:"standard_sd_s,omitempty" label:"Doubt of the standard" unit:"s" hint:"one standard deviation"`
	Kept       *Kept      `json:"kept,omitempty" asked:"no"`
	Tapped     *Tapped    `json:"tapped,omitempty" asked:"no"`
	Heard      *HeardBeat `json:"heard,omitempty" asked:"no"`
	TempC      *float64   `json:"temp_c,omitempty" label:"Temperature" unit:"°C"`
	Position   Position   `json:"position,omitempty" label:"Position"`
	WoundH     *float64   `json:"wound_h,omitempty" label:"Hours since wound" unit:"h"`
	Note       string     `json:"note,omitempty" label:"Note"`
}

// ReadDial returns a comparison of a dial reading.
func ReadDial(r clock.DialReading) Compared {
	d := dialText(r)
	return Compared{Dial: &d}
}

// Reading returns the dial reading, or false if an error was written instead.
func (c Compared) Reading() (clock.DialReading, bool) {
	if c.Dial == nil {
		return 0, false
	}
	return clock.DialReading(*c.Dial), true
}

// SD returns the standard deviation of the comparison in seconds, the usual
// one of its method if none was stated, with that of the standard, or of the
// signal that it names, added in squares.
func (c Compared) SD() float64 {
	sd := c.SDS
	if sd == 0 {
		sd = c.Method.UsualSD()
	}
	standard := c.StandardSD
	if standard == 0 {
		standard = signalSD(c.Standard)
	}
	return math.Hypot(sd, standard)
}

// Kind returns KindCompared.
func (Compared) Kind() Kind { return KindCompared }

// Words returns what was read and how.
func (c Compared) Words() string {
	var read string
	if r, ok := c.Reading(); ok {
		read = "dial " + r.String()
	} else if c.ErrorS != nil {
		read = clock.DialError(*c.ErrorS).Words(2 * c.SD())
	}
	how := string(c.Method)
	if c.Heard != nil {
		how = "by sound"
	}
	return phrase(read, how, clock.DialError(0).HalfWidth(1.96*c.SD())+" s", celsius(c.TempC), string(c.Position), c.Observer, c.Note)
}

func (c Compared) check() error {
	if (c.Dial == nil) == (c.ErrorS == nil) {
		return errors.New("give either the dial reading or its error, not both and not neither")
	}
	if LateStandard(c.Standard) {
		return fmt.Errorf("standard %.40q comes seconds late, by an amount nobody tells; compare with another signal", c.Standard)
	}
	if c.SDS < 0 {
		return fmt.Errorf("sd_s %s is negative; give one standard deviation in seconds", number(c.SDS))
	}
	return first(
		withinIf("error_s", c.ErrorS, -1e6, 1e6, "s"), within("sd_s", c.SDS, 0, 600, "s"), within("standard_sd_s", c.StandardSD, 0, 600, "s"),
		oneOf("method", c.Method, Method("").Choices()), oneOf("position", c.Position, Position("").Choices()),
		temperature(c.TempC), withinIf("wound_h", c.WoundH, 0, 1000, "h"), short("observer", c.Observer), short("standard", c.Standard), short("note", c.Note),
		c.Kept.check(), c.Tapped.check(), c.Heard.check(), c.heardFits(),
	)
}

func temperature(c *float64) error { return withinIf("temp_c", c, -60, 80, "°C") }

// Wound is one winding.
type Wound struct {
	HalfTurns float64  `json:"half_turns,omitempty" label:"Half-turns" hint:"count them; usually 7 to 8"`
	UpDownH   *float64 `json:"up_down_h,omitempty" label:"Up-and-down dial before winding" unit:"h" hint:"as it reads; most count the hours since winding"`
	AfterH    *float64 `json:"up_down_after_h,omitempty" label:"Up-and-down dial after winding" unit:"h"`
	Note      string   `json:"note,omitempty" label:"Note"`
}

// Kind returns KindWound.
func (Wound) Kind() Kind { return KindWound }

// Words returns the half-turns and the up-and-down reading.
func (w Wound) Words() string {
	var turns, upDown, after string
	if w.HalfTurns > 0 {
		turns = halves(w.HalfTurns) + " half-turns"
	}
	if w.UpDownH != nil {
		upDown = "up-and-down dial at " + number(*w.UpDownH) + " h before"
	}
	if w.AfterH != nil {
		after = number(*w.AfterH) + " h after"
		if w.UpDownH == nil {
			after = "up-and-down dial at " + after
		}
	}
	return phrase(turns, upDown, after, w.Note)
}

// halves writes 7.5 as 7½.
func halves(v float64) string {
	if whole := math.Floor(v); v-whole == 0.5 {
		return number(whole) + "½"
	}
	return number(v)
}

func (w Wound) check() error {
	return first(within("half_turns", w.HalfTurns, 0, 60, ""), withinIf("up_down_h", w.UpDownH, 0, 1000, "h"),
		withinIf("up_down_after_h", w.AfterH, 0, 1000, "h"), short("note", w.Note))
}

// Started is the beginning of a run.
type Started struct {
	How  string `json:"how,omitempty" label:"How" hint:"one gentle turn on the signal"`
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindStarted.
func (Started) Kind() Kind { return KindStarted }

// Words returns how it was started.
func (s Started) Words() string { return phrase(s.How, s.Note) }
func (s Started) check() error  { return first(short("how", s.How), short("note", s.Note)) }

// Stopped is the end of a run.
type Stopped struct {
	Why  string `json:"why" label:"Why" hint:"run down, stopped for work, found stopped …" need:"yes"`
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindStopped.
func (Stopped) Kind() Kind { return KindStopped }

// Words returns why it stopped.
func (s Stopped) Words() string { return phrase(s.Why, s.Note) }
func (s Stopped) check() error {
	return first(need("why", s.Why, `write what is known, or "not known"`), short("note", s.Note))
}

// Moved is a movement of the hands by a known amount, forward.
type Moved struct {
	ByS  float64 `json:"by_s" label:"Forward by" unit:"s" hint:"60 for one minute; hands are never moved back" need:"yes"`
	Note string  `json:"note,omitempty" label:"Note"`
}

// Kind returns KindMoved.
func (Moved) Kind() Kind { return KindMoved }

// Words returns the amount.
func (m Moved) Words() string {
	if min := m.ByS / 60; min == math.Trunc(min) {
		return phrase("forward "+number(min)+" min", m.Note)
	}
	return phrase("forward "+number(m.ByS)+" s", m.Note)
}

func (m Moved) check() error {
	if m.ByS <= 0 {
		return fmt.Errorf("by_s %s is not forward; the hands of a chronometer are only ever moved forward", number(m.ByS))
	}
	return first(within("by_s", m.ByS, 0, 86400, "s"), short("note", m.Note))
}

// Set is a setting of the hands by an amount that is not known.
type Set struct {
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindSet.
func (Set) Kind() Kind { return KindSet }

// Words returns the note.
func (s Set) Words() string { return s.Note }
func (s Set) check() error  { return short("note", s.Note) }

// Station is where an instrument is, so far as it changes what is next.
type Station string

// The stations.
const (
	Bench    Station = "on the bench"
	Trial    Station = "in a trial"
	Carriage Station = "in carriage"
	Home     Station = "with the owner"
)

// Choices returns the stations at which an instrument can be placed.
func (Station) Choices() []string { return []string{string(Bench), string(Trial), string(Home)} }

// Placed lays an instrument somewhere, in a position.
type Placed struct {
	Position Position `json:"position,omitempty" label:"Position"`
	Station  Station  `json:"station,omitempty" label:"Where it is now" hint:"empty: as before"`
	Where    string   `json:"where,omitempty" label:"Spot" hint:"oven, shelf, case"`
	TempC    *float64 `json:"temp_c,omitempty" label:"Temperature" unit:"°C"`
	Note     string   `json:"note,omitempty" label:"Note"`
}

// Kind returns KindPlaced.
func (Placed) Kind() Kind { return KindPlaced }

// Words returns position, place and temperature.
func (p Placed) Words() string {
	return phrase(string(p.Position), string(p.Station), p.Where, celsius(p.TempC), p.Note)
}

func (p Placed) check() error {
	return first(oneOf("position", p.Position, Position("").Choices()), oneOf("station", p.Station, Station("").Choices()),
		temperature(p.TempC), short("where", p.Where), short("note", p.Note))
}

// Temperature is one reading of the thermometer beside the instrument.
type Temperature struct {
	TempC float64 `json:"temp_c" label:"Temperature" unit:"°C" need:"yes"`
	Note  string  `json:"note,omitempty" label:"Note"`
}

// Kind returns KindTemperature.
func (Temperature) Kind() Kind { return KindTemperature }

// Words returns the temperature.
func (t Temperature) Words() string { return phrase(celsius(&t.TempC), t.Note) }
func (t Temperature) check() error {
	return first(temperature(&t.TempC), short("note", t.Note))
}

// Hold is what holds a balance.
type Hold string

// The ways to hold a balance.
const (
	Brake Hold = "brake"
	Wedge Hold = "wedge" // two soft folded strips under the rim, never tight
)

// Choices returns the ways to hold a balance.
func (Hold) Choices() []string { return []string{string(Brake), string(Wedge)} }

// Held says that the balance is held.
type Held struct {
	With Hold   `json:"with" label:"Held with" need:"yes" hint:"wedges only with the train locked, never tight; a licensed hand should do it"`
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindHeld.
func (Held) Kind() Kind { return KindHeld }

// Words returns what holds it.
func (h Held) Words() string { return phrase("by "+string(h.With), h.Note) }
func (h Held) check() error {
	return first(need("with", string(h.With), "choose brake or wedge"), oneOf("with", h.With, Hold("").Choices()), short("note", h.Note))
}

// Released says that the balance is free again.
type Released struct {
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindReleased.
func (Released) Kind() Kind { return KindReleased }

// Words returns the note.
func (r Released) Words() string { return r.Note }
func (r Released) check() error  { return short("note", r.Note) }

// FromGimbals says that it was taken out of its gimbals.
type FromGimbals struct {
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindFromGimbals.
func (FromGimbals) Kind() Kind { return KindFromGimbals }

// Words returns the note.
func (g FromGimbals) Words() string { return g.Note }
func (g FromGimbals) check() error  { return short("note", g.Note) }

// IntoGimbals says that it was put into its gimbals.
type IntoGimbals struct {
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindIntoGimbals.
func (IntoGimbals) Kind() Kind { return KindIntoGimbals }

// Words returns the note.
func (g IntoGimbals) Words() string { return g.Note }
func (g IntoGimbals) check() error  { return short("note", g.Note) }

// Found is a condition as found.
type Found struct {
	Condition string `json:"condition" label:"Condition" need:"yes"`
}

// Kind returns KindFound.
func (Found) Kind() Kind { return KindFound }

// Words returns the condition.
func (f Found) Words() string { return f.Condition }
func (f Found) check() error  { return need("condition", f.Condition, "write what was seen") }

// WorkDone is work at the bench.
type WorkDone struct {
	Work         string  `json:"work" label:"Work" hint:"begin with \"serviced\" after a full service: it begins a new rate" need:"yes"`
	Parts        string  `json:"parts,omitempty" label:"Parts"`
	Measurements string  `json:"measurements,omitempty" label:"Measurements" hint:"amplitude, end shakes, drop"`
	Hours        float64 `json:"hours,omitempty" label:"Hours" unit:"h"`
	Cost         Money   `json:"cost,omitzero" label:"Cost of work and parts" hint:"amount and currency, such as 120.00 EUR"`
	Service      bool    `json:"service,omitempty" label:"It may have changed the rate" hint:"begins a new rate"`
}

// Kind returns KindWorkDone.
func (WorkDone) Kind() Kind { return KindWorkDone }

// Words returns the work, the parts and the measurements.
func (w WorkDone) Words() string {
	var hours string
	if w.Hours > 0 {
		hours = number(w.Hours) + " h"
	}
	return phrase(w.Work, w.Parts, w.Measurements, hours, w.Cost.String())
}

func (w WorkDone) check() error {
	return first(need("work", w.Work, "write what was done"), short("parts", w.Parts), short("measurements", w.Measurements), within("hours", w.Hours, 0, 10000, "h"))
}

// Packed says how it was packed.
type Packed struct {
	How string `json:"how" label:"How" hint:"out of the gimbals, balance held, dial up, cushions" need:"yes"`
}

// Kind returns KindPacked.
func (Packed) Kind() Kind { return KindPacked }

// Words returns how.
func (p Packed) Words() string { return p.How }
func (p Packed) check() error  { return need("how", p.How, "write how it is cushioned and held") }

// Sent says how and where it was sent.
type Sent struct {
	To    string `json:"to,omitempty" label:"To"`
	With  string `json:"with,omitempty" label:"Carrier and mark"`
	Value Money  `json:"value,omitzero" label:"Declared value" hint:"amount and currency; a label is not insurance: agree it in writing"`
	Note  string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindSent.
func (Sent) Kind() Kind { return KindSent }

// Words returns where to and with whom.
func (s Sent) Words() string {
	var to string
	if s.To != "" {
		to = "to " + s.To
	}
	var value string
	if !s.Value.IsZero() {
		value = "declared " + s.Value.String()
	}
	return phrase(to, s.With, value, s.Note)
}
func (s Sent) check() error {
	return first(short("to", s.To), short("with", s.With), short("note", s.Note))
}

// Received says where it arrived.
type Received struct {
	Station   Station `json:"station" label:"Where it is now" need:"yes"`
	Condition string  `json:"condition,omitempty" label:"Condition on arrival"`
	Note      string  `json:"note,omitempty" label:"Note"`
}

// Kind returns KindReceived.
func (Received) Kind() Kind { return KindReceived }

// Words returns where and in what condition.
func (r Received) Words() string { return phrase(string(r.Station), r.Condition, r.Note) }
func (r Received) check() error {
	return first(need("station", string(r.Station), "say where it is now"), oneOf("station", r.Station, Station("").Choices()),
		short("condition", r.Condition), short("note", r.Note))
}

// Cased says that it is back in its box.
type Cased struct {
	Note string `json:"note,omitempty" label:"Note"`
}

// Kind returns KindCased.
func (Cased) Kind() Kind { return KindCased }

// Words returns the note.
func (c Cased) Words() string { return c.Note }
func (c Cased) check() error  { return short("note", c.Note) }

// Carried says that it was carried some way, unpacked.
type Carried struct {
	How string `json:"how,omitempty" label:"How" hint:"by hand, by car"`
}

// Kind returns KindCarried.
func (Carried) Kind() Kind { return KindCarried }

// Words returns how.
func (c Carried) Words() string { return c.How }
func (c Carried) check() error  { return short("how", c.How) }

// Note is free text.
type Note struct {
	Text string `json:"text" label:"Note" need:"yes"`
}

// Kind returns KindNote.
func (Note) Kind() Kind { return KindNote }

// Words returns the text.
func (n Note) Words() string { return n.Text }
func (n Note) check() error  { return need("text", n.Text, "write something") }

// Photograph names a stored picture by the SHA-256 of its bytes.
type Photograph struct {
	SHA256  string `json:"sha256" label:"Picture" need:"yes"`
	Name    string `json:"name,omitempty" label:"File name"`
	Type    string `json:"type,omitempty" label:"Media type"`
	Caption string `json:"caption,omitempty" label:"What it shows"`
}

// Kind returns KindPhotograph.
func (Photograph) Kind() Kind { return KindPhotograph }

// Words returns the caption, or the file name.
func (p Photograph) Words() string {
	if p.Caption != "" {
		return p.Caption
	}
	return p.Name
}

func (p Photograph) check() error {
	if !isSHA256(p.SHA256) {
		return fmt.Errorf("sha256 %.70q is not 64 hexadecimal digits", p.SHA256)
	}
	return first(short("name", p.Name), short("type", p.Type), short("caption", p.Caption))
}

// Upheld says that a comparison is to be used although the calculation would
// set it aside.
type Upheld struct {
	Entry ID     `json:"entry" label:"Comparison" need:"yes"`
	Why   string `json:"why" label:"Why" need:"yes"`
}

// Kind returns KindUpheld.
func (Upheld) Kind() Kind { return KindUpheld }

// Words returns why.
func (u Upheld) Words() string { return u.Why }
func (u Upheld) check() error {
	_, err := ParseID(string(u.Entry))
	return first(err, need("why", u.Why, "say why the reading is right"))
}

// StruckOut says that an entry was wrong.
type StruckOut struct {
	Entry ID     `json:"entry" label:"Entry" need:"yes"`
	Why   string `json:"why" label:"Why" need:"yes"`
}

// Kind returns KindStruckOut.
func (StruckOut) Kind() Kind { return KindStruckOut }

// Words returns why.
func (s StruckOut) Words() string { return s.Why }
func (s StruckOut) check() error {
	_, err := ParseID(string(s.Entry))
	return first(err, need("why", s.Why, "say what was wrong"))
}
