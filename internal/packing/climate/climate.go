// Package climate reckons what air does to a parcel: at what temperature damp
// settles on what comes in from the cold, how long a closed parcel takes to
// come to the warmth of the room, and how hard the air of a low pressure pushes
// on a glass that was sealed.
//
// Temperatures are in °C, relative humidity in percent, times in hours.
package climate

import (
	"errors"
	"fmt"
	"math"

	"timeball/internal/packing/measure"
)

// ErrClimate marks air or a parcel that cannot be.
var ErrClimate = errors.New("cannot be reckoned")

// Magnus are the two constants of the Magnus form of the vapour pressure.
type Magnus struct{ A, BC float64 }

// The constants of O. A. Alduchov and R. E. Eskridge, "Improved Magnus form
// approximation of saturation vapor pressure", J. Appl. Meteor. 35 (1996) 601,
// and an older pair still met with in worked examples.
var (
	Alduchov = Magnus{17.625, 243.04}
	Older    = Magnus{17.27, 237.7}
)

// DewPoint returns the temperature, °C, at or below which a surface gets wet
// in air of airC and rhPercent. It fails unless the air is from -40 to 60 °C
// and from above 0 to 100%.
func (m Magnus) DewPoint(airC, rhPercent float64) (float64, error) {
	if !(airC >= -40 && airC <= 60) || !(rhPercent > 0 && rhPercent <= 100) {
		return 0, fmt.Errorf("the dew point %w: air of %g °C and %g%% is outside -40 to 60 °C and 0 to 100%%; read thermometer and hygrometer again", ErrClimate, airC, rhPercent)
	}
	gamma := m.A*airC/(m.BC+airC) + math.Log(rhPercent/100)
	return m.BC * gamma / (m.A - gamma), nil
}

// DewPoint returns the dew point by the constants of Alduchov and Eskridge.
func DewPoint(airC, rhPercent float64) (float64, error) { return Alduchov.DewPoint(airC, rhPercent) }

// Specific heats, J/(kg K), and the usual figures of foam and of still air at
// a wall, which a parcel is reckoned with unless they are measured.
const (
	BrassJPerKgK = 380.0
	WoodJPerKgK  = 1700.0
	FoamWPerMK   = 0.04
	FilmWPerM2K  = 8.0
)

// Parcel is a closed parcel as a warm-up sees it: one heat inside one layer of
// foam.
type Parcel struct {
	HeatJPerK    float64      // heat capacity of what is inside: the sum of mass times specific heat
	Inner, Outer measure.Size // inside and outside of the foam
	FoamWPerMK   float64      // conductivity of the foam
	FilmWPerM2K  float64      // of the air at the outer wall
}

// TimeConstantH returns the time, h, in which the difference from the room
// falls to 1/e: heat over the conductance of the foam, k·√(inner·outer
// surface)/t, in series with the film on the outer surface. t is the mean
// thickness over the three dimensions. It fails if anything is missing.
func (p Parcel) TimeConstantH() (float64, error) {
	t := float64(p.Outer.United()-p.Inner.United()) / 6
	if !(p.HeatJPerK > 0) || !p.Inner.Known() || !p.Outer.Known() || !(t > 0) || !(p.FoamWPerMK > 0) || !(p.FilmWPerM2K > 0) {
		return 0, fmt.Errorf("the warming %w: heat, sizes, foam and film must be more than nothing and the parcel larger than what is in it", ErrClimate)
	}
	foam := p.FoamWPerMK * math.Sqrt(p.Inner.SurfaceM2()*p.Outer.SurfaceM2()) / t
	film := p.FilmWPerM2K * p.Outer.SurfaceM2()
	return p.HeatJPerK * (1/foam + 1/film) / 3600, nil
}

// Hours returns the time, h, that something with the time constant tauH takes
// from fromC to toC in a room of roomC, 0 if it is there already. It fails if
// it never gets there.
func Hours(tauH, fromC, toC, roomC float64) (float64, error) {
	switch {
	case fromC <= roomC && toC <= fromC || fromC >= roomC && toC >= fromC:
		return 0, nil
	case !(tauH > 0) || !((roomC-fromC)/(roomC-toC) > 0) || math.IsInf((roomC-fromC)/(roomC-toC), 0):
		return 0, fmt.Errorf("the warming %w: in a room of %g °C it never comes from %g to %g °C", ErrClimate, roomC, fromC, toC)
	}
	return tauH * math.Log((roomC-fromC)/(roomC-toC)), nil
}

// ClosedH is the least time a parcel stays closed after it came in, h:
// museum and library practice (C. Atwood, Book Arts list, February 2003).
const ClosedH = 24

// Pressure returns the pressure, Pa, of the ICAO standard atmosphere at an
// altitude in metres up to 11 km.
func Pressure(altitudeM float64) measure.Pressure {
	return measure.Pressure(101325 * math.Pow(1-0.0065*altitudeM/288.15, 5.255877))
}

// GlassForceN returns the force, N, on a round glass of a bowl sealed at sea
// level and taken to an altitude: a bowl is never sealed.
func GlassForceN(glass measure.Length, altitudeM float64) float64 {
	r := float64(glass) / 2
	return float64(Pressure(0)-Pressure(altitudeM)) * math.Pi * r * r
}
