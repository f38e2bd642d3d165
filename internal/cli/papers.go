package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"timeball/internal/chronometer"
	"timeball/internal/issue"
	"timeball/internal/workshop"
)

// paperFlags are the flags of papers.
type paperFlags struct {
	folder, paper, out, by string
	from, to               string
	step, months           int
	all, draft, issue      bool
}

func (c console) papers() *cobra.Command {
	var f paperFlags
	var kinds []string
	for _, k := range issue.Kinds() {
		kinds = append(kinds, fmt.Sprintf("  %-17s %s", string(k), k.About()))
	}
	cmd := &cobra.Command{
		Use:   "papers KIND NUMBER...",
		Short: "certificates, sheets, tables and calendars of instruments",
		Long: `Makes a paper of one or more instruments from the data folder, as PDF, or as an
iCalendar file. The kinds:

` + strings.Join(kinds, "\n") + `

A certificate is given as it was issued; --issue issues one now, which writes an
entry with its figures and the digest of the entries they rest on, and --draft
shows what would be issued. What is missing for a certificate is said, and none
is made. The files are named after kind and instrument and stand in this folder
unless --out names another folder, a file, or - for standard output.`,
		Example: "  timeball papers owner-sheet 417\n  timeball papers certificate 417 --issue --by \"R. Halvane\"\n  timeball papers correction-table 2260 --from 2027-04-01 --to 2027-10-01 --step 5 --paper Letter\n  timeball papers certificate --all --issue --by \"R. Halvane\" --out certificates",
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.makePapers(cmd, args, f)
		}),
	}
	c.folderFlag(cmd, &f.folder)
	cmd.Flags().StringVar(&f.paper, "paper", "", "A4 or Letter (as the owner or the workshop has it)")
	cmd.Flags().StringVar(&f.out, "out", "", "a folder, a file for a single paper, or - (this folder)")
	cmd.Flags().BoolVar(&f.all, "all", false, "of every instrument")
	cmd.Flags().BoolVar(&f.issue, "issue", false, "issue a certificate now")
	cmd.Flags().BoolVar(&f.draft, "draft", false, "a certificate as it would be issued, marked as a draft")
	cmd.Flags().StringVar(&f.by, "by", "", "who issues it")
	cmd.Flags().StringVar(&f.from, "from", "", "the first day of a table, or month of a form, YYYY-MM-DD (today)")
	cmd.Flags().StringVar(&f.to, "to", "", "the last day of a table (a year on)")
	cmd.Flags().IntVar(&f.step, "step", 0, "days between the lines of a table (1)")
	cmd.Flags().IntVar(&f.months, "months", 0, "months of forms (1)")
	return cmd
}

// ask returns what the flags ask for, and the kind.
func (f paperFlags) ask(args []string) (issue.Kind, issue.Ask, error) {
	none := issue.Ask{}
	if len(args) == 0 {
		return "", none, usage("papers takes a kind and the numbers of instruments")
	}
	kind, err := issue.ParseKind(args[0])
	if err != nil {
		return "", none, usage("%s", err)
	}
	if len(args) == 1 && !f.all {
		return "", none, usage("papers %s takes the numbers of instruments, or --all", kind)
	}
	if len(args) > 1 && f.all {
		return "", none, usage("--all is every instrument; leave the numbers out")
	}
	if (f.issue || f.draft) && kind != issue.Certificate || f.issue && f.draft {
		return "", none, usage("--issue and --draft are for certificates, one of them at a time")
	}
	if f.issue && strings.TrimSpace(f.by) == "" {
		return "", none, usage("--issue needs --by, who issues it")
	}
	ask := issue.Ask{Step: f.step, Months: f.months}
	for _, p := range chronometer.Paper("").Choices() {
		if strings.EqualFold(p, f.paper) {
			ask.Paper = chronometer.Paper(p)
		}
	}
	if f.paper != "" && ask.Paper == "" {
		return "", none, usage("--paper %s is not A4 or Letter", f.paper)
	}
	for _, d := range []struct {
		name, text string
		into       *time.Time
	}{{"--from", f.from, &ask.From}, {"--to", f.to, &ask.To}} {
		if d.text == "" {
			continue
		}
		if *d.into, err = time.Parse("2006-01-02", d.text); err != nil {
			return "", none, usage("%s %s is no day; write YYYY-MM-DD", d.name, d.text)
		}
	}
	if f.step < 0 || f.step > 366 || f.months < 0 || f.months > 24 {
		return "", none, usage("--step is 1 to 366 days and --months 1 to 24")
	}
	return kind, ask, nil
}

func (c console) makePapers(cmd *cobra.Command, args []string, f paperFlags) error {
	kind, ask, err := f.ask(args)
	if err != nil {
		return err
	}
	return c.inKept(cmd.Context(), f.folder, func(ctx context.Context, w *workshop.Workshop, _ string) error {
		numbers := args[1:]
		if f.all {
			room, err := w.Room(ctx)
			if err != nil {
				return err
			}
			w.Close() // ratings that were not there yet are computed by the papers
			for _, seen := range room.Instruments {
				numbers = append(numbers, string(seen.ID))
			}
		}
		single := len(numbers) == 1
		desk := issue.New(w)
		made, failed := 0, 0
		var at atomic.Int64
		done := c.progressOf(func() string { return fmt.Sprintf("%s %d of %d", kind.Title(), at.Load(), len(numbers)) })
		defer done()
		for i, number := range numbers {
			at.Store(int64(i) + 1)
			file, name, err := c.onePaper(ctx, w, desk, kind, number, ask, f)
			if err == nil {
				err = c.putPaper(file, name, f.out, single)
			}
			switch {
			case ctx.Err() != nil:
				return ctx.Err()
			case err != nil && single:
				return err
			case err != nil:
				failed++
				fmt.Fprintf(c.err, "timeball: %s\n", err)
			default:
				made++
			}
		}
		if !single {
			fmt.Fprintf(c.err, "%d made, %d not.\n", made, failed)
		}
		if failed > 0 {
			return fmt.Errorf("%d of %d papers could not be made; what is missing stands above", failed, len(numbers))
		}
		return nil
	})
}

// onePaper returns the file of one paper and its name.
func (c console) onePaper(ctx context.Context, w *workshop.Workshop, desk *issue.Papers, kind issue.Kind, number string, ask issue.Ask, f paperFlags) ([]byte, string, error) {
	if kind == issue.Certificate && f.issue {
		seen, err := w.See(ctx, number)
		if err != nil {
			return nil, "", err
		}
		id, err := w.NewID(ctx, seen.ID, chronometer.KindCertified)
		if err != nil {
			return nil, "", err
		}
		if _, err := desk.Issue(ctx, id, f.by, number, ask.Paper); err != nil {
			return nil, "", err
		}
	}
	if kind == issue.Certificate && !f.draft {
		pdf, issued, err := desk.Again(ctx, number, "")
		if errors.Is(err, workshop.ErrUnknown) && !f.issue {
			err = fmt.Errorf("%w, or see it first with --draft", err)
		}
		return pdf, issue.FileName("certificate", issued.Certificate) + ".pdf", err
	}
	made, err := desk.Make(ctx, kind, number, ask)
	return made.Content, made.Name, err
}

// putPaper writes a paper where it is wanted.
func (c console) putPaper(file []byte, name, out string, single bool) error {
	write := func(w io.Writer) error {
		_, err := io.Copy(w, bytes.NewReader(file))
		return err
	}
	if out == "-" {
		return write(c.out)
	}
	path := name
	switch s, err := os.Stat(out); {
	case out == "":
	case err == nil && s.IsDir():
		path = filepath.Join(out, name)
	case single:
		path = out
	case err == nil:
		return fmt.Errorf("%s is a file; name a folder for more than one paper", out)
	default:
		if err := os.MkdirAll(out, 0o755); err != nil {
			return fmt.Errorf("folder %s cannot be made (%w); name another", out, errors.Unwrap(err))
		}
		path = filepath.Join(out, name)
	}
	if err := writeWhole(path, write); err != nil {
		return err
	}
	fmt.Fprintln(c.out, path)
	return nil
}

// verifyCertificate says of a certificate's file or digest whether the logbook
// still gives its figures.
func (c console) verifyCertificate(ctx context.Context, w *workshop.Workshop, what string, asJSON bool) error {
	desk := issue.New(w)
	var v issue.Verified
	var err error
	if file, readErr := os.ReadFile(what); readErr == nil {
		v, err = desk.VerifyFile(ctx, file)
		if err != nil {
			err = fmt.Errorf("%s: %w", what, err)
		}
	} else if v, err = desk.Verify(ctx, what); errors.Is(err, issue.ErrNoDigest) {
		err = fmt.Errorf("%s is neither a file that can be opened nor a digest; give the file of a certificate, or the digits printed on it", what)
	}
	if err != nil {
		return err
	}
	if asJSON {
		err = writeJSON(c.out, issue.NewVerifiedJSON(v))
	} else {
		_, err = fmt.Fprintln(c.out, strings.Join(append([]string{v.Words}, v.Changes...), "\n"))
	}
	if err == nil && v.Finding != issue.Holds {
		err = fmt.Errorf("the certificate does not hold (%s)", v.Finding)
	}
	return err
}
