package beat_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"runtime"
	"testing"

	"timeball/internal/beat"
	"timeball/internal/simulate/sound"
)

// unreal returns where in a value a number is not finite, or "".
func unreal(v reflect.Value, path string) string {
	switch v.Kind() {
	case reflect.Float64, reflect.Float32:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Sprintf("%s is %g", path, x)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if p := unreal(v.Field(i), path+"."+v.Type().Field(i).Name); p != "" {
				return p
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			if p := unreal(v.Index(i), fmt.Sprintf("%s[%d]", path, i)); p != "" {
				return p
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			return unreal(v.Elem(), path)
		}
	}
	return ""
}

// sane fails unless everything that a listener says is a number and belongs
// together.
func sane(t *testing.T, l *beat.Listener) {
	t.Helper()
	f := l.Finding(nil)
	if p := unreal(reflect.ValueOf(f), "Finding"); p != "" {
		t.Errorf("%s", p)
	}
	switch {
	case f.Heard && (f.PeriodS <= 0 || f.PeriodSdS <= 0 || f.Beats < 8 || f.LoudBeats < 1 || f.LoudBeats > 2 || f.Why != ""):
		t.Errorf("heard: %+v", f)
	case !f.Heard && (f.Why == "" || f.Rated):
		t.Errorf("not heard: %q, rated %v", f.Why, f.Rated)
	case f.Rated && (f.RateSd <= 0 || !f.Usual):
		t.Errorf("rated: %v, sd %g, usual %v", float64(f.Rate), f.RateSd, f.Usual)
	}
	if f.Missed < 0 || f.Amplitude < 0 || f.AmplitudeSd < 0 || f.Channel < 0 || f.Amplitude > 0 && f.AmplitudeSd == 0 {
		t.Errorf("%+v", f)
	}
	last := math.Inf(-1)
	number := int64(-1)
	l.Strokes(nil, func(s beat.Stroke) {
		if p := unreal(reflect.ValueOf(s), "Stroke"); p != "" {
			t.Errorf("%s", p)
		}
		if s.Number <= number || s.AtS < last {
			t.Errorf("beat %d at %g s after %d at %g", s.Number, s.AtS, number, last)
		}
		number, last = s.Number, s.AtS
	})
}

// FuzzListener: whatever samples come, at whatever rate, in whatever pieces,
// the listener neither panics nor says what is no number. The bytes are samples
// of 16 bits, or floating-point numbers as a file may hold them, and are
// repeated with a pause so that some last long enough to be a beat.
func FuzzListener(f *testing.F) {
	rng := source("fuzz", 0)
	take := minute(rng)
	take.RateHz, take.Seconds = 8000, 1
	var beats []byte
	for _, v := range take.Render(rng).Samples {
		beats = binary.LittleEndian.AppendUint16(beats, uint16(int16(v*32767)))
	}
	f.Add(beats, uint32(8000), uint8(1), false, 0.0, 40.0, uint16(800), uint8(12), uint16(0))
	f.Add(beats, uint32(8000), uint8(2), false, 14400.0, 40.0, uint16(801), uint8(20), uint16(3))
	f.Add(beats[:2000], uint32(4000), uint8(1), false, 0.0, 0.0, uint16(7), uint8(30), uint16(1500))
	f.Add(beats, uint32(8000), uint8(1), true, 18000.0, 52.0, uint16(65535), uint8(9), uint16(0))
	f.Add([]byte{255, 127, 0, 128}, uint32(192000), uint8(1), false, 28800.0, -1.0, uint16(1000), uint8(5), uint16(24000))
	f.Add([]byte{0, 0, 128, 127, 0, 0, 192, 127}, uint32(44100), uint8(1), true, 0.0, 0.0, uint16(441), uint8(5), uint16(100))
	f.Add([]byte{}, uint32(1000), uint8(3), false, 1e9, 1e9, uint16(1), uint8(1), uint16(1))
	f.Fuzz(func(t *testing.T, bytes []byte, rateHz uint32, channels uint8, floats bool, perHour, lift float64, chunk uint16, repeats uint8, pause uint16) {
		// The limits of what internal/audio takes for a recording.
		rateHz, channels = 1000+rateHz%999_001, 1+channels%4
		if math.IsNaN(perHour) || math.IsInf(perHour, 0) || math.IsNaN(lift) || math.IsInf(lift, 0) {
			return
		}
		var one []float64
		if floats {
			for ; len(bytes) >= 4; bytes = bytes[4:] {
				one = append(one, float64(math.Float32frombits(binary.LittleEndian.Uint32(bytes))))
			}
		} else {
			for ; len(bytes) >= 2; bytes = bytes[2:] {
				one = append(one, float64(int16(binary.LittleEndian.Uint16(bytes)))/32768)
			}
		}
		one = append(one, make([]float64, int(pause))...)
		var all []float64
		for range 1 + int(repeats)%40 {
			if all = append(all, one...); len(all) > 400_000 {
				break
			}
		}
		all = all[:len(all)-len(all)%int(channels)]
		sane(t, listenBy(all, int(rateHz), int(channels), 1+int(chunk), beat.Options{PerHour: perHour, LiftDeg: lift}))
	})
}

// TestSane: what is said of ordinary sounds is whole and belongs together.
func TestSane(t *testing.T) {
	t.Parallel()
	n := count(8, 1)
	each(n, func(i int) {
		rng := source("sane", i)
		take := anything(rng)
		take.Seconds = min(take.Seconds, 30)
		sane(t, listen(take.Render(rng).Samples, rateOf(take), beat.Options{LiftDeg: 40}))
	})
}

// TestLongStream: what a listener keeps does not grow with the length of the
// sound but by its beats, up to 64 MB in an hour at 48 kHz. By default the sound
// is sampled at 8 kHz.
func TestLongStream(t *testing.T) {
	rng := source("long", 0)
	take := minute(rng)
	take.RateHz, take.Seconds = 8000, 3600
	if full() {
		take.RateHz = 48000
	}
	var m runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&m)
	base, peak, half := m.HeapAlloc, uint64(0), uint64(0)
	s := take.Stream(rng)
	l := beat.NewListener(take.RateHz, 1, beat.Options{LiftDeg: 40})
	buffer := make([]float64, take.RateHz)
	for second := 0; s.Read(buffer) > 0; second++ {
		l.Write(buffer)
		if second%20 == 0 {
			runtime.ReadMemStats(&m)
			peak = max(peak, m.HeapAlloc-min(base, m.HeapAlloc))
		}
		if second == 1800 {
			runtime.GC()
			runtime.ReadMemStats(&m)
			half = m.HeapAlloc
		}
	}
	l.Close()
	runtime.GC()
	runtime.ReadMemStats(&m)
	f := l.Finding(nil)
	t.Logf("an hour at %d Hz: %.1f MB at most before it is swept, %.1f MB kept, %.2f MB more than after half of it; %d beats, wrong by %.5f s/d, sd %.5f, %d readings of the balance",
		take.RateHz, float64(peak)/1e6, float64(m.HeapAlloc-min(base, m.HeapAlloc))/1e6, float64(int64(m.HeapAlloc)-int64(half))/1e6, f.Beats, float64(f.Rate)-take.Chronometers[0].RatePerDay, f.RateSd, len(f.Swings))
	if peak > 64e6 {
		t.Errorf("%.1f MB", float64(peak)/1e6)
	}
	// 3,600 beats of half an hour, 48 bytes each, in a list that may be twice as
	// long, and the truth of the stream beside them.
	if grown := int64(m.HeapAlloc) - int64(half); grown > 1e6 {
		t.Errorf("half an hour more takes %d bytes", grown)
	}
	if f.Beats < 7190 || f.Missed > 5 {
		t.Errorf("%d beats, %d missed", f.Beats, f.Missed)
	}
	near(t, "rate of an hour", float64(f.Rate), take.Chronometers[0].RatePerDay, 4*f.RateSd)
	runtime.KeepAlive(l)
}

// TestNoiseIsBounded: nothing to be heard for an hour takes no more memory than
// ten minutes of four bands and what a search throws away. With -rows only.
func TestNoiseIsBounded(t *testing.T) {
	if !full() {
		t.Log("heard with -rows only: it takes a minute")
		return
	}
	take := sound.Take{RateHz: 48000, Seconds: 3600, SNRdB: -40}
	s := take.Stream(source("noise", 0))
	l := beat.NewListener(take.RateHz, 1, beat.Options{})
	buffer := make([]float64, take.RateHz)
	var m runtime.MemStats
	peak := uint64(0)
	for s.Read(buffer) > 0 {
		l.Write(buffer)
		runtime.ReadMemStats(&m)
		peak = max(peak, m.HeapAlloc)
	}
	l.Close()
	t.Logf("%.1f MB at most", float64(peak)/1e6)
	if f := l.Finding(nil); f.Heard {
		t.Errorf("a beat in noise: %+v", f)
	}
	if peak > 256e6 {
		t.Errorf("%.1f MB", float64(peak)/1e6)
	}
}
