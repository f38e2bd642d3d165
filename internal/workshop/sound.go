package workshop

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"timeball/internal/chronometer"
	"timeball/internal/store"
)

// soundHead is how many bytes tell the media type of a recording.
const soundHead = 12

// KeepRecording stores a recording and returns what an entry names it by; it
// is read as it comes, never whole into memory. No entry is written. Its error
// wraps chronometer.ErrEntry if the file is no recording or too large.
func (w *Workshop) KeepRecording(ctx context.Context, r io.Reader, name string) (chronometer.Recording, error) {
	name = plainName(name)
	head := make([]byte, soundHead)
	n, err := io.ReadFull(r, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return chronometer.Recording{}, fmt.Errorf("recording %.80q: %w", name, err)
	}
	mediaType, ok := chronometer.RecordingType(head[:n])
	if !ok {
		return chronometer.Recording{}, fmt.Errorf("%w: the file is no recording; choose %s", chronometer.ErrEntry, chronometer.RecordingHint)
	}
	a, err := w.db.Attach(ctx, io.MultiReader(bytes.NewReader(head[:n]), r), chronometer.MostRecording, mediaType, name)
	if errors.Is(err, store.ErrTooLarge) {
		return chronometer.Recording{}, fmt.Errorf("%w: the recording is too large; choose %s, or part it", chronometer.ErrEntry, chronometer.RecordingHint)
	}
	if err != nil {
		return chronometer.Recording{}, err
	}
	return chronometer.Recording{SHA256: a.SHA256, Name: name, Type: mediaType, Bytes: a.Size}, nil
}

// Recording returns what an entry names a stored recording by, which is called
// name; ErrUnknown if no recording of that SHA-256 is kept.
func (w *Workshop) Recording(ctx context.Context, sha256, name string) (chronometer.Recording, error) {
	mediaType, file, err := w.Attachment(ctx, sha256)
	if err != nil {
		return chronometer.Recording{}, err
	}
	defer func() { _ = file.Close() }()
	if mediaType != chronometer.WAV && mediaType != chronometer.FLAC {
		return chronometer.Recording{}, fmt.Errorf("%w: the file with the sha256 %s is kept as %s and is no recording; attach the sound again", ErrUnknown, sha256, mediaType)
	}
	size, err := file.Seek(0, io.SeekEnd)
	if err != nil {
		return chronometer.Recording{}, fmt.Errorf("recording %s: %w", sha256, err)
	}
	return chronometer.Recording{SHA256: sha256, Name: plainName(name), Type: mediaType, Bytes: size}, nil
}

// longestName is the most bytes of the name of a file.
const longestName = 200

// plainName returns the name of a file without the folders it lay in, as text.
func plainName(name string) string {
	name = strings.ToValidUTF8(strings.ReplaceAll(name[strings.LastIndexAny(name, `/\`)+1:], "\x00", ""), "")
	return strings.ToValidUTF8(name[:min(len(name), longestName)], "")
}

// Microphone returns what is known of a sound input, or false if it was never
// kept.
func (w *Workshop) Microphone(ctx context.Context, key string) (store.Microphone, bool, error) {
	return w.db.Microphone(ctx, key)
}

// Microphones returns what is known of all sound inputs, the one seen last
// first.
func (w *Workshop) Microphones(ctx context.Context) ([]store.Microphone, error) {
	return w.db.Microphones(ctx)
}

// KeepMicrophone keeps what is known of a sound input; see
// store.DB.KeepMicrophone.
func (w *Workshop) KeepMicrophone(ctx context.Context, m store.Microphone) error {
	return w.db.KeepMicrophone(ctx, m)
}
