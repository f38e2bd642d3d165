package regulating

import (
	"math"

	"timeball/internal/statespace"
)

// Part is what is turned or moved.
type Part string

// The parts, as a logbook names them.
const (
	TimingScrews  Part = "timing screws"
	TimingNuts    Part = "timing nuts"
	RimWeights    Part = "rim weights"
	BalanceSpring Part = "balance spring"
	Other         Part = "other"
)

// regulates reports whether the part is made to alter the rate at all
// temperatures alike, in equal and opposite turns.
func (p Part) regulates() bool { return p == TimingScrews || p == TimingNuts }

// Estimate is an estimate with its doubt: mean, standard deviation and the
// central 95% interval, which need not be symmetric.
type Estimate struct {
	Mean, SD, Lo95, Hi95 float64
}

// Half returns the greater half width of the 95% interval.
func (e Estimate) Half() float64 { return math.Max(e.Hi95-e.Mean, e.Mean-e.Lo95) }

// Prior is what is thought of an effect before anything was measured.
type Prior struct {
	Median float64 // per turn of both; its sign is held for certain. 0: the sign is not known
	Factor float64 // the effect lies within this factor of Median, 95%; more than 1
	SD     float64 // standard deviation about nought, where Median is 0
}

// Hand is what a hand can set.
type Hand struct {
	Step float64 // the least part of a turn that is counted, turns; mm for a weight
	SDS  float64 // root mean square of what the pair is set to less what was meant, turns; mm for a weight
}

// Model is what is taken for granted when an effect is learnt.
type Model struct {
	Prior Prior
	Hand  Hand

	// Noise is the instrument's own, which comes on top of Stretch.SDS; the zero
	// Noise if that holds it already.
	Noise statespace.Noise

	// HeardSDS is the standard deviation, s/d, by which the rate of some minutes
	// differs from that of a day, over and above the sampling clock.
	HeardSDS float64
}

// UsualHeardSDS is Model.HeardSDS where nothing better is known, s/d: common
// practice, no source.
const UsualHeardSDS = 0.3

// Usual returns the model of a part before its instrument is known. All its
// figures are from memory or common practice, without a source, and wide for
// that reason: −20 s/d per turn of both timing screws within a factor of 2.7,
// and a factor of 4 for nuts, whose threads and masses differ more; a fortieth
// of a turn as the least that is counted and a sixtieth as the scatter of the
// setting. What other parts do to the rate has no known sign.
func Usual(p Part) Model {
	m := Model{Prior: Prior{SD: 20}, Hand: Hand{Step: 1.0 / 40, SDS: 1.0 / 60}, HeardSDS: UsualHeardSDS}
	switch p {
	case TimingScrews:
		m.Prior = Prior{Median: -20, Factor: 2.7}
	case TimingNuts:
		m.Prior = Prior{Median: -20, Factor: 4}
	case RimWeights:
		m.Hand = Hand{Step: 0.1, SDS: 0.1}
	}
	return m
}

// UsualCompensation returns the model of the weights' effect on the temperature
// coefficient: +0.5 s/d per °C per millimetre within a factor of 4. A rough
// derivation, no source: a plain balance loses 5 to 11 s/d per °C (3–6 s/d per
// °F, "Excelsior", A Practical Treatise on the Balance Spring (1876),
// pp. 127–131), which weights about 25 mm along laminae that bend as the
// square of the length make good, so that a millimetre is worth up to 2/25 of
// it.
func UsualCompensation() Model {
	return Model{Prior: Prior{Median: 0.5, Factor: 4}, Hand: Hand{Step: 0.1, SDS: 0.1}}
}

// valid returns the model with the figures that make no sense replaced by those
// of the usual one.
func (m Model) valid(usual Model) Model {
	switch p := m.Prior; {
	case p.Median != 0 && finite(p.Median) && p.Factor > 1 && finite(p.Factor):
	case p.Median == 0 && p.SD > 0 && finite(p.SD):
	default:
		m.Prior = usual.Prior
	}
	m.Hand = m.Hand.valid(usual.Hand)
	if !(m.HeardSDS >= 0) || !finite(m.HeardSDS) {
		m.HeardSDS = UsualHeardSDS
	}
	m.Noise = validNoise(m.Noise)
	return m
}

func (h Hand) valid(usual Hand) Hand {
	if !(h.Step > 0) || !finite(h.Step) {
		h.Step = usual.Step
	}
	if !(h.SDS > 0) || !finite(h.SDS) {
		h.SDS = usual.SDS
	}
	return h
}

func validNoise(q statespace.Noise) statespace.Noise {
	if !(q.SigmaW >= 0) || !finite(q.SigmaW) || !(q.SigmaR >= 0) || !finite(q.SigmaR) {
		return statespace.Noise{SigmaW: 0.2, SigmaR: 0.02} // an ordinary instrument
	}
	return q
}

// logSD returns the standard deviation of the logarithm of the effect.
func (p Prior) logSD() float64 { return math.Log(p.Factor) / z95 }

// z95 is the 97.5% point of the normal distribution.
const z95 = 1.959963984540054

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
