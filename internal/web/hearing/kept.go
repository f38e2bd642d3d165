package hearing

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"

	"timeball/internal/audio"
	"timeball/internal/chronometer"
)

// kept is the sound of a listening as it came, in a file that has no name or
// loses it with the listening.
type kept struct {
	file  *os.File
	wav   *audio.WAVWriter
	bytes int64 // of samples
	full  bool  // more came than a recording holds
}

// mostBytes is how many bytes of samples are kept; the head has its place too.
const mostBytes = chronometer.MostRecording - 1<<12

// newKept returns an empty recording of one channel at rateHz.
func newKept(rateHz int) (*kept, error) {
	file, err := os.CreateTemp("", "timeball-listening-*.wav")
	if err != nil {
		return nil, unkept(err)
	}
	// Where the system lets a file go on without its name, nothing is left behind
	// even if the program is ended by force; elsewhere discard removes it.
	_ = os.Remove(file.Name())
	return &kept{file: file, wav: audio.NewWAV(file, rateHz, 1, 16)}, nil
}

func unkept(err error) error {
	return fmt.Errorf("the sound cannot be kept: %w; make room on the disk", err)
}

// write adds samples while there is room.
func (k *kept) write(samples []float64) error {
	if k.full = k.full || k.bytes+2*int64(len(samples)) > mostBytes; k.full {
		return nil
	}
	k.bytes += 2 * int64(len(samples))
	if err := k.wav.Write(samples); err != nil {
		return unkept(err)
	}
	return nil
}

// read returns the recording up to now, which may go on afterwards.
func (k *kept) read() (io.Reader, error) {
	size, err := k.file.Seek(0, io.SeekEnd)
	if err != nil {
		return nil, err
	}
	head := make([]byte, size-k.bytes)
	if _, err := k.file.ReadAt(head, 0); err != nil {
		return nil, err
	}
	// An unfinished head says of its two lengths "to the end", by which players are
	// misled (Microsoft and IBM, Multimedia Programming Interface (1991): RIFF).
	binary.LittleEndian.PutUint32(head[4:], uint32(size-8))            //nolint:gosec // below MostRecording
	binary.LittleEndian.PutUint32(head[len(head)-4:], uint32(k.bytes)) //nolint:gosec // likewise
	return io.MultiReader(bytes.NewReader(head), io.NewSectionReader(k.file, int64(len(head)), k.bytes)), nil
}

// discard gives the sound up.
func (k *kept) discard() {
	if k != nil {
		_ = k.file.Close()
		_ = os.Remove(k.file.Name())
	}
}
