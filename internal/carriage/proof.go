package carriage

import (
	"errors"
	"fmt"
	"math"
	"time"

	"timeball/internal/clock"
)

// ErrReading marks readings of dial or up-and-down dial that cannot be.
var ErrReading = errors.New("the reading cannot be")

// Reading is what an instrument at rest shows.
type Reading struct {
	Dial    clock.DialReading `json:"dial"`
	UTC     time.Time         `json:"utc,omitzero"`        // when it was read; zero: not known
	UpDownH *float64          `json:"up_down_h,omitempty"` // hours since wound, by the up-and-down dial; nil: none, or not read
}

// Verdict is what the dial says on arrival.
type Verdict string

// The verdicts.
const (
	HeldAllTheWay Verdict = "held all the way"
	CameFree      Verdict = "balance came free"
	Disagrees     Verdict = "dial and record do not agree"
)

// Limits of what is read.
const (
	sameS    = 0.5 // s: readings of a dial at rest that differ by up to one beat are the same
	upDownH  = 2.0 // h: how far two readings of an up-and-down dial are trusted (common practice, no source)
	goesOnH  = 4.0 // h: how far beyond its going it may run (common practice, no source)
	gainingS = 60  // s: how far dial and UTC may part on a journey, no more than a minute
	// Two readings to the half second, each uniform: 0.5 √(2/12) s.
	ranSigmaS = 0.20412414523193154
)

// Arrival is what follows from the readings at departure and on arrival of an
// instrument whose balance was held.
type Arrival struct {
	Verdict Verdict   `json:"verdict"`
	RanS    float64   `json:"ran_s"`              // s that it ran on the way, the likeliest; 0 if held
	RanSDS  float64   `json:"ran_sd_s"`           // one standard deviation, s, from reading to the half second
	OthersS []float64 `json:"others_s,omitempty"` // s; what else the dial allows when no up-and-down dial decides
	Start   bool      `json:"start"`              // nothing here speaks against starting it
	Say     string    `json:"say"`
}

// OnArrival returns whether an instrument was held all the way, from what its
// dial showed when its balance was held and what it shows on arrival, before
// it is wound or moved. It ran (received − sent) modulo the dial; of the values
// that the remaining going and the time on the way allow, the up-and-down dial
// chooses. It fails if a reading cannot be: a dial outside [0, 86400) s, hours
// since wound below 0 or beyond the going, or an arrival before the departure.
func OnArrival(dial clock.Dial, goingH float64, sent, received Reading) (Arrival, error) {
	if err := checkReadings(goingH, sent, received); err != nil {
		return Arrival{}, err
	}
	m := dial.Modulus()
	base := math.Mod(float64(received.Dial-sent.Dial), m)
	if base < 0 {
		base += m
	}
	if m-base <= sameS {
		base -= m
	}
	most := longestRunS(goingH, sent, received)
	var allowed []float64
	for ran := base; ran <= most; ran += m {
		allowed = append(allowed, ran)
	}
	if sent.UpDownH != nil && received.UpDownH != nil {
		return decided(allowed, *received.UpDownH-*sent.UpDownH), nil
	}
	return undecided(allowed), nil
}

func checkReadings(goingH float64, readings ...Reading) error {
	if !(goingH >= 12 && goingH <= 1000) {
		return fmt.Errorf("%w: going_h %g is not from 12 to 1000 hours; write how long it goes on a full wind", ErrReading, goingH)
	}
	for i, r := range readings {
		which := pick(i == 0, "sent", "received")
		if !(r.Dial >= 0 && r.Dial < 86400) {
			return fmt.Errorf("%w: %s dial %g s is not from 0 to below 86400; read hours, minutes and seconds", ErrReading, which, float64(r.Dial))
		}
		if u := r.UpDownH; u != nil && !(*u >= 0 && *u <= goingH+goesOnH) {
			return fmt.Errorf("%w: %s up_down_h %g is not from 0 to %g; read the hours since it was wound", ErrReading, which, *u, goingH)
		}
	}
	sent, received := readings[0], readings[1]
	if !sent.UTC.IsZero() && !received.UTC.IsZero() && received.UTC.Before(sent.UTC) {
		return fmt.Errorf("%w: received at %s is before sent at %s; look at the dates", ErrReading, received.UTC.UTC().Format(time.RFC3339), sent.UTC.UTC().Format(time.RFC3339))
	}
	return nil
}

// longestRunS returns the longest it can have run, s.
func longestRunS(goingH float64, sent, received Reading) float64 {
	left := goingH + goesOnH
	if sent.UpDownH != nil {
		left -= *sent.UpDownH
	}
	most := left * 3600
	if !sent.UTC.IsZero() && !received.UTC.IsZero() {
		// A leap second more or less is within the minute.
		most = min(most, received.UTC.Sub(sent.UTC).Seconds()+gainingS)
	}
	return most
}

// decided returns the arrival when the up-and-down dial has moved by movedH.
func decided(allowed []float64, movedH float64) Arrival {
	nearest, off := 0.0, math.Inf(1)
	for _, ran := range allowed {
		if d := math.Abs(ran/3600 - movedH); d < off {
			nearest, off = ran, d
		}
	}
	if off > upDownH {
		return disagrees(fmt.Sprintf("the up-and-down dial has moved by %s h, which no run that the dial allows explains", number(movedH)))
	}
	return ranFor(nearest, nil)
}

// undecided returns the arrival when there is only the dial.
func undecided(allowed []float64) Arrival {
	if len(allowed) == 0 {
		return disagrees("the dial has moved by more than the power left and the time on the way allow")
	}
	return ranFor(allowed[0], allowed[1:])
}

func ranFor(ran float64, others []float64) Arrival {
	a := Arrival{Verdict: CameFree, RanS: ran, RanSDS: ranSigmaS, OthersS: others}
	if math.Abs(ran) <= sameS {
		a.Verdict, a.RanS, a.Start = HeldAllTheWay, 0, true
		a.Say = "the dial is as it was sent: the balance was held all the way"
		if len(others) > 0 {
			a.Say += ", unless it ran for exactly " + hours(others[0]) + " or a multiple, which the dial alone cannot tell"
		}
		return a
	}
	a.Say = "balance came free; do not start; tell the keeper: it ran for " + hours(ran)
	if len(others) > 0 {
		a.Say += ", or longer by whole turns of the hour hand, which the dial alone cannot tell"
	}
	return a
}

func disagrees(why string) Arrival {
	return Arrival{Verdict: Disagrees, RanSDS: ranSigmaS, Say: why + ": a reading is wrong, or somebody moved the hands or wound it; do not start; tell the keeper"}
}

// hours returns s as "1 min 41.5 s" or "3 h 2 min 1.0 s".
func hours(s float64) string {
	tenths := int64(math.Round(s * 10))
	h, m, sec := tenths/36000, tenths/600%60, float64(tenths%600)/10
	switch {
	case h > 0:
		return fmt.Sprintf("%d h %d min %.1f s", h, m, sec)
	case m > 0:
		return fmt.Sprintf("%d min %.1f s", m, sec)
	}
	return fmt.Sprintf("%.1f s", sec)
}

// Turns returns how many turns of the key wind a two-day instrument to the stop
// that has gone for h hours since it was wound: 7½ a day (A. J. Kenealy,
// Yachting Wrinkles (1899), page 166), in proportion. It returns 0, false for
// other goings, of which no count is known, and for hours outside its going.
func Turns(h, goingH float64) (float64, bool) {
	if !twoDay(goingH) || !(h >= 0 && h <= goingH+goesOnH) {
		return 0, false
	}
	return turnsADay * h / 24, true
}

const turnsADay = 7.5
