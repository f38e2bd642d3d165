package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"timeball/internal/audio"
	"timeball/internal/listening"
	"timeball/internal/reference"
)

// How often a live listening reports, s of sound, and how much faster than time
// sound may come before it is taken for a copy of a file.
const (
	reportedS  = 10.0
	tooFast    = 1.2
	notLiveS   = 5.0
	terminalS  = 1.0
	livePieceS = 0.1
)

// listenLive listens to a recording on standard input as it comes, and counts
// its frames against UTC where that is known.
func (c console) listenLive(cmd *cobra.Command, r *audio.Recording, o listening.Options, f listenFlags) (listening.Hearing, error) {
	if o.PulseChannel > 0 || o.ToS > 0 || o.FromS > 0 {
		return listening.File(cmd.Context(), r, o)
	}
	live, err := listening.NewLive(r.RateHz, r.Channels, o)
	if err != nil {
		return listening.Hearing{}, err
	}
	standard, stop, err := c.liveStandard(cmd.Context(), f.servers)
	if err != nil {
		return listening.Hearing{}, err
	}
	defer stop()
	report := c.liveReport()
	buffer := make([]float64, int(livePieceS*float64(r.RateHz))*r.Channels)
	begun := c.now()
	every := reportedS
	if report.terminal {
		every = terminalS
	}
	next := every
	stamping := standard != nil
	for cmd.Context().Err() == nil {
		n, err := r.Read(buffer)
		if n > 0 {
			live.Write(buffer[:n*r.Channels])
			if stamping && live.Seconds() > notLiveS && live.Seconds() > tooFast*c.now().Sub(begun).Seconds() {
				stamping = false
				live.Unstamp() // a copy of a file: when it comes says nothing
			}
			if stamping {
				if u := standard.Read(); u.Known {
					live.Arrived(u.UTC, u.BoundS)
				}
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return listening.Hearing{}, err
		}
		if stamping && live.Seconds() >= next {
			next = live.Seconds() + every
			report.say(live.Hearing(), live.Seconds())
		}
	}
	report.done()
	h := live.Close()
	h.Remarks = append(h.Remarks, r.Warnings()...)
	return h, nil
}

// liveStandard returns the standard that stamps what arrives, nil if there is
// none.
func (c console) liveStandard(ctx context.Context, flag string) (*reference.Standard, func(), error) {
	names, err := c.servers(flag)
	if err != nil {
		return nil, nil, err
	}
	ctx, cancel := context.WithCancel(ctx)
	standard := reference.New(names, reference.Options{})
	stopped := make(chan struct{})
	go func() { defer close(stopped); standard.Run(ctx) }()
	return standard, func() { cancel(); <-stopped }, nil
}

// liveReport says on standard error how a live listening goes: on a terminal in
// one line that changes, else in a line now and then.
type liveReport struct {
	to       io.Writer
	terminal bool
	said     bool
}

func (c console) liveReport() *liveReport {
	f, ok := c.err.(*os.File)
	return &liveReport{to: c.err, terminal: ok && term.IsTerminal(int(f.Fd()))}
}

func (r *liveReport) say(h listening.Hearing, s float64) {
	words := h.Rating()
	if words == "" {
		words = h.Verdict()
	}
	if r.terminal {
		fmt.Fprintf(r.to, "\r\x1b[K%s  %s", placeWords(s), words)
		r.said = true
		return
	}
	fmt.Fprintf(r.to, "%s  %s\n", placeWords(s), words)
}

func (r *liveReport) done() {
	if r.said {
		fmt.Fprint(r.to, "\r\x1b[K")
	}
}
