package measure

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// ErrMeasure marks words that are no length, weight or size.
var ErrMeasure = errors.New("not a measure")

var (
	lengthUnits = map[string]float64{"mm": float64(Millimetre), "cm": float64(Centimetre), "m": 1, "in": float64(Inch), "inch": float64(Inch), "inches": float64(Inch), `"`: float64(Inch), "ft": float64(Foot)}
	massUnits   = map[string]float64{"kg": 1, "g": float64(Gram), "lb": float64(Pound), "lbs": float64(Pound), "oz": float64(Ounce)}
	densities   = map[string]float64{"kg/m3": 1, "kg/m³": 1, "pcf": float64(PoundPerCubicFoot), "lb/ft3": float64(PoundPerCubicFoot), "lb/ft³": float64(PoundPerCubicFoot)}
)

// ParseLength reads a length with its unit: mm, cm, m, in or ft. The number is
// plain, more than nothing, with a decimal point or comma.
func ParseLength(words string) (Length, error) {
	v, err := parse(words, lengthUnits, "mm, cm or in", "230mm")
	return Length(v), err
}

// ParseMass reads a weight with its unit: kg, g, lb or oz.
func ParseMass(words string) (Mass, error) {
	v, err := parse(words, massUnits, "kg, g, lb or oz", "3.6kg")
	return Mass(v), err
}

// ParseDensity reads a density with its unit: kg/m3 or pcf, which is lb/ft³.
func ParseDensity(words string) (Density, error) {
	v, err := parse(words, densities, "kg/m3 or pcf", "24kg/m3")
	return Density(v), err
}

// ParseSize reads length, width and height parted by x, the unit once at the
// end or after each: 230x230x200mm, 9in x 9in x 8in.
func ParseSize(words string) (Size, error) {
	sides := strings.Split(times.Replace(words), "x")
	if len(sides) != 3 {
		return Size{}, fmt.Errorf("%w: %.40q is not length x width x height; write 230x230x200mm", ErrMeasure, words)
	}
	var got [3]Length
	last := strings.TrimLeft(strings.TrimSpace(sides[2]), "0123456789., ")
	for i, side := range sides {
		side = strings.TrimSpace(side)
		if strings.Trim(side, "0123456789., ") == "" && side != "" {
			side += last
		}
		var err error
		if got[i], err = ParseLength(side); err != nil {
			return Size{}, err
		}
	}
	return Size{got[0], got[1], got[2]}, nil
}

// ParseLengths reads lengths parted by commas; one without a unit has that of
// the last: 75, 100, 125mm.
func ParseLengths(words string) ([]Length, error) {
	parts := strings.Split(words, ",")
	last := strings.TrimSpace(parts[len(parts)-1])
	unit := strings.TrimLeft(last, "0123456789. ")
	var all []Length
	for _, part := range parts {
		part = strings.TrimSpace(part)
		if part != "" && strings.Trim(part, "0123456789.") == "" {
			part += unit
		}
		l, err := ParseLength(part)
		if err != nil {
			return nil, err
		}
		all = append(all, l)
	}
	return all, nil
}

// ParseArea reads the area, m², of a pad from its length and width: 100x100mm.
func ParseArea(words string) (float64, error) {
	if strings.Count(times.Replace(words), "x") != 1 {
		return 0, fmt.Errorf("%w: %.40q is not length x width; write 100x100mm", ErrMeasure, words)
	}
	s, err := ParseSize("1x" + words) // the third side is nothing to the area
	return float64(s.Width) * float64(s.Height), err
}

var (
	times  = strings.NewReplacer("×", "x", "X", "x", "*", "x")
	quanta = regexp.MustCompile(`^(-?)([0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)\s*(\D.*)?$`)
	group  = regexp.MustCompile(`^[0-9]{1,3},[0-9]{3}$`)
)

// parse reads a number and its unit.
func parse(words string, units map[string]float64, wanted, such string) (float64, error) {
	m := quanta.FindStringSubmatch(strings.TrimSpace(words))
	switch {
	case m == nil:
		return 0, fmt.Errorf("%w: %.40q; write a number and its unit (%s), such as %s", ErrMeasure, words, wanted, such)
	case m[1] != "":
		return 0, fmt.Errorf("%w: %.40q is less than nothing; write it without the minus", ErrMeasure, words)
	case group.MatchString(m[2]):
		return 0, fmt.Errorf("%w: %.40q can be read as thousands or as a decimal comma; write it with a point, such as %s", ErrMeasure, words, such)
	}
	unit := strings.ToLower(strings.TrimSpace(m[3]))
	factor, ok := units[unit]
	switch {
	case unit == "":
		return 0, fmt.Errorf("%w: %.40q has no unit; write %s, such as %s", ErrMeasure, words, wanted, such)
	case !ok:
		return 0, fmt.Errorf("%w: %.40q has a unit that is not known here; write %s, such as %s", ErrMeasure, words, wanted, such)
	}
	v, err := strconv.ParseFloat(strings.Replace(m[2], ",", ".", 1), 64)
	v *= factor
	if err != nil || !(v > 0 && v < 1e9) {
		return 0, fmt.Errorf("%w: %.40q is not more than nothing and of this world; write it as %s", ErrMeasure, words, such)
	}
	return v, nil
}
