package abreast

import (
	"fmt"
	"math"
	"net/url"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/clock"
	"timeball/internal/together"
	"timeball/internal/together/bestutc"
	"timeball/internal/web/form"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// UTC is what time several instruments make it between them.
type UTC struct {
	Words  []string
	Voices []Voice
	Read   bool // from dials that were read, not only by how well each is known
	Form   form.Form
}

// Voice is what one instrument says of the time.
type Voice struct {
	Number string
	Within string // how well it tells UTC: "±0.31 s"
	Weight string // "42 in 100"
	Stands string // against the others together; empty if no dial was read
	Aside  string // why it is set aside; empty if it is not
}

// readingSDS is the standard deviation of reading a dial by eye, s.
const readingSDS = 0.25

// dialField names the field of the nth instrument.
func dialField(n int) string { return fmt.Sprintf("dial-%d", n+1) }

// newUTC returns the time that instruments make it between them: from the
// dials in answers, or how well they would tell it if none were given.
func newUTC(seens []workshop.Seen, t adjust.Together, answers url.Values) UTC {
	u := UTC{Form: form.Form{
		Action: "/together", Button: "Find UTC",
		When: &form.Field{Name: "at", Label: "All read at", Unit: "UTC, about", Hint: "now, such as 09:12:30 today, or 2027-03-04 09:12:30", Shape: form.Line, Value: "now"},
	}}
	for i, seen := range seens {
		u.Form.Fields = append(u.Form.Fields, form.Field{Name: dialField(i), Label: "Dial of No. " + seen.Instrument.Number, Hint: "h:mm:ss, such as 9:12:13; empty if it was not read", Shape: form.Line})
	}
	u.Form.Fill(answers)
	at := seens[0].Now
	if when := u.Form.At(at); !when.IsZero() {
		at = when
	}
	readings := map[string]clock.DialReading{}
	for i, seen := range seens {
		x := u.Form.Field(dialField(i))
		if strings.TrimSpace(x.Value) == "" {
			continue
		}
		r, err := clock.ParseDial(strings.TrimSpace(x.Value))
		if err != nil {
			x.Error = wording.Sentence(strings.TrimPrefix(err.Error(), clock.ErrDialReading.Error()+": "))
			continue
		}
		readings[seen.Instrument.Number] = r
	}
	switch {
	case len(readings) > 0 && u.Form.OK():
		best, err := adjust.Dials(seens, at, readings, readingSDS)
		if err != nil {
			u.Form.Problem = wording.Sentence(strings.TrimPrefix(err.Error(), together.ErrAlone.Error()+": "))
			break
		}
		u.Read, u.Words = true, best.Words
		u.voices(best)
		return u
	}
	if t.BestOf == 0 {
		u.Words = []string{"None of them tells the time now; compare them first."}
		return u
	}
	half := math.Max(t.Best.Hi95-t.Best.OffsetS, t.Best.OffsetS-t.Best.Lo95)
	from := wording.Counted(t.BestOf, "instrument", "instruments")
	if t.BestOf > 1 {
		from = "all " + from + " together"
	}
	u.Words = []string{"If all time signals failed now, " + from + " would tell UTC to " + clock.DialError(0).HalfWidth(half) + " s, besides what reading the dials adds."}
	u.voices(t.Best)
	return u
}

func (u *UTC) voices(b bestutc.Estimate) {
	for _, v := range b.Voices {
		row := Voice{Number: v.Name, Within: clock.DialError(0).HalfWidth(z95*v.SD) + " s", Weight: fmt.Sprintf("%.0f in 100", 100*v.Weight), Aside: v.Reason}
		if v.Weight > 0 && v.Weight < 0.005 {
			row.Weight = "under 1 in 100"
		}
		if v.Reason != "" {
			row.Weight = "none"
		}
		if u.Read && v.AsideSD > 0 {
			row.Stands = errorFigure(v.AsideS, z95*v.AsideSD).String()
		}
		u.Voices = append(u.Voices, row)
	}
}
