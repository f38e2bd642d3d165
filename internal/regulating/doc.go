// Package regulating learns from what was turned on a balance what a turn does,
// and says how much to turn next.
//
// Turns are counted out: a timing screw or nut turned out carries its mass
// further from the axis, so the inertia grows and the rate falls; an effect is
// in s/d per turn out of both of a pair and is negative. A weight of the rim is
// counted in millimetres toward the free end of its lamina, which bends most
// with heat: the compensation grows, so an effect on the temperature
// coefficient, in s/d per °C per millimetre, is positive. Rates are s/d,
// positive gaining.
//
// The change of rate at a turning is y = b (t + e) + v, where b is the effect, t
// the turns written down, e what the hand set differently, and v the doubt of
// the two rates: readings, daily scatter and wandering of the clock model
// (Zucca and Tavella, IEEE Trans. UFFC 52 (2005) 289–296). A stretch of going
// between two turnings serves both, so their changes share its error. The
// effect and the scatter of the hand are averaged over a grid, with b of
// lognormal prior where physics gives its sign.
package regulating
