package cli

import (
	"context"
	"fmt"
	"io"
	"math"
	"net"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"timeball/internal/api"
	"timeball/internal/reference"
)

// serversFlag adds the flag that names the servers of UTC.
func serversFlag(cmd *cobra.Command, servers *string) {
	cmd.Flags().StringVar(servers, "servers", "", "where UTC comes from: host or host:port, with commas between, or none (TIMEBALL_SERVERS, or those of national laboratories)")
}

// servers returns the servers of UTC: of the flag, of the environment, or the
// usual ones.
func (c console) servers(flag string) ([]string, error) {
	text := flag
	if text == "" {
		text = c.getenv("TIMEBALL_SERVERS")
	}
	if text == "" {
		return reference.DefaultServers(), nil
	}
	servers, err := reference.ParseServers(text)
	if err != nil {
		return nil, usage("--servers: %s", err)
	}
	return servers, nil
}

// How often each server is asked, and how far apart: 4 s between questions to a
// stranger's server, as public ones wish (from memory), less to one's own.
const (
	askedTimes = 4
	askedApart = 4 * time.Second
	ownApart   = 200 * time.Millisecond
)

// apart returns how far apart the questions to servers are put.
func apart(names []string) time.Duration {
	for _, name := range names {
		host := name
		if h, _, err := net.SplitHostPort(name); err == nil {
			host = h
		}
		if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
			return askedApart
		}
	}
	return ownApart
}

func (c console) standard() *cobra.Command {
	var servers string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "standard",
		Short: "where UTC comes from right now, and its bound",
		Long: `Asks each server four times and says what it answers, which of them agree, which
contradicts the others, and within what bound UTC is known. The clock of this
computer is never set.`,
		Example: "  timeball standard\n  timeball standard --servers time.example.org,10.0.0.7 --json",
		Args:    noArgs,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			names, err := c.servers(servers)
			if err != nil {
				return err
			}
			from, _ := reference.AdoptList()
			state, err := c.askServers(cmd.Context(), names, from)
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(c.out, api.FromState(state))
			}
			return reportStandard(c.out, state)
		}),
	}
	serversFlag(cmd, &servers)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// askServers asks each server a few times and returns what is known then.
func (c console) askServers(ctx context.Context, names []string, list string) (reference.State, error) {
	asking, stop := context.WithCancel(ctx)
	defer stop()
	done := c.progress("asking %d servers", len(names))
	defer done()
	var last reference.State
	rounds := 0
	std := reference.New(names, reference.Options{Rounds: askedTimes, Spacing: apart(names), List: list, Heard: func(s reference.State) {
		last = s
		if rounds++; rounds == askedTimes {
			stop()
		}
	}})
	if len(names) == 0 {
		return std.State(), nil
	}
	std.Run(asking)
	if err := ctx.Err(); err != nil {
		return last, err
	}
	return last, nil
}

func reportStandard(w io.Writer, s reference.State) error {
	fmt.Fprintf(w, "UTC is %s", s.UTC.Format("2 January 2006 15:04:05.000"))
	if s.Known {
		fmt.Fprintf(w, " %s", reference.BoundWords(s.BoundS))
	} else {
		fmt.Fprint(w, ", its bound not known")
	}
	fmt.Fprintf(w, ": %s.\n", s.Source)
	if s.Known {
		fmt.Fprintf(w, "The clock of this computer is %s; it is not set.\n", reference.ClockWords(s.OffsetS, s.BoundS))
	}
	if len(s.Sources) > 0 {
		fmt.Fprintln(w)
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "server\tit says this clock is\tbound\tway there and back\tverdict")
		for _, x := range s.Sources {
			says, bound, delay := "–", "–", "–"
			if !x.Heard.IsZero() {
				says, bound, delay = reference.ClockWords(x.OffsetS, x.BoundS), reference.BoundWords(x.BoundS), fmt.Sprintf("%.1f ms", 1000*math.Abs(x.DelayS))
			}
			fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", x.Name, says, bound, delay, x.Verdict())
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	if len(s.Remarks) > 0 {
		fmt.Fprintln(w)
	}
	for _, words := range s.Remarks {
		fmt.Fprintf(w, "! %s\n", words)
	}
	if s.ListFrom != "" {
		fmt.Fprintf(w, "\nLeap seconds: %s, complete until %s.\n", s.ListFrom, s.ListExpires.Format("2 January 2006"))
	}
	return nil
}
