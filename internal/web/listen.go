package web

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/listening"
	"timeball/internal/observe"
	"timeball/internal/timebase"
	"timeball/internal/web/bench"
	"timeball/internal/web/form"
	"timeball/internal/web/hearing"
	"timeball/internal/web/wording"
	"timeball/internal/workshop"
)

// listenPage is where an instrument is listened to.
type listenPage struct {
	frame
	Back      []link
	Number    string
	At        string
	Lead      string
	Barred    string
	Wrong     string // with a recording that was sent
	Live      bool   // by the microphone
	Kept      bool   // a recording was sent and heard
	Sitting   string
	Socket    string
	Panel     template.HTML
	RateID    chronometer.ID
	DialID    chronometer.ID
	Positions []string
	By        string
	Expected  string
	Hint      string
	Lift      string
	Timebase  string // of the recorder, as it was sent
	Pulse     string // channel of the pulses, likewise
	Step      string // what of the dial the sound cannot tell apart
	Tells     bool   // the forecast does
}

// listenTo returns the page for an instrument and a sitting.
func (s *site) listenTo(r *http.Request, seen workshop.Seen, sitting *hearing.Sitting) (listenPage, error) {
	number, at := seen.Instrument.Number, pathOf(r)
	p := listenPage{
		frame: s.frame("Listen to No. "+number, "room"), Number: number, At: at, Live: true, Sitting: sitting.ID, By: author(r), Hint: chronometer.RecordingHint,
		Socket: "/listen/" + sitting.ID + "/sound", Panel: sitting.Shown(), Positions: chronometer.Position("").Choices(),
		Lead: "Find its rate in minutes, and where its beat falls against UTC.",
	}
	p.Back = []link{{"The room", "/"}, {"No. " + number, at}}
	p.Doubt = true
	p.Barred = bench.NewTapping(seen, "", at, "").Barred
	if seen.Current {
		p.Expected = wording.Error(seen.ErrorNow).String()
	}
	beatS := seen.Instrument.Beat.Seconds()
	p.Step, p.Tells = hearing.StepWords(beatS), workshop.Tells(seen.Expected(s.now()), beatS)
	var err error
	if p.RateID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindListened); err != nil {
		return p, err
	}
	p.DialID, err = s.workshop.NewID(r.Context(), seen.ID, chronometer.KindCompared)
	return p, err
}

func (s *site) listen(w http.ResponseWriter, r *http.Request) error {
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	text := lastLift(seen)
	if r.URL.Query().Has("lift") {
		text = r.URL.Query().Get("lift")
	}
	lift, err := parseLift(text)
	if err != nil {
		return err
	}
	p, err := s.listenTo(r, seen, s.listenings.Open(seen, lift))
	if err != nil {
		return err
	}
	p.Lift = text
	s.show(w, http.StatusOK, "listen", p)
	return nil
}

// lastLift returns the lift angle with which it was listened to last, degrees;
// empty if it never was with one.
func lastLift(seen workshop.Seen) string {
	for _, e := range slices.Backward(seen.Logbook.Standing()) {
		if l, ok := e.Fact.(chronometer.Listened); ok && l.LiftAngleDeg > 0 {
			return strconv.FormatFloat(l.LiftAngleDeg, 'g', -1, 64)
		}
	}
	return ""
}

// parseLift reads a lift angle; empty is none.
func parseLift(text string) (float64, error) {
	if strings.TrimSpace(text) == "" {
		return 0, nil
	}
	v, err := form.ParseNumber(text)
	if err != nil || !(v >= 5 && v <= 120) {
		return 0, fmt.Errorf("%w: lift angle %.20q is not between 5 and 120 degrees", chronometer.ErrEntry, text)
	}
	return v, nil
}

// errNoListening is said where a listening is not kept any more.
var errNoListening = fmt.Errorf("%w: this listening is not kept any more; open the page again and listen anew", chronometer.ErrRefused)

// sitting returns the listening in the address.
func (s *site) sitting(r *http.Request) (*hearing.Sitting, error) {
	sitting, ok := s.listenings.Sitting(r.PathValue("sitting"))
	if !ok {
		return nil, errNoListening
	}
	return sitting, nil
}

// sound takes the sound of a page over a socket.
func (s *site) sound(w http.ResponseWriter, r *http.Request) error {
	serve := hearing.Refuse
	if sitting, err := s.sitting(r); err == nil {
		serve = sitting.Serve
	}
	if err := serve(w, r); err != nil {
		s.log.Debug("sound of a page ended", "error", err)
	}
	return nil
}

// listenToFile listens to a recording that is sent, and keeps it.
func (s *site) listenToFile(w http.ResponseWriter, r *http.Request) error {
	sent, err := s.readHeard(w, r)
	if err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return err
	}
	lift, err := parseLift(sent.values.Get("lift"))
	if err != nil {
		return err
	}
	sitting := s.listenings.Open(seen, lift)
	p, err := s.listenTo(r, seen, sitting)
	if err != nil {
		return err
	}
	p.Lift, p.Timebase, p.Pulse = sent.values.Get("lift"), sent.values.Get("timebase"), sent.values.Get("pulse")
	if sent.wrong == "" {
		sent.wrong, err = s.hearFile(r, sitting, sent)
		if err != nil {
			return err
		}
	}
	if sent.wrong != "" {
		p.Wrong = sent.wrong
		s.show(w, http.StatusUnprocessableEntity, "listen", p)
		return nil
	}
	p.Live, p.Kept = false, true
	p.Lead = "What the recording " + sent.recording.Name + " says."
	p.Panel = sitting.Shown()
	s.show(w, http.StatusOK, "listen", p)
	return nil
}

// hearFile listens to the recording that was sent; wrong is what is wrong with
// it.
func (s *site) hearFile(r *http.Request, sitting *hearing.Sitting, sent sentSound) (wrong string, err error) {
	say := func(err error) string { return wording.Sentence(wording.Upper(wording.Plain(err, ""))) }
	if sent.recording == nil {
		return "Choose a recording first: " + chronometer.RecordingHint + ".", nil
	}
	var o listening.Options
	if text := strings.TrimSpace(sent.values.Get("timebase")); text != "" {
		if o.Timebase, err = timebase.Parse(text); err != nil {
			return say(err), nil
		}
	}
	if text := strings.TrimSpace(sent.values.Get("pulse")); text != "" {
		if o.PulseChannel, err = strconv.Atoi(text); err != nil {
			return "The channel of the pulses is no number; channels are counted from 1.", nil
		}
	}
	_, file, err := s.workshop.Attachment(r.Context(), sent.recording.SHA256)
	if err != nil {
		return "", err
	}
	defer func() { _ = file.Close() }()
	if err := sitting.ReadFile(r.Context(), file, *sent.recording, o); err != nil {
		if r.Context().Err() != nil {
			return "", err
		}
		return say(err), nil
	}
	return "", nil
}

// keepRate writes the rate that is heard.
func (s *site) keepRate(w http.ResponseWriter, r *http.Request) error {
	sitting, id, by, err := s.keeping(w, r)
	if err != nil {
		return err
	}
	l, at, ok := sitting.Rate()
	if !ok {
		return fmt.Errorf("%w: there is no rate to keep: %s", chronometer.ErrRefused, sitting.Hearing().Verdict())
	}
	l.Position, l.Note = chronometer.Position(r.PostForm.Get("position")), strings.TrimSpace(r.PostForm.Get("note"))
	if l.Recording, err = s.keptSound(r, sitting); err != nil {
		return err
	}
	e, err := s.workshop.WriteOnce(r.Context(), id, by, sitting.Subject, at, l)
	if err != nil {
		return err
	}
	remember(w, r, by)
	return wrote(w, r, pathOf(r)+"?wrote="+url.QueryEscape(string(e.ID)), e.Kind().Title()+wording.After(": ", e.Fact.Words()))
}

// keeping reads what both forms have in common.
func (s *site) keeping(w http.ResponseWriter, r *http.Request) (*hearing.Sitting, chronometer.ID, string, error) {
	if err := parse(w, r); err != nil {
		return nil, "", "", err
	}
	sitting, err := s.sitting(r)
	if err != nil {
		return nil, "", "", err
	}
	id, err := chronometer.ParseID(r.PostForm.Get(form.IDName))
	if err != nil {
		return nil, "", "", err
	}
	seen, err := s.workshop.See(r.Context(), r.PathValue("number"))
	if err != nil {
		return nil, "", "", err
	}
	if seen.ID != sitting.Subject {
		return nil, "", "", fmt.Errorf("%w: this listening is of No. %s; open the page of this instrument and listen anew", chronometer.ErrRefused, sitting.Number)
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if by == "" {
		return nil, "", "", fmt.Errorf("%w: nobody is named; say who listens", chronometer.ErrEntry)
	}
	return sitting, id, by, nil
}

// keptSound keeps the sound if the form asks for it.
func (s *site) keptSound(r *http.Request, sitting *hearing.Sitting) (*chronometer.Recording, error) {
	if r.PostForm.Get("recording") == "" {
		return nil, nil
	}
	return sitting.Keep(r.Context())
}

// tapHalfS is how far one tap may lie from its mark, s, to 95%: one press
// scatters by 0.07 s (Am. J. Phys. 87 (2019) 110), and taps lead or lag.
const tapHalfS = 0.19

// keepComparison writes where the beat falls against UTC.
func (s *site) keepComparison(w http.ResponseWriter, r *http.Request) error {
	sitting, id, by, err := s.keeping(w, r)
	if err != nil {
		return err
	}
	seen, err := s.workshop.See(r.Context(), string(sitting.Subject))
	if err != nil {
		return err
	}
	near, from, err := tapped(seen, r.PostForm.Get("tap_ms"), r.PostForm.Get("dial"))
	if err != nil {
		return err
	}
	c, ok := sitting.Sounded(near, from)
	if !ok {
		return fmt.Errorf("%w: where the beat falls against UTC is not known yet; listen for half a minute, and see that UTC is known", chronometer.ErrRefused)
	}
	c.Observer, c.Note = by, strings.TrimSpace(r.PostForm.Get("note"))
	if c.Recording, err = s.keptSound(r, sitting); err != nil {
		return err
	}
	e, err := s.workshop.CompareBySound(r.Context(), id, by, sitting.Subject, c)
	if err != nil {
		return err
	}
	return s.wroteComparison(w, r, by, seen.ID, e)
}

// tapped returns what the dial was by one tap, at which it showed dial or, if
// that is empty, a whole minute; nothing if neither came.
func tapped(seen workshop.Seen, tapMS, dial string) (*observe.Near, chronometer.Taken, error) {
	dial = strings.TrimSpace(dial)
	if tapMS == "" && dial == "" {
		return nil, "", nil
	}
	if tapMS == "" {
		return nil, "", fmt.Errorf("%w: a reading tells the beat only with the instant at which it was made; press Tap as the seconds hand passes the mark, and write what the dial showed", chronometer.ErrEntry)
	}
	ms, err := strconv.ParseFloat(tapMS, 64)
	if err != nil || !(ms > 0 && ms < 1e14) {
		return nil, "", fmt.Errorf("%w: the instant of the tap came damaged; tap again", chronometer.ErrEntry)
	}
	at := time.UnixMicro(int64(1000 * ms)).UTC()
	near := seen.Expected(at)
	if dial == "" {
		const told = 25 // s, within which the minute is beyond doubt
		if !near.Known || near.HalfS > told {
			return nil, "", fmt.Errorf("%w: no forecast tells which minute it was; write what the dial showed at the tap", chronometer.ErrEntry)
		}
		past := at.Sub(at.Truncate(time.Minute)).Seconds()
		return &observe.Near{ErrorS: 60*math.Round((near.ErrorS+past)/60) - past, HalfS: tapHalfS, Known: true}, chronometer.TakenTap, nil
	}
	reading, err := clock.ParseDial(dial)
	if err != nil {
		return nil, "", fmt.Errorf("%w: the dial: %w", chronometer.ErrEntry, err)
	}
	errorS := float64(seen.Instrument.ClockDial().Error(reading, at, clock.DialError(near.ErrorS)))
	return &observe.Near{ErrorS: errorS, HalfS: tapHalfS, Known: true}, chronometer.TakenTap, nil
}
