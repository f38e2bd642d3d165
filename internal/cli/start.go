package cli

import (
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"

	"timeball/internal/clock"
	"timeball/internal/setting"
	"timeball/internal/timescale"
)

const (
	// startBeatS is the beat to which a wanted error is rounded, that of a
	// box chronometer.
	startBeatS = 0.5
	second     = "2 Jan 2006 15:04:05.999"
)

// startFlags are the flags of start.
type startFlags struct {
	dial            int
	hands           string
	seconds         float64
	ready, turn     time.Duration
	errorS          float64
	rate, intervalD float64
	at              string
	json            bool
}

func (c console) start() *cobra.Command {
	var f startFlags
	cmd := &cobra.Command{
		Use:   "start --dial 12 --hands H:MM --seconds S",
		Short: "the starting plan",
		Long: `Tells how to set the hands while the balance is held, and at which instant of
UTC to start, so that the dial begins with the error wanted.

The seconds hand is never touched, so the start comes in the second at which it
rests, and the minute hand must stand as far past its mark as the seconds hand
has gone round. The hands are turned forward only. Two plans are given: the
soonest, and the one that waits until UTC comes to the hands as they rest.

--hands is what hour and minute hand show now, h:mm for the mark that the minute
hand has passed, or h:mm.m if it does not agree with the seconds hand.`,
		Example: "  timeball start --dial 12 --hands 8:01 --seconds 45 --rate -0.7 --interval 30\n" +
			"  timeball start --dial 24 --hands 12:40 --seconds 20 --at 2027-03-04T12:00:00Z --json",
		Args: noArgs,
		RunE: does(func(cmd *cobra.Command, _ []string) error {
			ask, err := f.ask(cmd, c.now)
			if err != nil {
				return err
			}
			p, err := setting.Starting(ask)
			if err != nil {
				return usage("%s", err)
			}
			if f.json {
				return writeJSON(c.out, newStarting(ask, p))
			}
			return reportStart(c.out, ask, p)
		}),
	}
	cmd.Flags().IntVar(&f.dial, "dial", 0, "hours on the dial, 12 or 24 (needed)")
	cmd.Flags().StringVar(&f.hands, "hands", "", "what hour and minute hand show, h:mm or h:mm.m (needed)")
	cmd.Flags().Float64Var(&f.seconds, "seconds", 0, "where the seconds hand rests, s (needed)")
	cmd.Flags().DurationVar(&f.ready, "ready", 2*time.Minute, "time to get ready")
	cmd.Flags().DurationVar(&f.turn, "turn", time.Minute, "time to turn the minute hand once round")
	cmd.Flags().Float64Var(&f.errorS, "error", 0, "error wanted at the start, s, fast positive")
	cmd.Flags().Float64Var(&f.rate, "rate", 0, "expected rate, s a day, gaining positive; with --interval, in place of --error")
	cmd.Flags().Float64Var(&f.intervalD, "interval", 0, "days in the middle of which the error is to be nought")
	cmd.Flags().StringVar(&f.at, "at", "", "the instant to plan from, RFC 3339 (now)")
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

// ask returns what the flags ask for.
func (f startFlags) ask(cmd *cobra.Command, now func() time.Time) (setting.Ask, error) {
	none := setting.Ask{}
	given := cmd.Flags().Changed
	for _, needed := range []struct{ flag, what string }{
		{"dial", "the hours on the dial, 12 or 24"}, {"hands", "what hour and minute hand show, h:mm"}, {"seconds", "where the seconds hand rests"},
	} {
		if !given(needed.flag) {
			return none, usage("start needs --%s, %s", needed.flag, needed.what)
		}
	}
	if f.dial != 12 && f.dial != 24 {
		return none, usage("--dial %d is not 12 or 24", f.dial)
	}
	rest, err := setting.ParseRest(clock.Dial(f.dial), f.hands, f.seconds)
	if err != nil {
		return none, usage("%s", err)
	}
	a := setting.Ask{Rest: rest, Now: now(), Ready: f.ready, Turn: f.turn, WantedS: f.errorS}
	switch {
	case given("rate") != given("interval"):
		return none, usage("--rate and --interval go together: the rate expected, and the days in the middle of which the error is to be nought")
	case given("rate") && given("error"):
		return none, usage("give --error, or --rate with --interval, not both")
	case given("rate"):
		if !(math.Abs(f.rate) <= 1000) {
			return none, usage("--rate %g is not within 1000 s a day", f.rate)
		}
		if !(f.intervalD > 0 && f.intervalD <= 3650) {
			return none, usage("--interval %g is not between 0 and 3650 days", f.intervalD)
		}
		a.WantedS = float64(setting.WantedError(clock.Rate(f.rate), time.Duration(f.intervalD*float64(clock.Day)), startBeatS))
	}
	if f.at != "" {
		if a.Now, err = timescale.Parse(f.at); err != nil {
			return none, usage("--at: %s", err)
		}
	}
	a.Now = a.Now.UTC().Round(0).Truncate(time.Microsecond)
	return a, nil
}

// starting is what start prints with --json.
type starting struct {
	From        string  `json:"from"`
	DialHours   int     `json:"dial_hours"`
	WantedS     float64 `json:"wanted_error_s"`
	Recommended string  `json:"recommended"`
	Why         string  `json:"why"`
	Earliest    planned `json:"earliest"`
	NoTurn      planned `json:"no_turn"`
}

// planned is one plan of starting.
type planned struct {
	Set          string   `json:"set"`
	Start        string   `json:"start"`
	WaitS        float64  `json:"wait_s"`
	ForwardS     float64  `json:"forward_s"`
	Turns        float64  `json:"turns"`
	MinuteMark   int      `json:"minute_mark"`
	BetweenMarks float64  `json:"between_marks"`
	Remarks      []string `json:"remarks"`
}

func newStarting(a setting.Ask, p setting.Plans) starting {
	s := starting{
		From: a.Now.Format(time.RFC3339Nano), DialHours: int(a.Dial), WantedS: a.WantedS, Recommended: "earliest", Why: p.Why,
		Earliest: newPlanned(p.Earliest), NoTurn: newPlanned(p.NoTurn),
	}
	if p.Wait {
		s.Recommended = "no_turn"
	}
	return s
}

func newPlanned(p setting.Plan) planned {
	round := func(v float64) float64 { return math.Round(v*1e6) / 1e6 }
	return planned{
		Set: p.Set.String(), Start: p.Start.Format(time.RFC3339Nano), WaitS: round(p.Wait.Seconds()), ForwardS: p.ForwardS, Turns: round(p.Turns),
		MinuteMark: p.MinuteMark, BetweenMarks: round(p.BetweenMarks), Remarks: append([]string{}, p.Remarks...),
	}
}

// reportStart prints the plans for a person at the bench.
func reportStart(w io.Writer, a setting.Ask, plans setting.Plans) error {
	best := plans.Best()
	var p ruled
	p.rule("═")
	fmt.Fprintf(&p, "Starting plan, made %s UTC\n", a.Now.Format("2 Jan 2006 15:04:05"))
	p.rule("═")
	p.WriteString(wrap(plans.Why) + "\n")
	for _, remark := range best.Remarks {
		fmt.Fprintf(&p, "\n%s\n", wrap("Look first: "+remark+"."))
	}
	p.head("1  Set the hands, the balance still held")
	p.rows([][]string{
		{"Dial", "to read " + best.Reads()},
		{"Minute hand", best.MinuteHand()},
		{"Turn it", turning(best)},
		{"Seconds hand", fmt.Sprintf("rests at %g: leave it", a.SecondS)},
	})
	p.head("2  Start on the signal")
	p.rows([][]string{
		{"At", best.Start.Format(second) + " UTC"},
		{"That is", setting.Waiting(best.Wait) + " after this plan"},
		{"How", "one gentle quarter turn of the bowl and back, level"},
		{"Dial then", startError(best.WantedS)},
	})
	p.WriteString("\n" + wrap("Missed it: turn the minute hand one minute forward and start in the same second of the next minute, "+
		best.InAMinute().Start.Format("15:04:05.999")+" UTC.") + "\n")
	other, what := plans.Earliest, "Or turn the hands and start sooner"
	if !plans.Wait {
		other, what = plans.NoTurn, "Or wait, and turn them less"
	}
	if !other.Start.Equal(best.Start) {
		p.head(what)
		p.rows([][]string{
			{"Dial", "to read " + other.Reads()},
			{"Minute hand", other.MinuteHand()},
			{"Turn it", turning(other)},
			{"Start at", other.Start.Format(second) + " UTC, " + setting.Waiting(other.Wait) + " after this plan"},
		})
	}
	p.head("Then")
	for _, s := range startNotes {
		p.WriteString(wrap(s) + "\n")
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// startNotes are what comes after the start, and the cautions. Where no source
// is named they are common practice.
var startNotes = []string{
	"Compare it after five minutes: a half-second beat starts within a beat of the twist, so the plan aims and the first comparison tells the error.",
	"Turn the minute hand forward only, never back, and never touch the seconds hand.",
	"Never push the balance. Do not start it cold: let it come to the warmth of the room first.",
	"UTC here is the clock of this computer, and the start is no nearer to UTC than that: timeball standard tells its bound.",
}

// turning says how far the minute hand is turned.
func turning(p setting.Plan) string {
	if p.ForwardS == 0 {
		return "not at all: it stands where it must"
	}
	return "forward " + p.Forward()
}

// startError says how the dial is meant to start.
func startError(wantedS float64) string {
	if wantedS == 0 {
		return "right, as near as it can be started"
	}
	way := "fast"
	if wantedS < 0 {
		way = "slow"
	}
	return fmt.Sprintf("%s %.6g s, as near as it can be started", way, math.Abs(wantedS))
}
