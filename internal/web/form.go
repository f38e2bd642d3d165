package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/timescale"
)

// form is the fields of one fact as they are asked for, with what was written
// into them and what is wrong with it.
type form struct {
	Action   string
	When     *field // nil if the instant is that of writing
	Fields   []field
	By       field
	Problem  string // what is wrong with the whole
	Button   string
	File     bool   // a file is sent along
	Accept   string // media types of the file
	Hidden   []option
	Instant  bool // the instant matters: offer to take it
	Cautions []string
}

// field is one field of a form.
type field struct {
	Name, Label, Unit, Hint string
	Shape                   shape
	Needed                  bool
	Further                 bool // asked for behind the others
	Either                  bool // this or its neighbour is needed
	Options                 []option
	Value                   string
	Error                   string
}

// shape is how a field is drawn.
type shape string

const (
	lineShape   shape = "line"
	areaShape   shape = "area"
	numberShape shape = "number"
	wholeShape  shape = "whole"
	tickShape   shape = "tick"
	radioShape  shape = "radio"
	selectShape shape = "select"
	fileShape   shape = "file"
)

// Errors returns the fields that are wrong, for the summary above the form.
func (f form) Errors() []field {
	var wrong []field
	for _, x := range f.all() {
		if x.Error != "" {
			wrong = append(wrong, *x)
		}
	}
	return wrong
}

// OK reports whether nothing is wrong.
func (f form) OK() bool { return f.Problem == "" && len(f.Errors()) == 0 }

func (f *form) all() []*field {
	var all []*field
	if f.When != nil {
		all = append(all, f.When)
	}
	for n := range f.Fields {
		all = append(all, &f.Fields[n])
	}
	return append(all, &f.By)
}

func (f *form) field(name string) *field {
	for _, x := range f.all() {
		if x.Name == name {
			return x
		}
	}
	return nil
}

// Further reports whether some fields are asked for behind the others.
func (f form) Further() bool {
	return slices.ContainsFunc(f.Fields, func(x field) bool { return x.Further })
}

// Open reports whether a field behind the others has something to show.
func (f form) Open() bool {
	return slices.ContainsFunc(f.Fields, func(x field) bool { return x.Further && (x.Value != "" || x.Error != "") })
}

// furtherFields are those that a comparison at the bench rarely needs.
var furtherFields = map[chronometer.Kind][]string{
	chronometer.KindCompared: {"sd_s", "observer", "standard", "standard_sd_s", "position", "wound_h", "note"},
}

// longTexts are the fields that are given more than a line.
var longTexts = map[string]bool{"note": true, "notes": true, "text": true, "work": true, "parts": true, "measurements": true, "condition": true, "how": true, "why": true, "contact": true}

// unasked are fields that the pages fill in themselves.
var unasked = map[chronometer.Kind][]string{chronometer.KindPhotograph: {"sha256", "name", "type"}}

// newForm returns the form of a kind, empty.
func newForm(kind chronometer.Kind) form {
	f := form{
		When:   &field{Name: "at", Label: "When", Unit: "UTC", Hint: "now, a time of today such as 09:12:30, or 2027-03-04 09:12:30", Value: "now", Shape: lineShape},
		By:     field{Name: "by", Label: "Who writes this", Shape: lineShape, Needed: true},
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
		asked.Either = kind == chronometer.KindCompared && (x.Name == "dial" || x.Name == "error_s")
		f.Fields = append(f.Fields, asked)
	}
	if kind == chronometer.KindPhotograph {
		f.File, f.Accept = true, "image/jpeg,image/png,image/webp,image/gif"
		f.Fields = append([]field{{Name: "file", Label: "Picture", Hint: "JPEG, PNG, WebP or GIF, at most 20 MB", Shape: fileShape, Needed: true}}, f.Fields...)
	}
	return f
}

func newField(x chronometer.Field) field {
	f := field{Name: x.Name, Label: x.Label, Unit: x.Unit, Hint: x.Hint, Needed: x.Needed, Shape: lineShape}
	switch x.Type {
	case chronometer.Number:
		f.Shape = numberShape
	case chronometer.Whole:
		f.Shape = wholeShape
	case chronometer.YesNo:
		f.Shape = tickShape
	case chronometer.Choice:
		f.Shape = selectShape
		if len(x.Choices) <= 4 {
			f.Shape = radioShape
		}
		for _, c := range x.Choices {
			f.Options = append(f.Options, option{Value: c, Label: c})
		}
	case chronometer.Text:
		if longTexts[x.Name] {
			f.Shape = areaShape
		}
	}
	return f
}

// fill writes values into the fields; what is not among them stays.
func (f *form) fill(values url.Values) {
	for _, x := range f.all() {
		if given, ok := values[x.Name]; ok && len(given) > 0 {
			x.Value = given[0]
		}
		x.choose()
	}
}

// sent writes a form that was sent into the fields, where a tick that is not
// among the values was taken away.
func (f *form) sent(values url.Values) {
	for _, x := range f.all() {
		if x.Shape == tickShape {
			x.Value = ""
		}
	}
	f.fill(values)
}

func (f *field) choose() {
	for n := range f.Options {
		f.Options[n].Chosen = f.Options[n].Value == f.Value
	}
}

// prefill writes what a fact says into the fields.
func (f *form) prefill(fact chronometer.Fact) error {
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
		if x.Shape == tickShape && x.Value != "true" {
			x.Value = ""
		}
		x.choose()
	}
	return nil
}

// sign reads who writes; cleared of blanks, at most as long as a name.
func (f *form) sign() string {
	by := strings.TrimSpace(f.By.Value)
	switch {
	case by == "":
		f.By.Error = "Say who writes this: every entry carries a name."
	case len(by) > 100:
		f.By.Error = "The name is longer than 100 letters; shorten it."
	}
	return by
}

// fact returns the fact written in the fields, or marks what is wrong.
func (f *form) fact(kind chronometer.Kind) chronometer.Fact {
	values := map[string]json.RawMessage{}
	for n := range f.Fields {
		x := &f.Fields[n]
		if x.Shape == fileShape {
			continue
		}
		raw, err := x.read(kind)
		if err != nil {
			x.Error = sentence(err.Error())
			continue
		}
		if raw != nil {
			values[x.Name] = raw
		}
	}
	if !f.OK() {
		return nil
	}
	text, err := json.Marshal(values)
	if err != nil {
		f.Problem = sentence(err.Error())
		return nil
	}
	fact, err := chronometer.DecodeFact(kind, text)
	if err != nil {
		f.blame(kind, err)
		return nil
	}
	return fact
}

// read returns the value of the field as it stands in JSON, nil if it is
// empty.
func (f *field) read(kind chronometer.Kind) (json.RawMessage, error) {
	text := strings.TrimSpace(f.Value)
	if text == "" {
		if f.Needed {
			return nil, errors.New(missing(*f))
		}
		return nil, nil
	}
	switch f.Shape {
	case numberShape, wholeShape:
		v, err := parseNumber(text)
		if err != nil {
			return nil, err
		}
		return json.Marshal(v)
	case tickShape:
		return json.RawMessage("true"), nil
	}
	if kind == chronometer.KindCompared && f.Name == "dial" {
		if _, err := clock.ParseDial(text); err != nil {
			return nil, errors.New(strings.TrimPrefix(err.Error(), clock.ErrDialReading.Error()+": "))
		}
	}
	return json.Marshal(text)
}

func missing(f field) string {
	text := f.Label + " is missing"
	switch f.Shape {
	case radioShape, selectShape:
		return text + "; choose one"
	case numberShape, wholeShape:
		return text + "; write a number" + after(" of ", f.Unit)
	}
	return text + "; write it"
}

// thousands is a number with a comma that may part thousands or be a decimal
// comma.
var thousands = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2},[0-9]{3}$`)

// parseNumber reads a number with a decimal point or comma.
func parseNumber(text string) (float64, error) {
	t := strings.ReplaceAll(strings.ReplaceAll(text, "−", "-"), " ", "")
	if thousands.MatchString(t) {
		return 0, fmt.Errorf("%.20q can be read in two ways; write it with a point, such as 7.5, and no comma", text)
	}
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		t = strings.Replace(t, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || v != v || v > 1e15 || v < -1e15 || strings.ContainsAny(t, "xXpPiInN_") {
		return 0, fmt.Errorf("%.20q is not a number; write one such as 7.5", text)
	}
	return v, nil
}

// blame puts the error of a rule at the field that it names, or above the form.
func (f *form) blame(kind chronometer.Kind, err error) {
	text := plain(err, kind)
	name, rest, _ := strings.Cut(text, " ")
	name = strings.TrimSuffix(name, ":")
	switch {
	case name == "at":
		name = "" // a refusal that begins with the instant is about the whole
	case strings.HasPrefix(text, "give either the dial"):
		name, rest = "dial", ""
	case strings.HasPrefix(text, "id ") && f.field("entry") != nil:
		name, rest = "entry", ""
		text = "choose one of the entries"
	case strings.Contains(text, "is in the future"):
		name, rest = "at", ""
	}
	x := f.field(name)
	if x == nil {
		f.Problem = sentence(text)
		return
	}
	if rest != "" {
		text = x.Label + " " + rest
	}
	x.Error = sentence(text)
}

// instant returns when it happened, or marks what is wrong.
func (f *form) instant(now time.Time) time.Time {
	if f.When == nil {
		return now
	}
	at, err := parseWhen(f.When.Value, now)
	if err != nil {
		f.When.Error = sentence(err.Error())
	}
	return at
}

// parseWhen reads an instant of UTC as a person writes it: "now" or nothing, a
// time of the present day, a day and a time, or RFC 3339.
func parseWhen(text string, now time.Time) (time.Time, error) {
	t := strings.ToUpper(strings.TrimSpace(text))
	if t == "" || t == "NOW" {
		return now.UTC().Truncate(time.Microsecond), nil
	}
	bare := strings.Replace(strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(t, "UTC"), "Z")), "T", " ", 1)
	for _, layout := range []string{"15:04", "15:04:05"} {
		if at, err := time.Parse(layout, bare); err == nil {
			n := now.UTC()
			return time.Date(n.Year(), n.Month(), n.Day(), at.Hour(), at.Minute(), at.Second(), at.Nanosecond(), time.UTC).Truncate(time.Microsecond), nil
		}
	}
	if len(bare) == len("2006-01-02 15:04") {
		bare += ":00"
	}
	if len(bare) >= len("2006-01-02 15:04:05") && !strings.ContainsAny(bare[10:], "+-") {
		t = bare + "Z"
	}
	at, err := timescale.Parse(t)
	if err != nil {
		why, _, _ := strings.Cut(strings.TrimPrefix(err.Error(), timescale.ErrInstant.Error()+": "), ";")
		return time.Time{}, errors.New(why + "; write now, a time such as 09:12:30, or a day and a time such as 2027-03-04 09:12:30, in UTC")
	}
	return at, nil
}

// formInstant writes an instant as parseWhen reads it.
func formInstant(t time.Time) string {
	return t.UTC().Format("2006-01-02 15:04:05.999")
}

// authorCookie remembers who wrote last on this computer.
const authorCookie = "by"

// author returns who wrote last on this computer, or nothing.
func author(r *http.Request) string {
	c, err := r.Cookie(authorCookie)
	if err != nil {
		return ""
	}
	by, err := url.QueryUnescape(c.Value)
	if err != nil {
		return ""
	}
	return by
}

// remember keeps who wrote for a year.
func remember(w http.ResponseWriter, r *http.Request, by string) {
	http.SetCookie(w, &http.Cookie{
		Name: authorCookie, Value: url.QueryEscape(by), Path: "/", MaxAge: 365 * 24 * 3600,
		HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: r.TLS != nil,
	})
}
