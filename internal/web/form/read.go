package form

import (
	"encoding/json"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/timescale"
	"timeball/internal/web/wording"
)

// Sign reads who writes; cleared of blanks, at most as long as a name.
func (f *Form) Sign() string {
	by := strings.TrimSpace(f.By.Value)
	switch {
	case by == "":
		f.By.Error = "Say who writes this: every entry carries a name."
	case len(by) > 100:
		f.By.Error = "The name is longer than 100 letters; shorten it."
	}
	return by
}

// Fact returns the fact written in the fields, or marks what is wrong.
func (f *Form) Fact(kind chronometer.Kind) chronometer.Fact {
	values := map[string]json.RawMessage{}
	for n := range f.Fields {
		x := &f.Fields[n]
		if x.Shape == File {
			continue
		}
		raw, err := x.read(kind)
		if err != nil {
			x.Error = wording.Sentence(err.Error())
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
		f.Problem = wording.Sentence(err.Error())
		return nil
	}
	fact, err := chronometer.DecodeFact(kind, text)
	if err != nil {
		f.Blame(kind, err)
		return nil
	}
	if heard, ok := fact.(chronometer.Listened); ok && f.Recording != nil {
		heard.Recording = f.Recording
		return heard
	}
	return fact
}

// read returns the value of the field as it stands in JSON, nil if it is
// empty.
func (f *Field) read(kind chronometer.Kind) (json.RawMessage, error) {
	text := strings.TrimSpace(f.Value)
	if text == "" {
		if f.Needed {
			return nil, errors.New(missing(*f))
		}
		return nil, nil
	}
	switch f.Shape {
	case Number, Whole:
		v, err := ParseNumber(text)
		if err != nil {
			return nil, err
		}
		return json.Marshal(v)
	case Tick:
		return json.RawMessage("true"), nil
	}
	if kind == chronometer.KindCompared && f.Name == "dial" {
		if _, err := clock.ParseDial(text); err != nil {
			return nil, errors.New(strings.TrimPrefix(err.Error(), clock.ErrDialReading.Error()+": "))
		}
	}
	if slices.Contains(amounts[kind], f.Name) {
		if _, err := chronometer.ParseMoney(text); err != nil {
			return nil, errors.New(strings.TrimPrefix(err.Error(), chronometer.ErrMoney.Error()+": "))
		}
	}
	return json.Marshal(text)
}

// amounts are the fields that are amounts of money.
var amounts = map[chronometer.Kind][]string{
	chronometer.KindEstimated: {"cost"}, chronometer.KindApproved: {"up_to"}, chronometer.KindWorkDone: {"cost"}, chronometer.KindSent: {"value"},
}

func missing(f Field) string {
	text := f.Label + " is missing"
	switch f.Shape {
	case Radio, Select:
		return text + "; choose one"
	case Number, Whole:
		return text + "; write a number" + wording.After(" of ", f.Unit)
	}
	return text + "; write it"
}

// thousands is a number with a comma that may part thousands or be a decimal
// comma.
var thousands = regexp.MustCompile(`^[+-]?[1-9][0-9]{0,2},[0-9]{3}$`)

// fraction is a part of a whole, as turns of a screw are counted.
var fraction = regexp.MustCompile(`^(-?\d{1,6})/(\d{1,6})$`)

// ParseNumber reads a number with a decimal point or comma, or a fraction.
func ParseNumber(text string) (float64, error) {
	t := strings.ReplaceAll(strings.ReplaceAll(text, "−", "-"), " ", "")
	if thousands.MatchString(t) {
		return 0, fmt.Errorf("%.20q can be read in two ways; write it with a point, such as 7.5, and no comma", text)
	}
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		t = strings.Replace(t, ",", ".", 1)
	}
	if m := fraction.FindStringSubmatch(t); m != nil {
		over, _ := strconv.ParseFloat(m[1], 64)
		under, _ := strconv.ParseFloat(m[2], 64)
		if under == 0 {
			return 0, fmt.Errorf("%.20q divides by nought; write a fraction such as 3/40", text)
		}
		return over / under, nil
	}
	v, err := strconv.ParseFloat(t, 64)
	if err != nil || v != v || v > 1e15 || v < -1e15 || strings.ContainsAny(t, "xXpPiInN_") {
		return 0, fmt.Errorf("%.20q is not a number; write one such as 7.5", text)
	}
	return v, nil
}

// Blame puts the error of a rule at the field that it names, or above the form.
func (f *Form) Blame(kind chronometer.Kind, err error) {
	text := wording.Plain(err, kind)
	name, rest, _ := strings.Cut(text, " ")
	name = strings.TrimSuffix(name, ":")
	switch {
	case name == "at":
		name = "" // a refusal that begins with the instant is about the whole
	case strings.HasPrefix(text, "give either the dial"):
		name, rest = "dial", ""
	case strings.HasPrefix(text, "id ") && f.Field("entry") != nil:
		name, rest = "entry", ""
		text = "choose one of the entries"
	case strings.Contains(text, "is in the future"):
		name, rest = "at", ""
	}
	x := f.Field(name)
	if x == nil {
		f.Problem = wording.Sentence(text)
		return
	}
	if rest != "" {
		text = x.Label + " " + rest
	}
	x.Error = wording.Sentence(text)
}

// At returns when it happened, the zero time if that is when it is written, or
// marks what is wrong.
func (f *Form) At(now time.Time) time.Time {
	if f.When == nil || asWritten(f.When.Value) {
		return time.Time{}
	}
	at, err := parseWhen(f.When.Value, now)
	if err != nil {
		f.When.Error = wording.Sentence(err.Error())
	}
	return at
}

// asWritten reports whether text stands for the present instant.
func asWritten(text string) bool {
	t := strings.ToLower(strings.TrimSpace(text))
	return t == "" || t == "now"
}

// parseWhen reads an instant of UTC as a person writes it: "now" or nothing, a
// time of the present day, a day and a time, or RFC 3339.
func parseWhen(text string, now time.Time) (time.Time, error) {
	t := strings.ToUpper(strings.TrimSpace(text))
	if asWritten(text) {
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

// Instant writes an instant as At reads it, to the millisecond.
func Instant(t time.Time) string {
	return t.UTC().Format("2006-01-02 15:04:05.999")
}
