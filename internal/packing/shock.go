package packing

import (
	"math"

	"timeball/internal/packing/measure"
)

// ImpactSpeed returns the speed, m/s, after a free fall from a height: √(2gh).
func ImpactSpeed(h measure.Length) float64 { return math.Sqrt(2 * measure.Gravity * float64(h)) }

// VelocityChange returns the whole change of speed, m/s, of a fall whose
// rebound is a share from 0 (none) to 1 of the impact speed: (1+e)·√(2gh).
func VelocityChange(h measure.Length, rebound float64) float64 {
	return (1 + rebound) * ImpactSpeed(h)
}

// EquivalentFall returns the free fall without rebound that changes the speed
// by dv m/s: dv²/(2g).
func EquivalentFall(dv float64) measure.Length {
	return measure.Length(dv * dv / (2 * measure.Gravity))
}

// HalfSineChange returns the change of speed, m/s, of a half-sine pulse of
// peak g (G) lasting s seconds: (2/π)·G·g·s.
func HalfSineChange(g, s float64) float64 { return 2 / math.Pi * g * measure.Gravity * s }

// RectangularChange returns the change of speed, m/s, of a rectangular pulse
// of g (G) lasting s seconds: G·g·s.
func RectangularChange(g, s float64) float64 { return g * measure.Gravity * s }

// HalfSineResponse returns the greatest response of an undamped part, as a
// multiple of the peak of a half-sine pulse, when cycles is the frequency of
// the part times the length of the pulse. It is 0 for no cycles.
func HalfSineResponse(cycles float64) float64 {
	if !(cycles > 0) {
		return 0
	}
	b := 1 / (2 * cycles) // frequency of the pulse over that of the part
	if math.Abs(b-1) < 1e-6 {
		b = 1 + 1e-6 // the limit, π/2, from one side
	}
	// The response within the pulse, at a phase p of the pulse in [0, π].
	at := func(p float64) float64 { return (math.Sin(p) - b*math.Sin(p/b)) / (1 - b*b) }
	most := math.Abs(2 * b * math.Cos(math.Pi/(2*b)) / (1 - b*b)) // ringing on after it
	// It turns where cos p = cos(p/b).
	for n := 1; n < 100000; n++ {
		p := 2 * math.Pi * float64(n) / (1 + 1/b)
		if p > math.Pi {
			break
		}
		most = max(most, math.Abs(at(p)))
	}
	return most
}

// Response of an undamped part to the two plain pulses, as multiples of the
// peak: 2 for the rectangular one, and the top of HalfSineResponse.
const (
	rectangularResponse = 2.0
	halfSineResponse    = 1.768
)

// Boundary is where damage of a part begins: it takes both a change of speed
// above ChangeMPerS and a peak above RectangularG or HalfSineG.
type Boundary struct {
	ChangeMPerS             float64
	RectangularG, HalfSineG float64
}

// DamageBoundary returns the boundary of a part that rings at hz and breaks
// when its own response reaches g (G): R. E. Newton, Fragility Assessment
// (1968), formulas from memory.
func DamageBoundary(hz, g float64) Boundary {
	return Boundary{ChangeMPerS: g * measure.Gravity / (2 * math.Pi * hz), RectangularG: g / rectangularResponse, HalfSineG: g / halfSineResponse}
}

// SpringPeak returns the peak, G, and the travel of a mass that falls from h
// onto a linear spring of k N/m: G = 1 + √(1 + 2kh/W), d = W·G/k. R. D.
// Mindlin, "Dynamics of Package Cushioning", Bell System Tech. J. 24 (1945)
// 353, formulas from memory.
func SpringPeak(m measure.Mass, h measure.Length, k float64) (float64, measure.Length) {
	w := m.Newtons()
	g := 1 + math.Sqrt(1+2*k*float64(h)/w)
	return g, measure.Length(w * g / k)
}

// SpringPeakShort returns the peak, G, that leaves out the weight itself:
// √(2kh/W).
func SpringPeakShort(m measure.Mass, h measure.Length, k float64) float64 {
	return math.Sqrt(2 * k * float64(h) / m.Newtons())
}

// SpringFor returns the stiffness, N/m, and the travel for a wanted peak of g
// (G): k = W·((G-1)²-1)/(2h). It is 0 for a peak of 2 G or less, which no fall
// onto a spring stays under.
func SpringFor(m measure.Mass, h measure.Length, g float64) (float64, measure.Length) {
	if !(g > 2) {
		return 0, 0
	}
	k := m.Newtons() * ((g-1)*(g-1) - 1) / (2 * float64(h))
	return k, measure.Length(m.Newtons() * g / k)
}

// SpringForShort returns the stiffness, N/m, and the travel by the short form:
// k = W·G²/(2h), d = 2h/G.
func SpringForShort(m measure.Mass, h measure.Length, g float64) (float64, measure.Length) {
	return m.Newtons() * g * g / (2 * float64(h)), measure.Length(2 * float64(h) / g)
}

// InSeries returns the stiffness of springs one behind the other, in their
// unit: 1/k is the sum of 1/kᵢ. It holds for a box in a box while the inner
// box is light.
func InSeries(k ...float64) float64 {
	sum := 0.0
	for _, v := range k {
		sum += 1 / v
	}
	return 1 / sum
}

// NaturalHz returns the natural frequency, Hz, of a mass on a spring of k N/m.
func NaturalHz(k float64, m measure.Mass) float64 {
	return math.Sqrt(k/float64(m)) / (2 * math.Pi)
}

// RingsHz returns the natural frequency, Hz, of the linear cushion that gives
// a peak of g (G) from a fall of h: 2.21·G/√h with h in inches.
func RingsHz(g float64, h measure.Length) float64 {
	return g / (2 * math.Pi) * math.Sqrt(measure.Gravity/(2*float64(h)))
}

// Transmissibility returns how many times the motion of the floor a mass on a
// spring moves, at r times its natural frequency and a damping ratio zeta.
func Transmissibility(r, zeta float64) float64 {
	d := 2 * zeta * r
	return math.Sqrt((1 + d*d) / ((1-r*r)*(1-r*r) + d*d))
}

// Miles returns the rms acceleration, g, of a mass that rings at hz with a
// quality q in a random vibration of psd g²/Hz: √(π/2·f·Q·PSD), from memory of
// the textbook.
func Miles(hz, q, psd float64) float64 { return math.Sqrt(math.Pi / 2 * hz * q * psd) }
