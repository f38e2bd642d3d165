// Package form is the forms in which entries are written: the fields of a kind
// as they are asked for, what was typed into them and what is wrong with it.
package form

import (
	"cmp"
	"encoding/json"
	"net/url"
	"slices"

	"timeball/internal/chronometer"
)

// Form is the fields of one fact as they are asked for, with what was written
// into them and what is wrong with it.
type Form struct {
	ID       chronometer.ID // under which it is written, once; empty: none
	Action   string
	When     *Field // nil if the instant is that of writing
	Fields   []Field
	By       Field
	Problem  string // what is wrong with the whole
	Button   string
	File     bool   // a file is sent along
	Accept   string // media types of the file
	Instant  bool   // the instant matters: offer to take it
	Cautions []string
	Sure     string // a value far from the usual that is to be sent once more if it is meant

	Recording *chronometer.Recording // kept already, of what was heard
}

// Field is one field of a form.
type Field struct {
	Name, Label, Unit, Hint string
	Shape                   Shape
	Needed                  bool
	Further                 bool // asked for behind the others
	Either                  bool // this or its neighbour is needed
	Options                 []Option
	Value                   string
	Error                   string
}

// Shape is how a field is drawn.
type Shape string

// The shapes that fields have.
const (
	Line   Shape = "line"
	Area   Shape = "area"
	Number Shape = "number"
	Whole  Shape = "whole"
	Tick   Shape = "tick"
	Radio  Shape = "radio"
	Select Shape = "select"
	File   Shape = "file"
)

// IDName is the name of the field that carries the ID; RecordingName and
// RecordingFile are those that carry the SHA-256 and the name of a recording
// that is kept already.
const (
	IDName        = "id"
	RecordingName = "recording"
	RecordingFile = "recording_name"
)

// Option is one choice of a field.
type Option struct {
	Value, Label string
	Chosen       bool
}

// Errors returns the fields that are wrong, for the summary above the form.
func (f Form) Errors() []Field {
	var wrong []Field
	for _, x := range f.all() {
		if x.Error != "" {
			wrong = append(wrong, *x)
		}
	}
	return wrong
}

// Problems returns what is wrong, in sentences.
func (f Form) Problems() []string {
	var all []string
	if f.Problem != "" {
		all = append(all, f.Problem)
	}
	for _, x := range f.Errors() {
		all = append(all, x.Error)
	}
	return all
}

// OK reports whether nothing is wrong.
func (f Form) OK() bool { return f.Problem == "" && len(f.Errors()) == 0 }

func (f *Form) all() []*Field {
	var all []*Field
	if f.When != nil {
		all = append(all, f.When)
	}
	for n := range f.Fields {
		all = append(all, &f.Fields[n])
	}
	return append(all, &f.By)
}

// Field returns the field of a name, nil if the form has none.
func (f *Form) Field(name string) *Field {
	for _, x := range f.all() {
		if x.Name == name {
			return x
		}
	}
	return nil
}

// Further reports whether some fields are asked for behind the others.
func (f Form) Further() bool {
	return slices.ContainsFunc(f.Fields, func(x Field) bool { return x.Further })
}

// Open reports whether a field behind the others has something to show.
func (f Form) Open() bool {
	return slices.ContainsFunc(f.Fields, func(x Field) bool { return x.Further && (x.Value != "" || x.Error != "") })
}

// furtherFields are those that a comparison at the bench rarely needs.
var furtherFields = map[chronometer.Kind][]string{
	chronometer.KindCompared: {"sd_s", "observer", "standard", "standard_sd_s", "position", "wound_h", "note"},
	chronometer.KindListened: {"position", "wound_h", "note"},
	chronometer.KindWound:    {"note"},
}

// longTexts are the fields that are given more than a line.
var longTexts = map[string]bool{"note": true, "notes": true, "text": true, "work": true, "parts": true, "measurements": true, "condition": true, "how": true, "why": true, "contact": true}

// unasked are fields that the pages fill in themselves.
var unasked = map[chronometer.Kind][]string{chronometer.KindPhotograph: {"sha256", "name", "type"}}

// New returns the form of a kind, empty.
func New(kind chronometer.Kind) Form {
	f := Form{
		When:   &Field{Name: "at", Label: "When", Unit: "UTC", Hint: "now, a time of today such as 09:12:30, or 2027-03-04 09:12:30", Value: "now", Shape: Line},
		By:     Field{Name: "by", Label: "Who writes this", Shape: Line, Needed: true},
		Button: "Write it in the logbook", Cautions: cautions[kind],
	}
	if button, ok := buttons[kind]; ok {
		f.Button = button
	}
	for _, x := range kind.Fields() {
		if slices.Contains(unasked[kind], x.Name) {
			continue
		}
		asked := newField(x)
		asked.Further = slices.Contains(furtherFields[kind], x.Name)
		if kind == chronometer.KindCompared && x.Name == "standard" {
			for _, signal := range chronometer.Signals() {
				asked.Options = append(asked.Options, Option{Value: signal.Name})
			}
		}
		asked.Either = kind == chronometer.KindCompared && (x.Name == "dial" || x.Name == "error_s")
		f.Fields = append(f.Fields, asked)
	}
	if kind == chronometer.KindPhotograph {
		f.File, f.Accept = true, "image/jpeg,image/png,image/gif" // so that telephones that keep another form send JPEG
		f.Fields = append([]Field{{Name: "file", Label: "Picture", Hint: "JPEG, PNG or GIF, at most 20 MB; it is kept no longer than 1600 pixels, without where and when it was taken, and what you send is not kept", Shape: File, Needed: true}}, f.Fields...)
	}
	if kind == chronometer.KindListened {
		f.File, f.Accept = true, ".wav,.flac,audio/wav,audio/x-wav,audio/flac"
		f.Fields = append(f.Fields, Field{Name: "file", Label: "Recording", Hint: chronometer.RecordingHint, Shape: File})
	}
	return f
}

func newField(x chronometer.Field) Field {
	f := Field{Name: x.Name, Label: x.Label, Unit: x.Unit, Hint: x.Hint, Needed: x.Needed, Shape: Line}
	switch x.Type {
	case chronometer.Number:
		f.Shape = Number
	case chronometer.Whole:
		f.Shape = Whole
	case chronometer.YesNo:
		f.Shape = Tick
	case chronometer.Choice:
		f.Shape = Select
		if len(x.Choices) <= 4 {
			f.Shape = Radio
		}
		for _, c := range x.Choices {
			f.Options = append(f.Options, Option{Value: c, Label: c})
		}
	case chronometer.Text:
		if longTexts[x.Name] {
			f.Shape = Area
		}
	}
	return f
}

// Fill writes values into the fields; what is not among them stays.
func (f *Form) Fill(values url.Values) {
	for _, x := range f.all() {
		if given, ok := values[x.Name]; ok && len(given) > 0 {
			x.Value = given[0]
		}
		x.Choose()
	}
}

// Sent writes a form that was sent into the fields, where a tick that is not
// among the values was taken away, and takes the ID that the form was sent out
// with.
func (f *Form) Sent(values url.Values) {
	if id, err := chronometer.ParseID(values.Get(IDName)); err == nil {
		f.ID = id
	}
	for _, x := range f.all() {
		if x.Shape == Tick {
			x.Value = ""
		}
	}
	f.Fill(values)
}

// Carry has the form name a recording that is kept already, so that it need
// not be sent again.
func (f *Form) Carry(r chronometer.Recording) {
	f.Recording = &r
	if x := f.Field("file"); x != nil {
		x.Hint = "“" + cmp.Or(r.Name, "the recording") + "” is kept; choose a file only to put another in its place, " + chronometer.RecordingHint
	}
}

// Choose marks the option that the value names.
func (f *Field) Choose() {
	for n := range f.Options {
		f.Options[n].Chosen = f.Options[n].Value == f.Value
	}
}

// Prefill writes what a fact says into the fields.
func (f *Form) Prefill(fact chronometer.Fact) error {
	text, err := json.Marshal(fact)
	if err != nil {
		return err
	}
	var values map[string]json.RawMessage
	if err := json.Unmarshal(text, &values); err != nil {
		return err
	}
	for n := range f.Fields {
		x := &f.Fields[n]
		raw, ok := values[x.Name]
		if !ok {
			continue
		}
		if err := json.Unmarshal(raw, &x.Value); err != nil { // a number or a yes, not a string
			x.Value = string(raw)
		}
		if x.Shape == Tick && x.Value != "true" {
			x.Value = ""
		}
		x.Choose()
	}
	return nil
}

// OfferEntries makes the field entry a choice.
func (f *Form) OfferEntries(choices []Option) {
	if x := f.Field("entry"); x != nil {
		x.Shape, x.Options = Select, choices
	}
	f.When = nil
}
