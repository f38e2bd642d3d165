package hearing

import (
	"context"
	"net/http"

	"timeball/internal/web/earpiece"
)

// Refuse tells a page over a socket that its listening is not kept any more: a
// script sees no status of a socket, and would try for ever.
func Refuse(w http.ResponseWriter, r *http.Request) error {
	return earpiece.Serve(w, r, gone{}, earpiece.Options{})
}

// gone is the ear of a listening that is not kept any more: it refuses what
// comes, in words.
type gone struct{}

// Hello refuses.
func (gone) Hello(earpiece.Hello) (int64, error) { return 0, errGone }

// Take refuses.
func (gone) Take(earpiece.Chunk) error { return errGone }

// Tone is not called.
func (gone) Tone(earpiece.Tone) {}

// Panel shows nothing.
func (gone) Panel(context.Context) (string, int64) { return "", 0 }

// Done is not called.
func (gone) Done() {}
