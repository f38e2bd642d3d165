// Package measure holds lengths, weights and pressures of parcels in SI units,
// and reads and writes them as they are printed on a box: metric, or inches,
// pounds and pounds per square inch.
//
// The factors are exact: 1 in = 25.4 mm and 1 lb = 0.453 592 37 kg
// (international yard and pound agreement, 1959), g = 9.806 65 m/s² (3rd CGPM,
// 1901).
package measure

import (
	"fmt"
	"math"
	"strconv"
)

// Gravity is the standard acceleration of free fall, m/s².
const Gravity = 9.80665

// Length is in metres.
type Length float64

// Units of length.
const (
	Metre      Length = 1
	Centimetre Length = 0.01
	Millimetre Length = 0.001
	Inch       Length = 0.0254
	Foot       Length = 0.3048
)

// MM returns l in millimetres.
func (l Length) MM() float64 { return float64(l) * 1000 }

// In returns l in inches.
func (l Length) In() float64 { return float64(l / Inch) }

// Mass is in kilograms; the trade says weight.
type Mass float64

// Units of mass.
const (
	Kilogram Mass = 1
	Gram     Mass = 0.001
	Pound    Mass = 0.45359237
	Ounce    Mass = Pound / 16
)

// Kg returns m in kilograms.
func (m Mass) Kg() float64 { return float64(m) }

// Lb returns m in pounds.
func (m Mass) Lb() float64 { return float64(m / Pound) }

// Newtons returns the weight of m under standard gravity, N.
func (m Mass) Newtons() float64 { return float64(m) * Gravity }

// Pressure is in pascals: static stress, dynamic stress, and energy in a
// volume of cushion, which has the same unit.
type Pressure float64

// Units of pressure; PSI is one pound-force on a square inch.
const (
	Pascal     Pressure = 1
	Kilopascal Pressure = 1000
	PSI        Pressure = Pressure(float64(Pound) * Gravity / (float64(Inch) * float64(Inch)))
)

// KPa returns p in kilopascals.
func (p Pressure) KPa() float64 { return float64(p) / 1000 }

// Psi returns p in pounds per square inch.
func (p Pressure) Psi() float64 { return float64(p / PSI) }

// SquareInch is an area in m².
const SquareInch = float64(Inch) * float64(Inch)

// Density is in kg/m³.
type Density float64

// PoundPerCubicFoot is the unit in which foam is sold in inches.
const PoundPerCubicFoot = Density(float64(Pound) / (float64(Foot) * float64(Foot) * float64(Foot)))

// Size is the length, width and height of a box.
type Size struct{ Length, Width, Height Length }

// Known reports whether every side is more than nothing.
func (s Size) Known() bool { return s.Length > 0 && s.Width > 0 && s.Height > 0 }

// Grown returns s with by more on both sides of each dimension.
func (s Size) Grown(by Length) Size {
	return Size{s.Length + 2*by, s.Width + 2*by, s.Height + 2*by}
}

// Faces returns the areas of the three pairs of faces, m²: the bottom, the
// long side and the end.
func (s Size) Faces() [3]float64 {
	l, w, h := float64(s.Length), float64(s.Width), float64(s.Height)
	return [3]float64{l * w, l * h, w * h}
}

// VolumeM3 returns the volume, m³.
func (s Size) VolumeM3() float64 { return float64(s.Length) * float64(s.Width) * float64(s.Height) }

// SurfaceM2 returns the area of all six faces, m².
func (s Size) SurfaceM2() float64 {
	f := s.Faces()
	return 2 * (f[0] + f[1] + f[2])
}

// United returns length + width + height, the united inches of a board table.
func (s Size) United() Length { return s.Length + s.Width + s.Height }

// System is the units an answer is written in.
type System int

// The systems.
const (
	Metric System = iota
	US            // inches, pounds, pounds per square inch
)

// Length writes a length to the millimetre or the tenth of an inch.
func (u System) Length(l Length) string {
	if u == US {
		return fixed(l.In(), 1) + " in"
	}
	return fixed(l.MM(), 0) + " mm"
}

// CutLength writes a length that is cut, rounded up to the millimetre or the
// eighth of an inch.
func (u System) CutLength(l Length) string {
	if u == US {
		return strconv.FormatFloat(ceil(l.In()*8)/8, 'f', -1, 64) + " in"
	}
	return fixed(ceil(l.MM()), 0) + " mm"
}

// Size writes a size, each side rounded up to the millimetre or the eighth of
// an inch so that what is cut by it fits.
func (u System) Size(s Size) string {
	if u == US {
		side := func(l Length) string { return strconv.FormatFloat(ceil(l.In()*8)/8, 'f', -1, 64) }
		return side(s.Length) + " × " + side(s.Width) + " × " + side(s.Height) + " in"
	}
	side := func(l Length) string { return fixed(ceil(l.MM()), 0) }
	return side(s.Length) + " × " + side(s.Width) + " × " + side(s.Height) + " mm"
}

// Mass writes a weight to a tenth of a kilogram or a pound.
func (u System) Mass(m Mass) string {
	if u == US {
		return fixed(m.Lb(), 1) + " lb"
	}
	return fixed(m.Kg(), 1) + " kg"
}

// Pressure writes a stress to two decimals of a kilopascal or three of a psi.
func (u System) Pressure(p Pressure) string {
	if u == US {
		return fixed(p.Psi(), 3) + " psi"
	}
	return fixed(p.KPa(), 2) + " kPa"
}

// Area writes an area to the square centimetre or the square inch.
func (u System) Area(m2 float64) string {
	if u == US {
		return fixed(m2/SquareInch, 0) + " in²"
	}
	return fixed(m2*1e4, 0) + " cm²"
}

// ceil rounds up what is not whole but for the last bits of a conversion.
func ceil(v float64) float64 { return math.Ceil(v - 1e-6) }

func fixed(v float64, places int) string { return fmt.Sprintf("%.*f", places, v) }
