package adjust

import (
	"timeball/internal/carriage"
	"timeball/internal/chronometer"
)

// Fittings returns what of an instrument decides the steps of a journey. What is
// not known of paint, ivory and wood is taken to be there.
func Fittings(i chronometer.Instrument, j chronometer.JourneyBegun) carriage.Fittings {
	return carriage.Fittings{
		Make: carriage.Make(i.Make), Box: i.Box != "" || i.Gimbals || i.Make == chronometer.BoxChronometer, Gimbals: i.Gimbals,
		Brake: i.BalanceBrake, UpDown: i.UpDown, KeywayKnown: i.Keyway != "",
		Luminous: i.Luminous != chronometer.No, IvoryPlate: i.Ivory != chronometer.No, DarkWood: i.DarkWood != chronometer.No,
		OnDeparture: carriage.Departure(j.Goes), ByHand: j.ByHand, WeightKG: i.WeightKG, GoingH: i.GoingH,
	}
}
