package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/cobra"

	"timeball/internal/api"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/timescale"
	"timeball/internal/workshop"
)

// rateFlags are the flags of the commands that rate a file.
type rateFlags struct {
	hours   int
	at      []string
	horizon float64
	tempC   float64
	json    bool
}

func (f *rateFlags) hoursFlag(cmd *cobra.Command) {
	cmd.Flags().IntVar(&f.hours, "hours", 0, "hours on the dial, 12 or 24 (12 unless the readings show more)")
}

func (c console) rate() *cobra.Command {
	var f rateFlags
	cmd := &cobra.Command{
		Use:   "rate FILE",
		Short: "comparisons in, rating out",
		Long: `Reads a comparison file and prints error, rate, steadiness, runs, what was set
aside and why, and a forecast, every number with its 95% interval.

The file is CSV with a header: utc (RFC 3339) and dial (h:mm:ss.s) or error_s,
and where known sd_s, method, observer, standard, standard_sd_s, temp_c,
position, wound_h, event, note.
A dash reads standard input.`,
		Example: "  timeball rate no-417.csv\n  timeball rate no-417.csv --at 2027-06-01T12:00:00Z --json",
		Args:    oneFile,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.rateFile(cmd, args[0], f)
		}),
	}
	cmd.Flags().StringArrayVar(&f.at, "at", nil, "an instant at which the error is wanted, RFC 3339; may be repeated")
	cmd.Flags().Float64Var(&f.horizon, "horizon", 60, "days of forecast")
	f.hoursFlag(cmd)
	cmd.Flags().Float64Var(&f.tempC, "temperature", 0, "the temperature to come, °C, if it is known")
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

func oneFile(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usage("%s takes one file, or - for standard input", cmd.Name())
	}
	return nil
}

func (c console) rateFile(cmd *cobra.Command, name string, f rateFlags) error {
	if f.horizon <= 0 || f.horizon > 3650 {
		return usage("--horizon %g is not between 0 and 3650 days", f.horizon)
	}
	opt := rating.Options{HorizonDays: f.horizon, Curve: 200}
	if cmd.Flags().Changed("temperature") {
		if f.tempC < -60 || f.tempC > 80 {
			return usage("--temperature %g is not between -60 and 80 °C", f.tempC)
		}
		opt.TempC = &f.tempC
	}
	for _, s := range f.at {
		at, err := timescale.Parse(s)
		if err != nil {
			return usage("--at: %s", err)
		}
		opt.At = append(opt.At, at)
	}
	book, dial, err := c.readBook(name, f.hours)
	if err != nil {
		return err
	}
	for _, at := range opt.At {
		if len(book.Rows) > 0 && at.Before(book.Rows[0].At) {
			return usage("--at %s lies before the first row of the file, %s; ask for a later instant", at.Format(time.RFC3339), book.Rows[0].At.Format(time.RFC3339))
		}
	}
	done := c.progress("rating %d rows", len(book.Rows))
	r, err := workshop.RateFile(book, dial, opt)
	done()
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if f.json {
		return writeJSON(c.out, api.FromRating(r))
	}
	for _, remark := range book.Remarks {
		fmt.Fprintf(c.err, "%s: %s\n", name, remark)
	}
	return report(c.out, name, r, c.now())
}

// readBook reads a comparison file and settles the hours of its dial.
func (c console) readBook(name string, hours int) (ratebook.Book, clock.Dial, error) {
	if hours != 0 && hours != 12 && hours != 24 {
		return ratebook.Book{}, 0, usage("--hours %d is not 12 or 24", hours)
	}
	in, err := c.open(name)
	if err != nil {
		return ratebook.Book{}, 0, err
	}
	defer in.Close()
	done := c.progress("reading %s", name)
	book, err := ratebook.Read(in)
	done()
	if err != nil {
		return ratebook.Book{}, 0, fmt.Errorf("%s: %w", name, err)
	}
	dial := clock.TwelveHour
	switch {
	case hours != 0:
		dial = clock.Dial(hours)
	case book.DialHours != 0:
		dial = book.DialHours
	}
	return book, dial, nil
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

func (c console) correct() *cobra.Command {
	var f rateFlags
	var dial string
	var at string
	var readingSD float64
	cmd := &cobra.Command{
		Use:   "correct FILE --dial H:MM:SS",
		Short: "a dial reading to UTC, with its doubt",
		Long: `Reads a comparison file, forecasts the error of the dial and turns a reading of
it into UTC. The reading is taken as exact unless --reading-sd says otherwise.
--at tells roughly when it was read, so that the right twelve hours are meant;
without it, now.`,
		Example: "  timeball correct no-417.csv --dial 7:41:03 --at 2027-06-01T07:40:00Z",
		Args:    oneFile,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			if dial == "" {
				return usage("correct needs --dial, what the dial reads, h:mm:ss")
			}
			reading, err := clock.ParseDial(dial)
			if err != nil {
				return usage("--dial: %s", err)
			}
			when := c.now().UTC()
			if at != "" {
				if when, err = timescale.Parse(at); err != nil {
					return usage("--at: %s", err)
				}
			}
			if readingSD < 0 || readingSD > 60 {
				return usage("--reading-sd %g is not between 0 and 60 s", readingSD)
			}
			book, hours, err := c.readBook(args[0], f.hours)
			if err != nil {
				return err
			}
			if hours == clock.TwelveHour && reading >= 13*3600 {
				if f.hours == 12 || book.HasDial && book.DialHours == 12 {
					return usage("--dial %s: a dial of twelve hours does not show that; write what it shows", reading)
				}
				hours = clock.TwentyFourHour
			}
			fix, err := workshop.Correct(book, hours, reading, when, readingSD)
			if errors.Is(err, workshop.ErrBeforeRecord) {
				return fmt.Errorf("--at %s: %w", when.Format(time.RFC3339), err)
			}
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if f.json {
				return writeJSON(c.out, newFixed(fix))
			}
			return reportFix(c.out, reading, fix)
		}),
	}
	cmd.Flags().StringVar(&dial, "dial", "", "what the dial reads, h:mm:ss or h:mm:ss.s")
	cmd.Flags().StringVar(&at, "at", "", "roughly when it was read, RFC 3339 (now)")
	cmd.Flags().Float64Var(&readingSD, "reading-sd", 0, "standard deviation of the reading itself, s")
	f.hoursFlag(cmd)
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

// fixed is what correct prints with --json.
type fixed struct {
	UTC    string  `json:"utc"`
	SD     float64 `json:"sd_s"`
	Lo95   string  `json:"lo95"`
	Hi95   string  `json:"hi95"`
	ErrorS float64 `json:"error_s"`
}

func newFixed(f workshop.Fix) fixed {
	round := func(v float64) float64 { return math.Round(v*1e6) / 1e6 }
	return fixed{
		UTC: f.UTC.Format(time.RFC3339Nano), SD: round(f.SDS), Lo95: f.Lo95.Format(time.RFC3339Nano), Hi95: f.Hi95.Format(time.RFC3339Nano),
		ErrorS: round(f.Error.Mean),
	}
}
