package packing

import (
	"math"

	"timeball/internal/packing/measure"
)

// Pivot is one of the two pivots of a balance staff, each of which carries
// half the balance at the end of a short arm.
type Pivot struct {
	BalanceKg   float64
	DiameterM   float64
	ArmM        float64 // from the shoulder to the middle of the bearing
	ElasticityP float64 // modulus of elasticity, Pa
}

// ChronometerPivot returns the pivot that the fragility of a chronometer is
// reasoned from: a balance of 6 g, 0.10 mm thick, an arm of 0.12 mm, of steel
// of 210 GPa. All are assumptions; measure yours.
func ChronometerPivot() Pivot {
	return Pivot{BalanceKg: 0.006, DiameterM: 0.10e-3, ArmM: 0.12e-3, ElasticityP: 210e9}
}

// StressPerG returns the bending stress at the root, Pa for each G:
// 32·(m g/2)·a/(π d³).
func (p Pivot) StressPerG() float64 {
	return 32 * p.BalanceKg * measure.Gravity / 2 * p.ArmM / (math.Pi * math.Pow(p.DiameterM, 3))
}

// BendsAtG returns the steady shock, G, at which the stress reaches a yield
// stress in Pa.
func (p Pivot) BendsAtG(yield float64) float64 { return yield / p.StressPerG() }

// stiffness returns that of both pivots together, N/m: 2 × 3EI/a³.
func (p Pivot) stiffness() float64 {
	second := math.Pi * math.Pow(p.DiameterM, 4) / 64
	return 2 * 3 * p.ElasticityP * second / math.Pow(p.ArmM, 3)
}

// RingsHz returns the frequency, Hz, of the balance on its two pivots.
func (p Pivot) RingsHz() float64 { return math.Sqrt(p.stiffness()/p.BalanceKg) / (2 * math.Pi) }

// KnockG returns the shock, G, of a free balance that first crosses its side
// shake of playM metres while a pulse of peak g (G) and frequency hz rises.
// The pulse is taken as growing evenly and the staff as rigid, so it is an
// upper estimate: x = A w t³/6, v = A w t²/2, F = v √(K m).
func (p Pivot) KnockG(playM, g, hz float64) float64 {
	slope := g * measure.Gravity * 2 * math.Pi * hz
	t := math.Cbrt(6 * playM / slope)
	v := slope * t * t / 2
	return v * math.Sqrt(p.stiffness()/p.BalanceKg) / measure.Gravity
}
