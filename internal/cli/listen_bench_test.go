//go:build unix

package cli

import (
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"timeball/internal/audio"
	"timeball/internal/simulate/sound"
)

// BenchmarkListenAgainstSoX times the whole command on an hour of sound, one
// core, against a filter of SoX over the same file in the same run, WAV and
// FLAC: s/hour, the ratio of the processor times, and the peak memory in MB.
func BenchmarkListenAgainstSoX(b *testing.B) {
	sox, err := exec.LookPath("sox")
	if err != nil {
		if os.Getenv("CI") == "true" {
			b.Fatal("SoX is not installed; sh tools.sh")
		}
		b.Skip("SoX is not installed")
	}
	folder := b.TempDir()
	program := filepath.Join(folder, "timeball")
	if out, err := exec.Command("go", "build", "-o", program, "timeball/cmd/timeball").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	wav, flac := filepath.Join(folder, "hour.wav"), filepath.Join(folder, "hour.flac")
	hour(b, wav)
	if out, err := exec.Command(sox, wav, flac).CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	for _, file := range []string{wav, flac} {
		b.Run(filepath.Ext(file)[1:], func(b *testing.B) {
			var ours, theirs, most float64
			for b.Loop() {
				ours += spent(b, &most, exec.Command(program, "listen", file, "--json"))
				var unused float64
				theirs += spent(b, &unused, exec.Command(sox, file, "-n", "sinc", "2k-12k", "stat"))
			}
			b.ReportMetric(ours/float64(b.N), "s/hour")
			b.ReportMetric(ours/theirs, "of-sox")
			b.ReportMetric(most, "MB-peak")
		})
	}
}

// spent runs a command on one core and returns its processor time, s.
func spent(b *testing.B, most *float64, c *exec.Cmd) float64 {
	b.Helper()
	c.Env = append(os.Environ(), "GOMAXPROCS=1")
	if out, err := c.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	if usage, ok := c.ProcessState.SysUsage().(*syscall.Rusage); ok {
		*most = max(*most, float64(usage.Maxrss)/1024)
	}
	return (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
}

func hour(b *testing.B, name string) {
	b.Helper()
	file, err := os.Create(name)
	if err != nil {
		b.Fatal(err)
	}
	w := audio.NewWAV(file, 48000, 1, 16)
	t := sound.Take{Seconds: 3600, SNRdB: 20, SNRWhole: true, Chronometers: []sound.Chronometer{{JitterS: 20e-6, PatternS: 30e-6, AmplitudeDeg: 225}}}
	s := t.Stream(rand.New(rand.NewPCG(1, 2)))
	buffer := make([]float64, 48000)
	for n := s.Read(buffer); n > 0; n = s.Read(buffer) {
		if err := w.Write(buffer[:n]); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	if err := file.Close(); err != nil {
		b.Fatal(err)
	}
}
