// Package cli is the command line: it reads settings, wires the packages and
// turns errors into sentences and exit codes. It is the only package that sees
// all others, the clock and the environment.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"syscall"
	"time"
	_ "time/tzdata" // zones of owners, wherever the program runs

	"github.com/spf13/cobra"
)

// Exit codes.
const (
	done       = 0
	couldNot   = 1
	usedWrong  = 2
	usageHint  = "run %s --help to see how it is used"
	folderName = "timeball"
)

// errUsage marks a command that was used wrongly.
var errUsage = errors.New("")

// console is what a command talks to.
type console struct {
	in       io.Reader
	out, err io.Writer
	now      func() time.Time
	getenv   func(string) string
}

// Main runs the command line and returns its exit code.
func Main(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return run(ctx, args, console{in: stdin, out: stdout, err: stderr, now: time.Now, getenv: os.Getenv})
}

func run(ctx context.Context, args []string, c console) int {
	root := c.root()
	root.SetArgs(args)
	command, err := root.ExecuteContextC(ctx)
	switch {
	case err == nil:
		return done
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(c.err, "timeball: stopped; nothing was left half done")
		return couldNot
	}
	fmt.Fprintf(c.err, "timeball: %s\n", err)
	if isUsage(err) {
		fmt.Fprintf(c.err, usageHint+"\n", command.CommandPath())
		return usedWrong
	}
	return couldNot
}

// usage returns an error of wrong use.
func usage(format string, args ...any) error {
	return fmt.Errorf("%w%s", errUsage, fmt.Sprintf(format, args...))
}

// isUsage reports whether the command was used wrongly; the errors of cobra
// itself all are.
func isUsage(err error) bool {
	var failed *failure
	return errors.Is(err, errUsage) || !errors.As(err, &failed)
}

// failure is an error of the work and not of the words it was asked with.
type failure struct{ err error }

func (f *failure) Error() string { return f.err.Error() }
func (f *failure) Unwrap() error { return f.err }

// does wraps the work of a command so that its errors count as failures unless
// they are errors of use.
func does(work func(cmd *cobra.Command, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		err := work(cmd, args)
		if err == nil || errors.Is(err, errUsage) {
			return err
		}
		return &failure{err}
	}
}

// parsing is how the library of flags tells that a value is none.
var parsing = regexp.MustCompile(`(strconv\.\w+: parsing "[^"]*": |time: )[^;]*$`)

// root returns the command with all its verbs.
func (c console) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "timeball",
		Short: "know how far each chronometer is from UTC, and how sure that is",
		Long: `timeball keeps the logbooks of mechanical marine chronometers and computes, for
each, its error against UTC, its rate, how steady that is and how it will run
on, every number with its doubt.

Error is dial minus UTC: fast or slow. Rate is its change a day: gaining or
losing. ± is a 95% interval everywhere.

Exit codes: 0 done, 1 could not, 2 used wrongly.`,
		SilenceUsage: true, SilenceErrors: true,
	}
	root.SetIn(c.in)
	root.SetOut(c.out)
	root.SetErr(c.err)
	root.PersistentFlags().SortFlags = false
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error {
		return usage("%s", parsing.ReplaceAllString(err.Error(), "not such a value"))
	})
	root.AddCommand(c.demo(), c.serve(), c.rate(), c.correct(), c.listen(), c.start(), c.trial(), c.pack(), c.papers(), c.together(), c.standard(), c.importing(), c.export(), c.verify(), c.manual(), c.version())
	return root
}

// open returns the file of a name, or standard input for "-".
func (c console) open(name string) (io.ReadCloser, error) {
	if name == "-" {
		return io.NopCloser(c.in), nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be opened (%w); give the name of a file, or - for standard input", name, errors.Unwrap(err))
	}
	if s, err := f.Stat(); err == nil && s.IsDir() {
		f.Close()
		return nil, fmt.Errorf("%s is a folder; give the name of a file in it", name)
	}
	return f, nil
}
