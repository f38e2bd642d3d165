package hearing

import (
	"bytes"
	"context"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"strings"
	"time"

	"timeball/internal/chart"
	"timeball/internal/chart/heard"
	"timeball/internal/clock"
	"timeball/internal/listening"
	"timeball/internal/workshop"
)

//go:embed panel.html
var panelText string

var panelTemplate = template.Must(template.New("panel").Parse(panelText))

// Panel is what a page shows of a listening.
type Panel struct {
	Lead    string // the rate, or what there is instead of it
	Half    string // its 95% interval
	Verdict string
	Enough  string // good enough, or long enough; empty: it is not
	Trouble bool
	Made    string // what the interval consists of, where it is not drawn
	Figures []Figure
	Drawn   []Drawing
	Dial    string // the error a comparison would have; empty if it cannot be made yet
	DialBy  string // by what its whole beats are told
	Ask     bool   // a tap must tell the whole beats
	Step    string // what of the dial the sound cannot tell apart
	Against string // why UTC cannot be compared with
	Remarks []string
}

// Figure is one of the figures under a rate.
type Figure struct{ Label, Words, After, Below string }

// Drawing is a drawing at both widths.
type Drawing struct {
	ID, Title, About string
	Wide, Narrow     template.HTML
}

// Between two panels, and how many times its own making that is at least, up to
// panelSeldom.
const (
	panelEvery  = 400 * time.Millisecond
	panelSeldom = 2 * time.Second
	drawEvery   = 2 * time.Second // so that drawings do not flicker
	calm        = 8
)

// Panel returns the inside of the panel; it is made anew when sound has come,
// and takes an eighth of the time at most, or shows it every two seconds.
func (s *Sitting) Panel(context.Context) (string, int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	now := s.room.now()
	if s.html != "" && (!s.fresh || now.Sub(s.made) < min(max(panelEvery, calm*s.took), panelSeldom) && !s.over) {
		return s.html, s.version
	}
	s.update()
	s.fresh = false
	html := s.render()
	s.made = now
	s.took = s.room.now().Sub(now)
	if html != s.html {
		s.html = html
		s.version++
	}
	return s.html, s.version
}

// Shown returns the inside of the panel for a page.
func (s *Sitting) Shown() template.HTML {
	html, _ := s.Panel(context.Background())
	return template.HTML(html) //nolint:gosec // made by a template here
}

func (s *Sitting) render() string {
	var b bytes.Buffer
	if err := panelTemplate.Execute(&b, s.panel()); err != nil {
		panic(fmt.Errorf("panel of a listening: %w", err))
	}
	return b.String()
}

// panel puts into words what is heard; the sitting is locked.
func (s *Sitting) panel() Panel {
	h := s.heard
	p := Panel{Verdict: verdict(h), Step: StepWords(s.beatS)}
	if h.Enough() {
		p.Enough = h.EnoughWords()
	}
	for _, r := range h.Remarks {
		p.Remarks = append(p.Remarks, sentence(r))
	}
	if s.sound != nil && s.sound.full {
		p.Remarks = append(p.Remarks, "The sound to keep is full: what comes now is heard and not kept.")
	}
	if !h.Heard {
		switch {
		case s.over:
			p.Lead, p.Trouble = "No rate", true
		case s.live == nil:
			p.Lead, p.Verdict = "Not yet listened to", "Press Listen. The rate comes after some seconds, and its doubt shrinks as you go on; half a minute makes a comparison."
		case h.DurationS < 8:
			p.Lead, p.Verdict = "Nothing yet", "Listening for a regular beat; four seconds are the least."
		default:
			p.Lead = "Nothing yet"
		}
		return p
	}
	if h.Rated && !h.Overlapped {
		half := listening.Normal * h.Sd
		p.Lead, p.Half = upper(h.TrueRate.Words(half)), "a day "+h.TrueRate.HalfWidth(half)
	} else if p.Lead, p.Trouble = "No rate", true; h.Usual && !h.Overlapped && !s.over {
		p.Lead, p.Trouble = "No rate yet", false
	}
	p.Figures = s.figures(h)
	if s.live == nil && h.Rated && !h.Overlapped {
		p.Made = made(h)
	}
	s.against(&p)
	if now := s.room.now(); s.over || len(s.drawn) == 0 || now.Sub(s.drawnAt) >= drawEvery {
		s.drawnAt = now
		s.drawn = s.draw(h, p.Dial != "")
	}
	p.Drawn = s.drawn
	return p
}

// draw draws what is heard; told says that its whole beats are.
func (s *Sitting) draw(h listening.Hearing, told bool) []Drawing {
	var p drawings
	if h.Rated && !h.Overlapped && s.live != nil { // a recording is heard at once
		p.add("doubt", "The rate and its doubt", "How the rate came to be known, and what its 95% interval consists of.", h.Doubt(s.live.Course()).Figure)
	}
	p.add("line", "The beats against their line", "Each beat, early or late against the line of the rate. A slope is gone into the rate; a step is sound that was lost.", h.Line().Figure)
	p.add("fold", "One oscillation", "The sound of the last beats laid over each other.", h.Beat().Figure)
	if len(h.Teeth) > 0 {
		p.add("teeth", "The escape wheel", "How early or late each tooth brings the beat.", h.TeethPattern().Figure)
	}
	if c, ok := s.sounded(nil, ""); ok {
		p.add("phase", "The beat against UTC", "Where in the beat of UTC the beat of the dial falls; the delay of the microphone is taken off in the comparison.", s.inBeat(c, told).Figure)
	}
	return p
}

// made says what the interval of a rate consists of.
func made(h listening.Hearing) string {
	var parts []string
	for _, p := range h.Parts() {
		parts = append(parts, fmt.Sprintf("%s ±%.2g s", p.Words, listening.Normal*p.Sd))
	}
	return "Of the interval, " + strings.Join(parts, ", ") + " a day; they add as their squares do."
}

// verdict is the verdict beside a tag that says that it is enough.
func verdict(h listening.Hearing) string {
	words, enough := strings.CutPrefix(h.Verdict(), h.EnoughWords())
	if words = strings.TrimPrefix(words, "; "); enough && words == "" {
		words = "longer listening would change little"
	}
	return sentence(words)
}

// against says what a comparison would be.
func (s *Sitting) against(p *Panel) {
	if s.live == nil {
		return
	}
	c, ok := s.sounded(nil, "")
	switch {
	case !s.standard.Known:
		p.Against = "UTC is not known here to any bound, so this listening gives a rate and no comparison."
	case !ok:
		p.Against = "Where the beat falls against UTC is known after a few more beats."
	case !workshop.Tells(c.Near, c.BeatS):
		p.Ask = true
	default:
		errorS, _ := c.SoundedError()
		half := listening.Normal * math.Sqrt(c.SDS*c.SDS+c.LatencySDS*c.LatencySDS+s.phase.BoundS*s.phase.BoundS/3)
		p.Dial, p.DialBy = upper(clock.DialError(errorS).Words(half))+" "+clock.DialError(errorS).HalfWidth(half), taken[c.Taken]
	}
}

// inBeat is where in the beat of UTC the beat of the dial falls.
func (s *Sitting) inBeat(c workshop.Sounded, told bool) heard.Phase {
	d := heard.Phase{BeatS: c.BeatS, AfterS: math.Mod(s.phase.At.Sub(s.phase.At.Truncate(24*time.Hour)).Seconds(), c.BeatS), PlusMinusS: listening.Normal * math.Hypot(c.SDS, c.LatencySDS), Of: StepWords(c.BeatS)}
	if c.Near.Known {
		d.Forecast = &heard.Error{FastS: c.Near.ErrorS, PlusMinusS: c.Near.HalfS}
		errorS, _ := c.SoundedError()
		for n := -2; n <= 2; n++ {
			d.Candidates = append(d.Candidates, heard.Candidate{FastS: errorS + float64(n)*c.BeatS, Taken: n == 0 && told})
		}
		d.Why = "nearest to the forecast"
		if !told {
			d.Why = "the forecast is too wide to tell"
		}
	}
	return d
}

// StepWords names a step of a dial of s seconds; 0 is one that is not known.
func StepWords(s float64) string {
	switch s {
	case 0:
		return "step of its dial"
	case 0.5:
		return "half-second"
	case 0.2:
		return "fifth of a second"
	}
	return fmt.Sprintf("step of %g s", s)
}

// figures are the figures beside the rate.
func (s *Sitting) figures(h listening.Hearing) []Figure {
	lost := "none missed"
	if h.Missed > 0 {
		lost = fmt.Sprintf("%d missed", h.Missed)
	}
	all := []Figure{
		{Label: "Beats", Words: fmt.Sprint(h.Beats), After: lost, Below: fmt.Sprintf("%.0f vibrations an hour", h.PerHour)},
		{Label: "They scatter by", Words: fmt.Sprintf("%.0f µs", 1e6*h.JitterS), Below: fmt.Sprintf("over %s", lasting(h.DurationS))},
		{Label: "Sampling clock", Words: fmt.Sprintf("±%.1f s", listening.Normal*h.Timebase.SdRate()), After: "a day", Below: h.Timebase.Source.Words()},
	}
	if h.Amplitude > 0 {
		f := Figure{Label: "Amplitude", Words: fmt.Sprintf("%.0f°", h.Amplitude), After: fmt.Sprintf("±%.0f°", math.Ceil(listening.Normal*h.AmplitudeSd))}
		if len(h.AmplitudeOthers) > 0 {
			f.Below = fmt.Sprintf("or %.0f°, if the other loud sound is the drop", h.AmplitudeOthers[0])
		}
		all = append(all, f)
	}
	if h.OutOfBeatKnown {
		f := Figure{Label: "Out of beat", Words: fmt.Sprintf("%.2f ms", 1e3*math.Abs(h.OutOfBeatS))}
		if h.Amplitude > 0 {
			f.Below = fmt.Sprintf("%.1f° of the balance", math.Abs(h.OutOfBeatDeg))
		}
		all = append(all, f)
	}
	if o := h.Second; o != nil {
		f := Figure{Label: "Another instrument", Words: fmt.Sprintf("%.0f an hour", o.PerHour)}
		if o.Alike {
			f.Below = fmt.Sprintf("%s a day against this one, %.0f ms later", o.Less.Words(listening.Normal*o.LessSd), 1e3*o.LaterS)
		}
		all = append(all, f)
	}
	return all
}

func lasting(s float64) string {
	if s < 120 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.1f min", s/60)
}

type drawings []Drawing

func (d *drawings) add(id, title, about string, draw func(chart.Size) heard.Figure) {
	*d = append(*d, Drawing{
		ID: "heard-" + id, Title: title, About: about,
		Wide:   template.HTML(draw(chart.Wide()).SVG()),   //nolint:gosec // made by the chart, which escapes words
		Narrow: template.HTML(draw(chart.Narrow()).SVG()), //nolint:gosec // likewise
	})
}

func upper(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func sentence(s string) string { return strings.TrimSuffix(upper(s), ".") + "." }
