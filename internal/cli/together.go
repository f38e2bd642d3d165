package cli

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"timeball/internal/adjust"
	"timeball/internal/clock"
	"timeball/internal/timescale"
	"timeball/internal/together"
	"timeball/internal/together/rounds"
	"timeball/internal/workshop"
)

// togetherFlags are the flags of together.
type togetherFlags struct {
	folder  string
	numbers []string
	at      string
	dials   []string
	sd      float64
	json    bool
}

func (c console) together() *cobra.Command {
	var f togetherFlags
	cmd := &cobra.Command{
		Use:   "together [FILE]",
		Short: "several chronometers against each other: which one moved, and how steady each is",
		Long: `Reads a comparison book of two or more chronometers and prints how their
differences move, which of them altered, and how steady each one is by itself.
With two, no book can tell which; with three or more it can.

The file is CSV: a column utc (RFC 3339) and one column for each instrument,
named by its number, with the dial (h:mm:ss.s) or its error in seconds; where
known also sd_s and event. A dash reads standard input.

With --number, given twice or more, it takes the comparisons that instruments of
the data folder have of the same rounds. With --dial 12=9:00:10 --dial 58=8:59:48
and --at, it combines dials read at one instant into the best UTC.`,
		Example: "  timeball together round-book.csv\n  timeball together --number 12 --number 58 --number 88\n  timeball together --dial 12=9:00:10.5 --dial 58=8:59:48 --at 2027-03-05T09:00:00Z",
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.compareTogether(cmd, args, f)
		}),
	}
	c.folderFlag(cmd, &f.folder)
	cmd.Flags().StringArrayVar(&f.numbers, "number", nil, "an instrument of the data folder; give two or more")
	cmd.Flags().StringArrayVar(&f.dials, "dial", nil, "NUMBER=H:MM:SS, what the dial of an instrument of the data folder read")
	cmd.Flags().StringVar(&f.at, "at", "", "when the dials were read, as nearly as it is known, RFC 3339 (now)")
	cmd.Flags().Float64Var(&f.sd, "reading-sd", 0.25, "standard deviation of reading a dial, s")
	cmd.Flags().BoolVar(&f.json, "json", false, "print one JSON object")
	return cmd
}

func (c console) compareTogether(cmd *cobra.Command, args []string, f togetherFlags) error {
	ways := 0
	for _, asked := range []bool{len(args) > 0, len(f.numbers) > 0, len(f.dials) > 0} {
		if asked {
			ways++
		}
	}
	switch {
	case ways != 1 || len(args) > 1:
		return usage("together takes one file, or --number twice or more, or --dial; one of the three")
	case len(args) == 1:
		in, err := c.open(args[0])
		if err != nil {
			return err
		}
		defer in.Close()
		book, err := rounds.Read(in)
		if err != nil {
			return fmt.Errorf("%s: %w", args[0], err)
		}
		r, err := together.Examine(book, together.Options{})
		if err != nil {
			return fmt.Errorf("%s: %w", args[0], err)
		}
		return c.printTogether(r, f.json)
	case len(f.dials) > 0:
		return c.bestUTC(cmd, f)
	case len(f.numbers) < 2:
		return usage("--number must be given twice or more: one chronometer has nothing to be compared with")
	}
	return c.inKept(cmd.Context(), f.folder, func(ctx context.Context, w *workshop.Workshop, _ string) error {
		seens, err := seenAll(ctx, w, f.numbers)
		if err != nil {
			return err
		}
		t, err := adjust.Book(seens, c.now().UTC())
		if err != nil {
			return err
		}
		return c.printTogether(t.Result, f.json)
	})
}

func seenAll(ctx context.Context, w *workshop.Workshop, numbers []string) ([]workshop.Seen, error) {
	var seens []workshop.Seen
	for _, n := range numbers {
		seen, err := w.See(ctx, n)
		if err != nil {
			return nil, err
		}
		seens = append(seens, seen)
	}
	return seens, nil
}

// bestUTC combines dials read at one instant.
func (c console) bestUTC(cmd *cobra.Command, f togetherFlags) error {
	at := c.now().UTC()
	var err error
	if f.at != "" {
		if at, err = timescale.Parse(f.at); err != nil {
			return usage("--at: %s", err)
		}
	}
	if !(f.sd >= 0) || f.sd > 60 {
		return usage("--reading-sd %g is not between 0 and 60 s", f.sd)
	}
	readings := map[string]clock.DialReading{}
	var numbers []string
	for _, d := range f.dials {
		number, text, ok := strings.Cut(d, "=")
		if !ok {
			return usage("--dial %s has no number; write NUMBER=H:MM:SS", d)
		}
		if readings[number], err = clock.ParseDial(text); err != nil {
			return usage("--dial: %s", err)
		}
		numbers = append(numbers, number)
	}
	return c.inKept(cmd.Context(), f.folder, func(ctx context.Context, w *workshop.Workshop, _ string) error {
		seens, err := seenAll(ctx, w, numbers)
		if err != nil {
			return err
		}
		best, err := adjust.Dials(seens, at, readings, f.sd)
		if err != nil {
			return err
		}
		if f.json {
			return writeJSON(c.out, best)
		}
		var b bytes.Buffer
		for _, line := range best.Words {
			fmt.Fprintln(&b, line)
		}
		t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "No.\tUTC less that instant\t±\tweight")
		for _, v := range best.Voices {
			fmt.Fprintf(t, "%s\t%+.2f s\t±%.2f\t%.2f\n", v.Name, v.OffsetS, 1.96*v.SD, v.Weight)
		}
		t.Flush()
		_, err = c.out.Write(b.Bytes())
		return err
	})
}

func (c console) printTogether(r together.Result, asJSON bool) error {
	if asJSON {
		return writeJSON(c.out, r)
	}
	return reportTogether(c.out, r)
}

func reportTogether(w io.Writer, r together.Result) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s: %d rounds from %s to %s\n\n", strings.Join(r.Instruments, ", "), r.Rows, r.From.Format(time.DateOnly), r.To.Format(time.DateOnly))
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "difference\tlast\t±\ta day\t±\tchange of that\t±")
	for _, p := range r.Pairs {
		if len(p.Points) == 0 {
			fmt.Fprintf(t, "%s − %s\tnever read at one time\n", p.A, p.B)
			continue
		}
		last := p.Points[len(p.Points)-1]
		fmt.Fprintf(t, "%s − %s\t%+.2f s\t±%.2f", p.A, p.B, last.DifferenceS, 1.96*last.DifferenceSD)
		if d := last.First; d != nil {
			fmt.Fprintf(t, "\t%+.2f s\t±%.2f", d.RateSPerDay, 1.96*d.RateSD)
		}
		if d := last.Second; d != nil {
			fmt.Fprintf(t, "\t%+.2f s\t±%.2f", d.ChangeSPerDay, 1.96*d.ChangeSD)
		}
		fmt.Fprintln(t)
	}
	t.Flush()
	fmt.Fprintln(&b)
	for _, line := range append(append([]string{}, r.Words...), r.Warnings...) {
		fmt.Fprintln(&b, line)
	}
	_, err := w.Write(b.Bytes())
	return err
}
