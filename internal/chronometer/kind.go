package chronometer

import (
	"encoding/json"
	"reflect"
	"strings"
)

// Kind says what an entry tells; its text stands in files and on pages.
type Kind string

// The kinds of entry.
const (
	KindEntered     Kind = "entered"           // an instrument's particulars, first or corrected
	KindOwner       Kind = "owner"             // an owner's particulars, first or corrected
	KindEquation    Kind = "personal equation" // an observer's lead or lag on one device, measured
	KindCompared    Kind = "compared"          // the dial was compared with the standard
	KindListened    Kind = "listened"          // its beat was heard, and with it its rate of those minutes
	KindWound       Kind = "wound"             // it was wound
	KindStarted     Kind = "started"           // it was set going
	KindStopped     Kind = "stopped"           // it stopped or was stopped
	KindMoved       Kind = "hands moved"       // the hands were moved by a known amount
	KindSet         Kind = "hands set"         // the hands were set anew
	KindRegulated   Kind = "regulated"         // its rate was altered on purpose
	KindPlaced      Kind = "placed"            // it was laid in a position at a place
	KindTemperature Kind = "temperature"       // the thermometer was read
	KindHeld        Kind = "balance held"      // the balance was held by brake or wedge
	KindReleased    Kind = "balance released"  // the balance was let go
	KindFromGimbals Kind = "out of gimbals"    // it was taken from its gimbals
	KindIntoGimbals Kind = "into gimbals"      // it was put into its gimbals
	KindFound       Kind = "found"             // its condition as found
	KindWorkDone    Kind = "work done"         // work at the bench
	KindPacked      Kind = "packed"            // it was packed for carriage
	KindSent        Kind = "sent"              // it was given to a carrier
	KindReceived    Kind = "received"          // it arrived
	KindCased       Kind = "cased"             // it was put back into its box
	KindCarried     Kind = "carried"           // it was carried by hand or vehicle, unpacked
	KindNote        Kind = "note"              // anything else worth keeping
	KindPhotograph  Kind = "photograph"        // a picture
	KindUpheld      Kind = "upheld"            // a comparison set aside by calculation is to be used after all
	KindStruckOut   Kind = "struck out"        // another entry was wrong
	KindEnquired    Kind = "enquired"          // its owner asks for work
	KindEstimated   Kind = "estimated"         // what the work will cost
	KindApproved    Kind = "approved"          // its owner agrees to that
	KindReady       Kind = "ready"             // the work is done and it can go home
	KindJourney     Kind = "journey begun"     // it is to travel
	KindStepDone    Kind = "step done"         // a step of its journey was done
	KindTrialBegun  Kind = "trial begun"       // a trial was begun after a programme
	KindTrialEnded  Kind = "trial ended"       // the trial was ended, finished or not
	KindCertified   Kind = "certified"         // a certificate was issued
	KindHouse       Kind = "workshop"          // the particulars of the workshop, first or corrected
	KindProgramme   Kind = "programme"         // a programme of trials of the workshop's own
)

// Fact is what an entry tells: one struct for each Kind.
type Fact interface {
	Kind() Kind
	Words() string // the fact as a short phrase for a logbook line
	check() error
}

// form is how facts of one kind are read and asked for.
type form struct {
	decode func([]byte) (Fact, error)
	about  string
	fields []Field
}

// FieldType says how a field of a fact is written.
type FieldType string

// The types of field.
const (
	Text    FieldType = "text"
	Number  FieldType = "number"
	Whole   FieldType = "whole number"
	YesNo   FieldType = "yes or no"
	Choice  FieldType = "choice"
	Reading FieldType = "dial reading"
)

// Field describes one field of a fact for forms and for the API.
type Field struct {
	Name    string // in JSON
	Label   string
	Unit    string
	Hint    string
	Type    FieldType
	Choices []string
	Needed  bool
}

// chooser is implemented by the types that take one of a few values.
type chooser interface{ Choices() []string }

var forms = map[Kind]form{
	KindEntered:     of[Instrument]("an instrument's particulars"),
	KindOwner:       of[Owner]("an owner's particulars"),
	KindEquation:    of[Equation]("how late an observer taps on a device"),
	KindCompared:    of[Compared]("compare the dial with the standard"),
	KindListened:    of[Listened]("the rate of some minutes, from the sound of its beat"),
	KindWound:       of[Wound]("wind it"),
	KindStarted:     of[Started]("set it going"),
	KindStopped:     of[Stopped]("it stopped, or was stopped"),
	KindMoved:       of[Moved]("the minute hand was moved forward by a known amount"),
	KindSet:         of[Set]("the hands were set anew, by an amount not known"),
	KindRegulated:   of[Regulated]("its rate was altered on purpose"),
	KindPlaced:      of[Placed]("lay it in a position, at a place"),
	KindTemperature: of[Temperature]("read the thermometer"),
	KindHeld:        of[Held]("the balance is held for carriage or work"),
	KindReleased:    of[Released]("the balance is let go"),
	KindFromGimbals: of[FromGimbals]("taken from the gimbals"),
	KindIntoGimbals: of[IntoGimbals]("put into the gimbals"),
	KindFound:       of[Found]("the condition it was found in"),
	KindWorkDone:    of[WorkDone]("work at the bench, with parts and measurements"),
	KindPacked:      of[Packed]("packed for carriage"),
	KindSent:        of[Sent]("given to a carrier"),
	KindReceived:    of[Received]("it has arrived"),
	KindCased:       of[Cased]("put back into its box"),
	KindCarried:     of[Carried]("carried by hand or vehicle, unpacked"),
	KindNote:        of[Note]("anything else worth keeping"),
	KindPhotograph:  of[Photograph]("a picture"),
	KindUpheld:      of[Upheld]("use a comparison that the calculation set aside"),
	KindStruckOut:   of[StruckOut]("strike out a wrong entry"),
	KindEnquired:    of[Enquired]("its owner asks for work"),
	KindEstimated:   of[Estimated]("what the work is expected to cost"),
	KindApproved:    of[Approved]("its owner agrees to the estimate"),
	KindReady:       of[Ready]("the work is done and it can go home"),
	KindJourney:     of[JourneyBegun]("it is to travel, and the steps for it begin"),
	KindStepDone:    of[StepDone]("a step of its journey was done"),
	KindTrialBegun:  of[TrialBegun]("a trial after a programme is begun"),
	KindTrialEnded:  of[TrialEnded]("the trial is ended, finished or given up"),
	KindCertified:   of[Certified]("a certificate that was issued"),
	KindHouse:       of[House]("the workshop's own particulars, for the head of its papers"),
	KindProgramme:   of[Programme]("a programme of trials of the workshop's own"),
}

// Kinds returns all kinds in the order in which a page offers them.
func Kinds() []Kind {
	return []Kind{
		KindCompared, KindListened, KindWound, KindStarted, KindStopped, KindMoved, KindSet, KindRegulated, KindPlaced, KindTemperature,
		KindHeld, KindReleased, KindFromGimbals, KindIntoGimbals, KindEnquired, KindEstimated, KindApproved, KindFound, KindWorkDone, KindReady, KindPacked, KindSent, KindReceived,
		KindCased, KindCarried, KindJourney, KindStepDone, KindTrialBegun, KindTrialEnded, KindCertified, KindNote, KindPhotograph, KindUpheld, KindStruckOut,
		KindEntered, KindOwner, KindEquation, KindHouse, KindProgramme,
	}
}

// Begins reports whether an entry of the kind can begin a logbook: that of an
// instrument, of an owner, of an observer on a device, of the workshop, or of a
// programme.
func (k Kind) Begins() bool { return k == KindEntered || !k.OfInstrument() }

// OfInstrument reports whether an entry of the kind can stand in the logbook of
// an instrument.
func (k Kind) OfInstrument() bool {
	switch k {
	case KindOwner, KindEquation, KindHouse, KindProgramme:
		return false
	}
	return true
}

// Computed reports whether entries of the kind hold what the workshop has
// computed or chosen, so that no form asks for them.
func (k Kind) Computed() bool { return k == KindTrialBegun || k == KindCertified || k == KindStepDone }

// Known reports whether k is a kind of entry.
func (k Kind) Known() bool { _, ok := forms[k]; return ok }

// About returns what an entry of the kind tells, as a phrase.
func (k Kind) About() string { return forms[k].about }

// Title returns the kind with a capital letter.
func (k Kind) Title() string {
	if k == "" {
		return ""
	}
	return strings.ToUpper(string(k[:1])) + string(k[1:])
}

// Fields returns the fields of facts of the kind, in the order asked for.
func (k Kind) Fields() []Field { return forms[k].fields }

func of[T Fact](about string) form {
	return form{
		about:  about,
		fields: fieldsOf(reflect.TypeFor[T]()),
		decode: func(text []byte) (Fact, error) {
			var fact T
			if err := decodeStrict(text, &fact); err != nil {
				return nil, err
			}
			if err := fact.check(); err != nil {
				return nil, err
			}
			return fact, nil
		},
	}
}

// fieldsOf reads the tags of a fact: json, label, unit, hint and need; asked
// "no" keeps a field from forms.
func fieldsOf(t reflect.Type) []Field {
	var fields []Field
	for f := range t.Fields() {
		if f.Tag.Get("asked") == "no" {
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		field := Field{
			Name: name, Label: f.Tag.Get("label"), Unit: f.Tag.Get("unit"), Hint: f.Tag.Get("hint"),
			Needed: f.Tag.Get("need") == "yes", Type: Text,
		}
		ft := f.Type
		if ft.Kind() == reflect.Pointer {
			ft = ft.Elem()
		}
		switch c := reflect.New(ft).Elem().Interface().(type) {
		case chooser:
			field.Type, field.Choices = Choice, c.Choices()
		case dialText:
			field.Type = Reading
		default:
			switch ft.Kind() {
			case reflect.Float64:
				field.Type = Number
			case reflect.Int, reflect.Int64, reflect.Uint8:
				field.Type = Whole
			case reflect.Bool:
				field.Type = YesNo
			}
		}
		fields = append(fields, field)
	}
	return fields
}

var _ json.Marshaler = Entry{}
