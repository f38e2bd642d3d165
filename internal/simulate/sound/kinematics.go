package sound

import "math"

// DropDelay returns the time in s from unlocking at unlockDeg to the drop
// liftDeg further on the same swing, of a balance of the given period in s
// whose amplitude is half the total arc: (asin((u+L)/A) - asin(u/A)) P/2π. It
// is NaN if the balance does not reach both angles.
func DropDelay(periodS, amplitudeDeg, liftDeg, unlockDeg float64) float64 {
	return (math.Asin((unlockDeg+liftDeg)/amplitudeDeg) - math.Asin(unlockDeg/amplitudeDeg)) * periodS / (2 * math.Pi)
}

// Amplitude returns the amplitude in degrees of a balance that takes delayS
// from unlockDeg to liftDeg further; it is the inverse of DropDelay.
func Amplitude(periodS, delayS, liftDeg, unlockDeg float64) float64 {
	sin, cos := math.Sincos(2 * math.Pi * delayS / periodS)
	return math.Hypot(unlockDeg, (unlockDeg+liftDeg-unlockDeg*cos)/sin)
}

// OutOfBeat returns by how many s the passing tick, at passDeg of the return
// swing, comes before half a period after the unlocking at unlockDeg of the
// outward swing: (asin(u/A) + asin(v/A)) P/2π. Of a lever it is half the
// difference of the two intervals between beats.
func OutOfBeat(periodS, amplitudeDeg, unlockDeg, passDeg float64) float64 {
	return (math.Asin(unlockDeg/amplitudeDeg) + math.Asin(passDeg/amplitudeDeg)) * periodS / (2 * math.Pi)
}

// OutOfBeatAngles returns the angles of unlocking and passing in degrees from
// the time of OutOfBeat and the known difference passing less unlocking.
func OutOfBeatAngles(periodS, outOfBeatS, amplitudeDeg, differenceDeg float64) (unlockDeg, passDeg float64) {
	half := math.Pi * outOfBeatS / periodS
	c := differenceDeg / (2 * math.Cos(half))
	mean := math.Sin(half) * math.Sqrt(amplitudeDeg*amplitudeDeg-c*c)
	return mean - differenceDeg/2, mean + differenceDeg/2
}
