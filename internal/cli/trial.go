package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"timeball/internal/adjust"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/trial"
	"timeball/internal/trial/programme"
	"timeball/internal/workshop"
)

// trialFlags are the flags of trial.
type trialFlags struct {
	programme string
	number    string
	folder    string
	hours     int
	show      bool
	json      bool
}

func (c console) trial() *cobra.Command {
	var f trialFlags
	var names []string
	for _, p := range programme.Shipped() {
		names = append(names, fmt.Sprintf("  %-20s %s", p.Slug(), p.About))
	}
	cmd := &cobra.Command{
		Use:   "trial FILE --programme P",
		Short: "daily rates in, criteria and verdict out",
		Long: `Judges a trial by a programme: each criterion with its doubt, what true rates
would give, and how sure the verdict is. Nothing is interpolated: a criterion that
needs a day that is not known says so.

FILE is CSV of daily rates (day or date, rate_s_per_day, and where known
sd_s_per_day, temp_c, position), or a comparison file as rate reads it. A dash
reads standard input. With --number instead, the last trial of an instrument in
the data folder.

P is a file in YAML, or one of:

` + strings.Join(names, "\n") + `

--show prints the text of a programme, to copy and change.`,
		Example: "  timeball trial rates.csv --programme weekly-sums\n  timeball trial no-731.csv --programme iso-3159 --json\n  timeball trial --number 417\n  timeball trial --programme three-temperatures --show > ours.yaml",
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.judge(cmd, args, f)
		}),
	}
	cmd.Flags().StringVar(&f.programme, "programme", "", "a shipped programme, or a file")
	cmd.Flags().StringVar(&f.number, "number", "", "an instrument of the data folder")
	c.folderFlag(cmd, &f.folder)
	cmd.Flags().IntVar(&f.hours, "hours", 0, "hours on the dial, 12 or 24 (12 unless the readings show more)")
	cmd.Flags().BoolVar(&f.show, "show", false, "print the programme and judge nothing")
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

func (c console) judge(cmd *cobra.Command, args []string, f trialFlags) error {
	if f.number != "" {
		if len(args) > 0 || f.programme != "" {
			return usage("--number takes the trial from the logbook, with its programme; leave file and --programme out")
		}
		return c.judgeInstrument(cmd, f)
	}
	if f.programme == "" {
		return usage("trial needs --programme, a shipped programme or a file; timeball trial --help names them")
	}
	p, err := c.readProgramme(f.programme)
	if err != nil {
		return err
	}
	if f.show {
		_, err := io.WriteString(c.out, p.Text)
		return err
	}
	if err := oneFile(cmd, args); err != nil {
		return err
	}
	in, err := c.open(args[0])
	if err != nil {
		return err
	}
	defer in.Close()
	text, err := io.ReadAll(in)
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	done := c.progress("judging %s", args[0])
	r, remarks, err := judgeText(text, p, f.hours)
	done()
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	for _, remark := range remarks {
		fmt.Fprintf(c.err, "%s: %s\n", args[0], remark)
	}
	return c.printTrial(r, f.json)
}

// readProgramme returns a shipped programme by its name, or that of a file.
func (c console) readProgramme(name string) (programme.Programme, error) {
	text, err := os.ReadFile(name)
	switch {
	case err == nil:
		p, err := programme.Read(text)
		if err != nil {
			return p, fmt.Errorf("%s: %w", name, err)
		}
		return p, nil
	case !errors.Is(err, fs.ErrNotExist):
		return programme.Programme{}, fmt.Errorf("%s cannot be read (%w); give the name of a file or of a shipped programme", name, errors.Unwrap(err))
	}
	if p, ok := programme.Find(name); ok {
		return p, nil
	}
	var names []string
	for _, p := range programme.Shipped() {
		names = append(names, p.Slug())
	}
	return programme.Programme{}, usage("--programme %s is neither a file nor a shipped programme; the shipped ones are %s", name, strings.Join(names, ", "))
}

// judgeText judges a file of daily rates, or of comparisons if its header has
// utc.
func judgeText(text []byte, p programme.Programme, hours int) (trial.Result, []string, error) {
	if !isRateBook(text) {
		days, remarks, err := trial.ReadRates(bytes.NewReader(text))
		if err != nil {
			return trial.Result{}, nil, err
		}
		days, placed := trial.Place(p, days)
		r := trial.Judge(p, days, trial.Ask{Ended: true})
		r.Remarks = append(placed, r.Remarks...)
		return r, remarks, nil
	}
	book, err := ratebook.Read(bytes.NewReader(text))
	if err != nil {
		return trial.Result{}, nil, err
	}
	dial := clock.TwelveHour
	switch {
	case hours != 0:
		dial = clock.Dial(hours)
	case book.DialHours != 0:
		dial = book.DialHours
	}
	t, err := adjust.FollowFile(book, dial, p)
	return t.Result, book.Remarks, err
}

// isRateBook reports whether the first line that is no comment names utc.
func isRateBook(text []byte) bool {
	for line := range bytes.Lines(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))) {
		line = bytes.TrimSpace(line)
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		for _, name := range bytes.FieldsFunc(bytes.ToLower(line), func(r rune) bool { return strings.ContainsRune(",;\t\" ", r) }) {
			if string(name) == "utc" {
				return true
			}
		}
		return false
	}
	return false
}

func (c console) judgeInstrument(cmd *cobra.Command, f trialFlags) error {
	return c.inKept(cmd.Context(), f.folder, func(ctx context.Context, w *workshop.Workshop, _ string) error {
		seen, err := w.See(ctx, f.number)
		if err != nil {
			return err
		}
		t, err := adjust.Latest(seen)
		if err != nil {
			return err
		}
		if !f.json {
			fmt.Fprintf(c.out, "No. %s: %s.\n", seen.Instrument.Number, t.Course.Today.Words)
			for _, task := range t.Course.Tasks {
				if !task.Done {
					fmt.Fprintf(c.out, "  to do: %s\n", task.Do)
				}
			}
		}
		return c.printTrial(t.Result, f.json)
	})
}

func (c console) printTrial(r trial.Result, asJSON bool) error {
	if asJSON {
		return writeJSON(c.out, r.Script())
	}
	return reportTrial(c.out, r)
}

func reportTrial(w io.Writer, r trial.Result) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n%s\n\n", r.Programme.Name, r.Words)
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "criterion\tvalue\tthe true one, 95%\t\tlimits\t\t")
	for _, f := range r.Figures {
		if !f.Known {
			fmt.Fprintf(t, "%s\t\t\t\t%s\t%s\n", f.Criterion.Name, f.Criterion.Limits(), f.Why)
			continue
		}
		places := trialDecimals(f.SD)
		within, says := "", ""
		if f.SD > 0 { // it need not lie about the value: ranges come out too large
			within = strconv.FormatFloat(f.Lo95, 'f', places, 64) + " to " + strconv.FormatFloat(f.Hi95, 'f', places, 64)
		}
		switch {
		case f.Class != "":
			says = f.Class
		case f.Limited && f.Kept:
			says = "kept"
		case f.Limited:
			says = "not kept"
		}
		if f.Limited && f.Close {
			says += ", within its doubt of the limit"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\n", f.Criterion.Name, strconv.FormatFloat(f.Value, 'f', places, 64), within, f.Criterion.Unit, f.Criterion.Limits(), says)
	}
	t.Flush()
	if l := r.Law; l != nil {
		fmt.Fprintf(&b, "\nRate against temperature about %.0f °C: %+.3f ±%.3f s/d", l.AboutC, l.Rate.Mean, half(l.Rate))
		fmt.Fprintf(&b, ", %+.4f ±%.4f for each °C", l.Linear.Mean, half(l.Linear))
		if l.Curved {
			fmt.Fprintf(&b, ", %+.5f ±%.5f for its square", l.Quadratic.Mean, half(l.Quadratic))
		}
		fmt.Fprintln(&b, ".")
		if l.TurningC != nil {
			fmt.Fprintf(&b, "It turns at %.1f ±%.1f °C.\n", l.TurningC.Mean, half(*l.TurningC))
		}
	}
	if more := append(append([]string{}, r.Missing...), r.Remarks...); len(more) > 0 {
		fmt.Fprintln(&b)
		for _, s := range more {
			fmt.Fprintln(&b, s)
		}
	}
	_, err := w.Write(b.Bytes())
	return err
}

func half(e trial.Estimate) float64 { return (e.Hi95 - e.Lo95) / 2 }

// trialDecimals returns the decimals that a criterion's doubt deserves.
func trialDecimals(sd float64) int {
	if !(sd > 0) {
		return 2
	}
	return min(max(1-int(math.Floor(math.Log10(1.96*sd))), 1), 5)
}
