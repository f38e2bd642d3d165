package chronometer

import (
	"errors"
	"fmt"
	"math"
)

// Kept says what the standard of this workshop was at the instant of a
// comparison.
type Kept struct {
	OffsetS float64 `json:"offset_s"` // UTC minus the clock of the computer, s
	BoundS  float64 `json:"bound_s"`  // UTC was known within this, s; 0 if no bound was known
	DeviceS float64 `json:"device_s"` // bound of the device that took the instant against the computer, s; 0 if it was the computer
}

// SD returns the standard deviation, s, that stands for the two bounds: an
// error known only to lie within ±a is taken as uniform, a/√3 (JCGM 100:2008,
// 4.3.7).
func (k Kept) SD() float64 { return math.Hypot(k.BoundS, k.DeviceS) / math.Sqrt(3) }

func (k *Kept) check() error {
	if k == nil {
		return nil
	}
	return first(within("kept.offset_s", k.OffsetS, -1e9, 1e9, "s"), within("kept.bound_s", k.BoundS, 0, 600, "s"), within("kept.device_s", k.DeviceS, 0, 600, "s"))
}

// Sense is how a beat is followed.
type Sense string

// The senses.
const (
	Seen      Sense = "seen"
	Heard     Sense = "heard"
	SeenHeard Sense = "seen and heard"
)

// Choices returns the senses.
func (Sense) Choices() []string { return []string{string(Seen), string(Heard), string(SeenHeard)} }

// mostTapped is the most taps that an entry holds.
const mostTapped = 500

// Tapped is the taps behind a comparison, kept so that it can be reckoned
// again.
type Tapped struct {
	EveryS float64   `json:"every_s"`            // spacing of the marks, s
	AtS    []float64 `json:"at_s"`               // each tap after Entry.At, s, nothing taken off
	Device string    `json:"device,omitempty"`   // on which it was tapped
	LagS   float64   `json:"lag_s"`              // personal equation taken off, s, + late
	LagSDS float64   `json:"lag_sd_s"`           // what was left of it, s
	By     ID        `json:"lag_from,omitempty"` // the exercise that measured it; empty: the usual one
}

func (t *Tapped) check() error {
	if t == nil {
		return nil
	}
	if len(t.AtS) == 0 || len(t.AtS) > mostTapped {
		return fmt.Errorf("tapped.at_s has %d taps; send 1 to %d", len(t.AtS), mostTapped)
	}
	for _, s := range t.AtS {
		if err := within("tapped.at_s", s, -86400, 86400, "s"); err != nil {
			return err
		}
	}
	if t.By != "" {
		if _, err := ParseID(string(t.By)); err != nil {
			return fmt.Errorf("tapped.lag_from: %w", err)
		}
	}
	return first(within("tapped.every_s", t.EveryS, 0.1, 60, "s"), short("tapped.device", t.Device),
		within("tapped.lag_s", t.LagS, -2, 2, "s"), within("tapped.lag_sd_s", t.LagSDS, 0, 2, "s"))
}

// Equation is the personal equation of an observer on a device, from one
// exercise. Its logbook is that of the observer on that device.
type Equation struct {
	Observer string    `json:"observer" label:"Observer" need:"yes"`
	Device   string    `json:"device" label:"Device" need:"yes"`
	Sense    Sense     `json:"sense" label:"How the beat was followed" need:"yes"`
	BeatS    float64   `json:"beat_s" label:"Beat" unit:"s" need:"yes"`
	LagS     float64   `json:"lag_s" label:"Taps come late by" unit:"s" hint:"early with a minus"`
	LagSDS   float64   `json:"lag_sd_s" label:"Doubt of that" unit:"s"`
	ScatterS float64   `json:"scatter_s" label:"Scatter of one tap" unit:"s"`
	TapsS    []float64 `json:"taps_s" asked:"no"` // each tap less the beat it belongs to, s, in the order made
}

// Kind returns KindEquation.
func (Equation) Kind() Kind { return KindEquation }

// Words returns the lead or lag with its doubt.
func (q Equation) Words() string {
	return phrase(q.Observer, q.Device, string(q.Sense), q.Lag(), fmt.Sprintf("scatter of one tap %.0f ms", 1000*q.ScatterS))
}

// Lag returns "early 42 ms ±8".
func (q Equation) Lag() string {
	way := "late"
	if q.LagS < 0 {
		way = "early"
	}
	return fmt.Sprintf("%s %.0f ms ±%.0f", way, 1000*math.Abs(q.LagS), math.Ceil(1960*q.LagSDS))
}

func (q Equation) check() error {
	if len(q.TapsS) > mostTapped {
		return fmt.Errorf("taps_s has %d taps; send at most %d", len(q.TapsS), mostTapped)
	}
	for _, s := range q.TapsS {
		if err := within("taps_s", s, -60, 60, "s"); err != nil {
			return err
		}
	}
	if math.IsInf(q.ScatterS, 0) {
		return errors.New("scatter_s is not finite")
	}
	return first(need("observer", q.Observer, "write who taps"), need("device", q.Device, "write on what is tapped"),
		need("sense", string(q.Sense), "choose one"), oneOf("sense", q.Sense, Sense("").Choices()), within("beat_s", q.BeatS, 0.1, 5, "s"),
		within("lag_s", q.LagS, -2, 2, "s"), within("lag_sd_s", q.LagSDS, 0, 2, "s"), within("scatter_s", q.ScatterS, 0, 2, "s"))
}
