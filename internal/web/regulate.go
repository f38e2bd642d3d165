package web

import (
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/chronometer"
	"timeball/internal/regulating"
	"timeball/internal/web/form"
	"timeball/internal/web/trials"
	"timeball/internal/web/wording"
)

// regulatePage says what to turn on the balance of an instrument.
type regulatePage struct {
	frame
	trials.Turning
	Back       []link
	Number, At string
	Pending    bool
	Moving     bool   // it goes, or may
	Unsure     bool   // no entry says whether it goes
	OnTrial    string // the programme of the trial that goes on
	Fields     []form.Field
	Changed    bool // another wish or part than the usual was asked for
}

// The fields of a wish.
const (
	partField  = "part"
	wayTurned  = "way"
	leastField = "least"
	mostField  = "most"
	losing     = "losing"
	gaining    = "gaining"
)

// mostWish bounds a wish, s/d: beyond, it is another fault than the screws mend.
const mostWish = 60

func (s *site) regulate(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	number, at := seen.Instrument.Number, pathOf(r)
	p := regulatePage{frame: s.frame("Regulate No. "+number, "room"), Number: number, At: at, Pending: seen.Pending}
	p.Now, p.Doubt = seen.Now.UTC(), true
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	if seen.Pending {
		p.Refresh = 4
	}
	p.Unsure = seen.State.Motion == chronometer.NotKnown
	p.Moving = seen.State.Motion == chronometer.Going || p.Unsure
	if begun, ended, ok := seen.Logbook.Trial(); ok && ended.ID == "" {
		p.OnTrial = begun.Fact.Words()
	}
	part, wish, ok := p.ask(r.URL.Query())
	p.Turning = trials.NewTurning(adjust.Regulate(seen, part, wish), at, seen.Now)
	p.Field(partField).Value = p.Part
	for n := range p.Fields {
		p.Fields[n].Choose()
	}
	status := http.StatusOK
	if !ok {
		status = http.StatusUnprocessableEntity
	}
	s.show(w, status, "regulate", p)
	return nil
}

// Field returns the field of a name.
func (p regulatePage) Field(name string) *form.Field {
	n := slices.IndexFunc(p.Fields, func(f form.Field) bool { return f.Name == name })
	return &p.Fields[n]
}

// ask reads the part and the wish, or marks what is wrong with them and returns
// the usual.
func (p *regulatePage) ask(q url.Values) (regulating.Part, regulating.Wish, bool) {
	usual := regulating.UsualWish()
	number := func(v float64) string { return strconv.FormatFloat(math.Abs(v), 'f', -1, 64) }
	p.Fields = []form.Field{
		{Name: partField, Label: "Part", Shape: form.Radio, Needed: true, Options: []form.Option{{Value: string(regulating.TimingScrews), Label: "timing screws"}, {Value: string(regulating.TimingNuts), Label: "timing nuts"}}},
		{Name: wayTurned, Label: "It shall be", Shape: form.Radio, Needed: true, Value: losing, Options: []form.Option{{Value: losing, Label: losing}, {Value: gaining, Label: gaining}}},
		{Name: leastField, Label: "at least", Unit: "s a day", Shape: form.Number, Needed: true, Value: number(usual.To)},
		{Name: mostField, Label: "at most", Unit: "s a day", Shape: form.Number, Needed: true, Value: number(usual.From)},
	}
	for n := range p.Fields {
		if v, ok := q[p.Fields[n].Name]; ok && len(v) > 0 {
			p.Fields[n].Value, p.Changed = strings.TrimSpace(v[0]), true
		}
	}
	part := regulating.Part(q.Get(partField))
	if part != "" && part != regulating.TimingScrews && part != regulating.TimingNuts {
		part = ""
	}
	wish, ok := usual, true
	read := func(name string) float64 {
		f := p.Field(name)
		v, err := form.ParseNumber(f.Value)
		switch {
		case err != nil:
			f.Error, ok = wording.Sentence(wording.Upper(err.Error())), false
		case v < 0 || v > mostWish:
			f.Error, ok = "Write from 0 to 60 s a day; which way is chosen above.", false
		}
		return v
	}
	least, most := read(leastField), read(mostField)
	if ok && !(most > least) {
		p.Field(mostField).Error, ok = "It must be more than the least: a rate is never met to a point.", false
	}
	if ok {
		wish = regulating.Wish{From: least, To: most}
		if p.Field(wayTurned).Value != gaining {
			wish = regulating.Wish{From: -most, To: -least}
		}
		wish.Aim = (wish.From + wish.To) / 2
	}
	return part, wish, ok
}
