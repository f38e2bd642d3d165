package cli

import (
	"fmt"
	"os"
	"time"

	"golang.org/x/term"
)

// progress says on a terminal what takes long, from a second on, and returns
// what ends it.
func (c console) progress(format string, args ...any) (done func()) {
	text := fmt.Sprintf(format, args...)
	return c.progressOf(func() string { return text })
}

// progressOf is progress with words that change as the work goes on.
func (c console) progressOf(say func() string) (done func()) {
	f, ok := c.err.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func() {}
	}
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		tick := time.NewTicker(time.Second)
		defer tick.Stop()
		begun := time.Now()
		said := false
		for {
			select {
			case <-stop:
				if said {
					fmt.Fprint(f, "\r\x1b[K")
				}
				return
			case <-tick.C:
				said = true
				fmt.Fprintf(f, "\r\x1b[K%s, %.0f s …", say(), time.Since(begun).Seconds())
			}
		}
	}()
	return func() { close(stop); <-stopped }
}
