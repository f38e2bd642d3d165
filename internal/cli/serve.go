package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"timeball/internal/api"
	"timeball/internal/lanternquay"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/web"
	"timeball/internal/workshop"
)

// usualAddress is where the pages are served unless told: this computer only.
const usualAddress = "127.0.0.1:8137"

func (c console) demo() *cobra.Command {
	var listen, servers string
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "serve an invented workshop from a temporary folder",
		Long: `Serves the invented workshop Lantern Quay: a year of simulated history of a
dozen instruments, to look at and to try everything on. It lives in a temporary
folder and is gone when the program stops.`,
		Args: noArgs,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			dir, err := os.MkdirTemp("", "timeball-demo-")
			if err != nil {
				return err
			}
			defer os.RemoveAll(dir)
			return c.serveFolder(cmd, dir, listen, servers, true)
		}),
	}
	cmd.Flags().StringVar(&listen, "listen", "", "address to serve on ("+usualAddress+", or a free port if that is taken)")
	serversFlag(cmd, &servers)
	return cmd
}

func (c console) serve() *cobra.Command {
	var folder, listen, servers string
	cmd := &cobra.Command{
		Use:   "serve",
		Short: "serve your workshop",
		Long: `Serves the pages and the API of your workshop from its data folder, to this
computer only. Stop it with Ctrl-C; what was acknowledged is safe.`,
		Args: noArgs,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			dir, err := c.folder(folder)
			if err != nil {
				return err
			}
			return c.serveFolder(cmd, dir, listen, servers, false)
		}),
	}
	c.folderFlag(cmd, &folder)
	cmd.Flags().StringVar(&listen, "listen", "", "address to serve on ("+usualAddress+")")
	serversFlag(cmd, &servers)
	return cmd
}

func (c console) serveFolder(cmd *cobra.Command, dir, listen, servers string, demo bool) error {
	names, err := c.servers(servers)
	if err != nil {
		return err
	}
	ln, err := listenOn(listen, demo)
	if err != nil {
		return err
	}
	defer ln.Close()
	log := slog.New(slog.NewTextHandler(c.err, nil))
	var w *workshop.Workshop
	standard := c.runningStandard(names, demo, func(s reference.State) {
		if err := w.KeepStanding(cmd.Context(), s.Reading); err != nil && cmd.Context().Err() == nil {
			log.Warn("bound of the standard not kept", slog.Any("err", err))
		}
	})
	return c.inFolderBy(cmd.Context(), dir, standard, func(ctx context.Context, opened *workshop.Workshop, dir string) error {
		w = opened
		if demo {
			if err := fillDemo(ctx, w, standard.Now()); err != nil {
				return err
			}
		}
		asking, stop := context.WithCancel(ctx)
		var asked sync.WaitGroup
		asked.Go(func() { standard.Run(asking) })
		defer asked.Wait()
		defer stop()
		return c.serveOn(ctx, ln, w, dir, demo, log)
	})
}

// fillDemo writes the invented workshop and its last week of the standard.
func fillDemo(ctx context.Context, w *workshop.Workshop, now time.Time) error {
	if err := w.Fill(ctx, lanternquay.Entries(now)); err != nil {
		return err
	}
	for _, m := range lanternquay.Microphones(now) {
		if err := w.KeepMicrophone(ctx, store.Microphone(m)); err != nil {
			return err
		}
	}
	for _, s := range lanternquay.Standings(now) {
		if err := w.KeepStanding(ctx, reference.Reading{UTC: s.At, OffsetS: s.OffsetS, BoundS: s.BoundS, Known: true, Source: s.Source}); err != nil {
			return err
		}
	}
	return nil
}

// demoBoundS is what the clock of this computer is taken to be worth in the
// demonstration until a server is heard, s.
const demoBoundS = 0.005

// runningStandard returns the standard by which the pages run.
func (c console) runningStandard(names []string, demo bool, heard func(reference.State)) *reference.Standard {
	from, _ := reference.AdoptList()
	o := reference.Options{Heard: heard, List: from}
	if demo {
		o.TakenS = demoBoundS
	}
	return reference.New(names, o)
}

// listenOn opens the address; only this computer may be served until there is
// a way to sign in.
func listenOn(listen string, demo bool) (net.Listener, error) {
	address := listen
	if address == "" {
		address = usualAddress
	}
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return nil, usage("--listen %s is no address; write host:port, such as %s", address, usualAddress)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return nil, usage("--listen %s would serve other computers, and there is no sign-in yet; listen on 127.0.0.1", address)
	}
	ln, err := net.Listen("tcp", address)
	if err != nil && demo && listen == "" {
		ln, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return nil, fmt.Errorf("%s cannot be listened on (%w); choose another port with --listen", address, errors.Unwrap(err))
	}
	return ln, nil
}

// The limits of one request: enough for a photograph over a slow line.
const (
	headerTime = 10 * time.Second
	wholeTime  = 2 * time.Minute
	idleTime   = 2 * time.Minute
	stopTime   = 10 * time.Second
)

func (c console) serveOn(ctx context.Context, ln net.Listener, w *workshop.Workshop, dir string, demo bool, log *slog.Logger) error {
	now := w.Standard().Now
	mux := http.NewServeMux()
	mux.Handle("/api/v1/", http.NewCrossOriginProtection().Handler(api.New(w, now)))
	pages := web.New(w, now, web.Options{Demo: demo, Log: log})
	defer pages.Close()
	mux.Handle("/", pages)
	server := &http.Server{
		Handler: thisComputerOnly(mux), ReadHeaderTimeout: headerTime, ReadTimeout: wholeTime, WriteTimeout: wholeTime, IdleTimeout: idleTime,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	what := "your workshop in " + dir
	if demo {
		what = "the invented workshop Lantern Quay, gone when it stops"
	}
	fmt.Fprintf(c.out, "timeball serves %s.\nOpen http://%s/ in a browser; Ctrl-C stops it.\n", what, ln.Addr())
	served := make(chan error, 1)
	go func() { served <- server.Serve(ln) }()
	select {
	case err := <-served:
		return err
	case <-ctx.Done():
	}
	ending, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
	defer cancel()
	if err := server.Shutdown(ending); err != nil {
		server.Close()
	}
	return nil
}

// thisComputerOnly refuses requests under a name that is not of this computer,
// so that a page elsewhere cannot reach the workshop through a name of its own
// that leads here.
func thisComputerOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		ip := net.ParseIP(strings.Trim(host, "[]"))
		if host != "localhost" && (ip == nil || !ip.IsLoopback()) {
			http.Error(w, "this workshop answers to localhost and 127.0.0.1 only; open it under that name", http.StatusMisdirectedRequest)
			return
		}
		next.ServeHTTP(w, r)
	})
}
