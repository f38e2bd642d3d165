package workshop

import (
	"context"
	"io"
	"iter"

	"timeball/internal/archive"
	"timeball/internal/chronometer"
)

// Export writes the whole workshop as one archive; the same workshop gives the
// same bytes.
func (w *Workshop) Export(ctx context.Context, out io.Writer) error {
	kept, err := w.db.Attachments(ctx)
	if err != nil {
		return err
	}
	attachments := make([]archive.Attachment, 0, len(kept))
	for _, a := range kept {
		attachments = append(attachments, archive.Attachment{
			SHA256: a.SHA256, Name: a.Name, Type: a.Type, Size: a.Size,
			Open: func() (io.ReadCloser, error) {
				r, _, err := w.db.OpenAttachment(ctx, a.SHA256)
				return r, err
			},
		})
	}
	return archive.Write(out, w.db.Entries(ctx), attachments, w.logbooks(ctx))
}

// logbooks returns the logbook of every instrument, one after another.
func (w *Workshop) logbooks(ctx context.Context) iter.Seq2[chronometer.Logbook, error] {
	return func(yield func(chronometer.Logbook, error) bool) {
		subjects, err := w.db.Subjects(ctx)
		if err != nil {
			yield(chronometer.Logbook{}, err)
			return
		}
		for _, s := range subjects {
			if s.Kind != chronometer.KindEntered {
				continue
			}
			book, err := w.db.Logbook(ctx, s.ID)
			if !yield(book, err) || err != nil {
				return
			}
		}
	}
}

// BringIn merges an archive into the workshop: entries that are held already
// stay as they are. It returns how many entries the archive has.
func (w *Workshop) BringIn(ctx context.Context, a *archive.Archive) (int, error) {
	for _, f := range a.Attachments() {
		if err := w.bringFile(ctx, f); err != nil {
			return 0, err
		}
	}
	return a.Len(), w.db.AddSeq(ctx, a.Entries())
}

func (w *Workshop) bringFile(ctx context.Context, f archive.Attachment) error {
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	_, err = w.db.Attach(ctx, r, f.Size, f.Type, f.Name)
	return err
}
