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
	f, ok := c.err.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return func() {}
	}
	text := fmt.Sprintf(format, args...)
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
				fmt.Fprintf(f, "\r%s, %.0f s …", text, time.Since(begun).Seconds())
			}
		}
	}()
	return func() { close(stop); <-stopped }
}
