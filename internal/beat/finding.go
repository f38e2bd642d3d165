package beat

import (
	"fmt"
	"math"
	"slices"

	"timeball/internal/clock"
	"timeball/internal/robust"
	"timeball/internal/trend"
)

// Gap is a place where sound was lost, or came twice.
type Gap struct {
	AtS      float64 // of the file, s
	MissingS float64 // sound missing there, s, as far as it can be known: less whole beats; negative came twice
	SdS      float64
}

// Words says what is missing there.
func (g Gap) Words() string {
	if g.MissingS < 0 {
		return fmt.Sprintf("%.1f ms of sound twice", -1e3*g.MissingS)
	}
	return fmt.Sprintf("%.1f ms of sound missing", 1e3*g.MissingS)
}

// Finding is what a listener has found.
type Finding struct {
	Heard     bool   // a regular beat was found
	Why       string // it was not, in words; empty if it was
	DurationS float64
	Channel   int // counted from 0
	Band      Band

	PeriodS, PeriodSdS float64 // of one oscillation by the sampling clock
	LoudBeats          int     // in one oscillation: 1 with a detent, 2 with a lever
	PerHour            float64 // vibrations an hour: the usual number it is near, else what was measured
	Usual              bool    // it is near a usual or the told number
	Beats, Missed      int
	JitterS            float64 // standard deviation of the beats about their line

	Rated      bool // there is a rate
	Rate       clock.Rate
	RateSd     float64 // s/d, one standard deviation, from the recording alone
	TeethSd    float64 // the part of it that the escape wheel adds
	WanderSd   float64 // and a slow wander
	Early      bool    // too short yet to tell the escape wheel from a rate
	Teeth      []float64
	TeethSdS   []float64
	Gaps       []Gap
	Faint      int  // beats timed together, 1 if each stands out alone
	Overlapped bool // two instruments beat nearly together: no rate

	Amplitude       float64 // degrees, 0 if not known
	AmplitudeSd     float64
	AmplitudeOthers []float64 // what it would be if another sound were the drop
	DelayS          float64   // unlocking to drop, 0 if not seen
	OutOfBeatS      float64   // half the period less the time to the passing tick; of a lever half the difference of its intervals
	OutOfBeatKnown  bool
	OutOfBeatDeg    float64
	Swings          []Swing

	Second *Second

	Profile []float64 // mean power over one oscillation, from PhaseS before the drop, in the loudest
	Places  Places
	LevelDB float64 // beat over noise
}

// Places are where the sounds of an oscillation lie in Profile, s after its
// beginning; zero where not seen.
type Places struct {
	UnlockS, DropS, TickS float64
}

// Swing is the amplitude at one time of a long recording.
type Swing struct {
	AtS     float64
	Degrees float64
	OutS    float64
	OutOK   bool
}

// Second is another instrument in the sound.
type Second struct {
	PeriodS   float64
	PerHour   float64
	Beats     int
	Less      clock.Rate // its rate less that of the first
	LessSd    float64
	Alike     bool    // it has the same usual beat
	LaterS    float64 // its beat after that of the first, s, if Alike
	LevelDB   float64 // over the first
	Rate      clock.Rate
	RateSd    float64
	RateKnown bool
}

// Stroke is one beat that was heard, or a group of faint ones.
type Stroke struct {
	Number  int64   // counted through beats that were not heard
	AtS     float64 // of the file
	LateS   float64 // about the line
	Level   float64 // in that of the mean beat
	Fit     float64 // likeness to it, 0 to 1
	Beats   int     // in the group
	Used    bool    // in the line
	Segment int     // of sound without a gap
}

// The rules of accepting and refusing.
const (
	leastBeats  = 8
	leastS      = 4
	leastHeard  = 0.7    // of the beats predicted must have been heard
	mostJitterS = 0.0012 // beats that scatter more are no clock's
	mostRateSd  = 20     // s/d
	leastTurns  = 3      // of the escape wheel, before its pattern can be told from a rate
)

// Finding returns what has been found up to now. It may be called at any time;
// trueS, if not nil, turns seconds of the file into true seconds before the line
// is drawn.
func (l *Listener) Finding(trueS func(float64) float64) Finding {
	f := Finding{DurationS: l.Seconds(), Channel: max(0, l.channel)}
	if l.main == nil {
		f.Why = l.why()
		return f
	}
	t := l.main
	f.Band = t.f.band
	f.Faint = t.group
	strokes, line, ok := l.drawn(trueS)
	if !ok {
		f.Why = "too few beats were heard to draw a line through"
		return f
	}
	f.count(t, strokes)
	f.PeriodS, f.PeriodSdS, f.JitterS = line.PeriodS, line.SdS, line.ScatterS
	f.LoudBeats, f.LevelDB = 1, 10*math.Log10(math.Max(t.energy, 1e-9)/((beforeS+afterS)*t.f.rateHz))
	f.RateSd = 86400 * line.SdS / line.PeriodS
	l.others(&f, strokes, line, trueS)
	f.name(l.options.PerHour)
	f.Heard = true
	switch heard := float64(f.Beats) / math.Max(1, float64(f.Beats+f.Missed)); {
	case f.Beats < leastBeats || f.DurationS < leastS:
		f.Heard, f.Why = false, "too few beats to say that they are regular; listen longer"
	case heard < leastHeard:
		f.Heard, f.Why = false, "no regular beat found: what was taken for one was missing more often than not"
	case line.ScatterS > mostJitterS:
		f.Heard, f.Why = false, "no regular beat found: what is heard keeps no time"
	}
	f.Gaps = t.gaps(strokes, line)
	if !f.Heard {
		f.Rated = false
		return f
	}
	f.TeethSd, f.WanderSd = 86400*line.ToothSdS/line.PeriodS, 86400*line.WanderSdS/line.PeriodS
	f.Teeth, f.TeethSdS = line.Teeth, line.ToothSDs
	if d := t.drift(); d != 0 {
		moved := 86400 * math.Abs(d) / f.DurationS
		f.WanderSd, f.RateSd = math.Hypot(f.WanderSd, moved), math.Hypot(f.RateSd, moved)
	}
	f.Early = len(line.Teeth) == 0 && float64(strokes[len(strokes)-1].K-strokes[0].K) < leastTurns*16
	if f.RateSd > mostRateSd {
		f.Rated = false
	}
	f.balance(t, l.options.LiftDeg)
	f.fold(t)
	return f
}

// drawn returns the beats of the main train and their line. They are kept for
// the next call as long as no beat is added.
func (l *Listener) drawn(trueS func(float64) float64) ([]stroke, trend.Line, bool) {
	d := &l.drawing
	if d.strokes == nil || d.count != len(l.main.strokes) || d.true != (trueS != nil) {
		d.strokes, d.count, d.true = l.main.settled(trueS), len(l.main.strokes), trueS != nil
		d.line, d.ok = trend.Fit(d.strokes, l.main.periodS)
	}
	return d.strokes, d.line, d.ok
}

// drawing is a line as it was last drawn.
type drawing struct {
	strokes []stroke
	count   int
	true    bool // in true seconds
	line    trend.Line
	ok      bool
}

// settled returns the strokes of a train in order, in true seconds.
func (t *train) settled(trueS func(float64) float64) []stroke {
	s := slices.Clone(t.strokes)
	slices.SortStableFunc(s, func(a, b stroke) int { return int(a.K - b.K) })
	s = slices.CompactFunc(s, func(a, b stroke) bool { return a.K == b.K })
	for i := range s {
		s[i].At -= t.f.delayS
		if trueS != nil {
			s[i].At = trueS(s[i].At)
		}
	}
	return s
}

// count counts beats heard and missed; where there was no sound at all, none
// could be heard.
func (f *Finding) count(t *train, strokes []stroke) {
	for i, s := range strokes {
		f.Beats += int(s.N)
		if i > 0 {
			before := strokes[i-1]
			f.Missed += max(0, int(s.K-before.K)-int(before.N))
		}
	}
	if t.group == 1 { // what came after the last beat heard
		f.Missed += int(math.Max(0, float64(t.f.tape.Length)/t.f.rateHz-(strokes[len(strokes)-1].At+t.f.delayS)-1) / t.periodS)
	}
	f.Missed = max(0, f.Missed-t.silent)
}

// gaps returns where the sound jumps.
func (t *train) gaps(strokes []stroke, line trend.Line) []Gap {
	var out []Gap
	for i := 1; i < len(strokes); i++ {
		a, b := strokes[i-1], strokes[i]
		if a.Segment == b.Segment {
			continue
		}
		late := line.Places[b.Segment] - line.Places[a.Segment]
		late -= t.wholes(late)
		if math.Abs(late) < 3*line.ScatterS/math.Sqrt(4) && math.Abs(late) < 0.0003 {
			continue
		}
		na, nb := 0, 0
		for j := i - 1; j >= 0 && strokes[j].Segment == a.Segment; j-- {
			na++
		}
		for j := i; j < len(strokes) && strokes[j].Segment == b.Segment; j++ {
			nb++
		}
		out = append(out, Gap{AtS: (a.At + b.At) / 2, MissingS: -late, SdS: line.ScatterS * math.Sqrt(1/float64(na)+1/float64(nb))})
	}
	return out
}

// wholes returns the multiple of the period nearest to s.
func (t *train) wholes(s float64) float64 { return math.Round(s/t.periodS) * t.periodS }

// name finds the usual beat that the period is near, and the rate against it.
func (f *Finding) name(told float64) {
	f.PerHour = 7200 / f.PeriodS
	try := func(perHour float64, near float64) bool {
		for _, period := range []float64{7200 / perHour, 3600 / perHour} {
			if d := f.PeriodS/period - 1; math.Abs(d) <= near {
				f.PerHour, f.Usual, f.Rated = perHour, true, true
				f.Rate = clock.Rate(86400 * (period/f.PeriodS - 1))
				return true
			}
		}
		return false
	}
	if told > 0 {
		try(told, 2*nearNominal)
		return
	}
	for _, n := range nominals {
		if n.loud == f.LoudBeats {
			if d := f.PeriodS/(7200/n.perHour) - 1; math.Abs(d) <= nearNominal {
				f.PerHour, f.Usual, f.Rated = n.perHour, true, true
				f.Rate = clock.Rate(86400 * (7200/n.perHour/f.PeriodS - 1))
				return
			}
		}
	}
	for _, n := range nominals {
		if try(n.perHour, nearNominal) {
			return
		}
	}
}

// balance reads amplitude and beat from the mean sound.
func (f *Finding) balance(t *train, liftDeg float64) {
	g := t.read()
	if n := len(t.swings); n > 1 { // the mean of all is blurred where the amplitude changes
		g = t.swings[n-1]
	}
	if f.LoudBeats == 1 && g.outOK && (f.Second == nil || !f.Second.Alike) && math.Abs(g.outS) < 0.08*f.PeriodS {
		f.OutOfBeatS, f.OutOfBeatKnown = g.outS, true
	}
	if g.ok {
		f.DelayS = g.delayS
	}
	if liftDeg <= 0 || !g.ok {
		return
	}
	degrees := func(delayS, outS float64, known bool) (a, u float64) {
		u = -liftDeg / 2
		if f.LoudBeats == 1 {
			u = 0
		}
		for range 5 {
			a = Amplitude(f.PeriodS, delayS, liftDeg, u)
			if !known || f.LoudBeats == 2 {
				break
			}
			u = OutOfBeat(f.PeriodS, outS, a)
		}
		return a, u
	}
	f.swings(t, degrees)
	a, u := degrees(g.delayS, f.OutOfBeatS, f.OutOfBeatKnown)
	if len(f.Swings) > 1 { // where it changes, its middle
		var all []float64
		for _, s := range f.Swings {
			all = append(all, s.Degrees)
		}
		a = robust.Median(all)
	}
	if a < liftDeg/2 || a > 400 {
		return
	}
	// The model leaves out the losses of one swing and the push of the wheel.
	const model = 0.01
	// How well the place of a sound is read: half the rise of an event.
	const readS = 4e-5
	f.Amplitude = a
	f.AmplitudeSd = math.Hypot(model*a, a/g.delayS*readS)
	for _, o := range g.others {
		if b, _ := degrees(o, f.OutOfBeatS, f.OutOfBeatKnown); b > liftDeg/2 && b < 400 {
			f.AmplitudeOthers = append(f.AmplitudeOthers, b)
		}
	}
	if f.OutOfBeatKnown {
		f.OutOfBeatDeg = u
		if f.LoudBeats == 2 {
			f.OutOfBeatDeg = OutOfBeat(f.PeriodS, f.OutOfBeatS, a)
		}
	}
}

// swings fills in the amplitude along a long recording.
func (f *Finding) swings(t *train, degrees func(delayS, outS float64, known bool) (a, u float64)) {
	for _, s := range t.swings {
		if b, _ := degrees(s.delayS, s.outS, s.outOK && math.Abs(s.outS) < 0.08*f.PeriodS); b > 0 && b < 400 {
			f.Swings = append(f.Swings, Swing{AtS: s.atS - t.f.delayS, Degrees: b, OutS: s.outS, OutOK: s.outOK})
		}
	}
}

// drift returns how much later the drop comes after the unlocking at the end of
// a recording than at its beginning, s: the rate is that of the drop, and the
// balance itself is off by it.
func (t *train) drift() float64 {
	n := len(t.swings)
	if n < 2 {
		return 0
	}
	part := max(1, n/4)
	mean := func(s []swing) float64 {
		var all []float64
		for _, g := range s {
			all = append(all, g.delayS)
		}
		return robust.Median(all)
	}
	// What a reading can be off by itself is no drift.
	const seen = 6e-5
	if d := mean(t.swings[n-part:]) - mean(t.swings[:part]); math.Abs(d) > seen {
		return d * float64(n) / float64(n-part) // from end to end, not from middle to middle of the parts
	}
	return 0
}

// leadShare is the share of the period before the beat in a folded beat.
const leadShare = 0.25

// fold fills in the mean power over one oscillation, from the newest minute.
func (f *Finding) fold(t *train) {
	binS := t.f.binS()
	n := int(f.PeriodS / binS)
	f.Profile = make([]float64, n)
	count := 0.0
	for i := len(t.strokes) - 1; i >= 0 && count < 120; i-- {
		s := t.strokes[i]
		if s.N != 1 && t.group == 1 {
			continue
		}
		first := int64(math.Round((s.At - leadShare*f.PeriodS) / binS))
		if first < t.f.bins.From() || first+int64(n) > t.f.bins.Count {
			continue
		}
		for j := range f.Profile {
			f.Profile[j] += t.f.bins.At(first + int64(j))
		}
		count++
	}
	for j := range f.Profile {
		f.Profile[j] /= math.Max(1, count)
	}
	g := t.read()
	lead := leadShare * f.PeriodS
	if g.ok {
		f.Places.UnlockS, f.Places.DropS = lead+g.unlockS-beforeS, lead+g.dropS-beforeS
		if g.outOK {
			f.Places.TickS = f.Places.UnlockS + g.passS
		}
	} else {
		f.Places.DropS = lead
	}
}

// Strokes calls each with every beat heard, in order.
func (l *Listener) Strokes(trueS func(float64) float64, each func(Stroke)) {
	if l.main == nil {
		return
	}
	strokes, line, ok := l.drawn(trueS)
	if trueS != nil {
		strokes = l.main.settled(nil)
	}
	drop := l.main.dropOffset()
	for i, s := range strokes {
		out := Stroke{Number: s.K - strokes[0].K, AtS: s.At + drop, Level: float64(s.Level), Fit: float64(s.Fit), Beats: int(s.N), Segment: int(s.Segment)}
		if ok {
			out.LateS, out.Used = line.Rest[i], line.Weight[i] > 0
		}
		each(out)
	}
}

// dropOffset returns how much later than its reference the drop of a beat
// begins, s.
func (t *train) dropOffset() float64 {
	if g := t.read(); g.ok {
		return g.dropS - beforeS
	}
	return 0
}

// why says why nothing was found.
func (l *Listener) why() string {
	top := slices.Max(l.loudest)
	var clipped int64
	for _, c := range l.clipped {
		clipped = max(clipped, c)
	}
	switch {
	case l.frames == 0:
		return "there is no sound in it at all"
	case top == 0:
		return "it is silent throughout; see whether the microphone was switched on"
	case l.Seconds() < leastS:
		return "it is too short: four seconds are the least in which a beat can be known"
	case top < 1e-4:
		return "no regular beat found; it is all but silent, so bring the microphone nearer"
	case float64(clipped) > 0.01*float64(l.frames):
		return "no regular beat found; the sound is too loud for the recorder, so turn it down or move away"
	}
	return "no regular beat found"
}
