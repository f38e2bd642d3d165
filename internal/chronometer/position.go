package chronometer

import (
	"fmt"
	"strings"
)

// Position is how an instrument lies or hangs. The zero value is unknown.
type Position string

// The positions, in words; ISO 3158 symbols in the comments.
const (
	DialUp   Position = "dial up"   // CH
	DialDown Position = "dial down" // FH
	XIIUp    Position = "XII up"    // 12H
	IIIUp    Position = "III up"    // 3H
	VIUp     Position = "VI up"     // 6H
	IXUp     Position = "IX up"     // 9H
)

// Choices returns the positions.
func (Position) Choices() []string {
	return []string{string(DialUp), string(DialDown), string(XIIUp), string(IIIUp), string(VIUp), string(IXUp)}
}

// iso3158 gives the position of each symbol of ISO 3158.
var iso3158 = map[string]Position{"ch": DialUp, "fh": DialDown, "12h": XIIUp, "3h": IIIUp, "6h": VIUp, "9h": IXUp}

// ParsePosition returns the position written in words or as a symbol of
// ISO 3158; empty text is unknown.
func ParsePosition(s string) (Position, error) {
	text := strings.ToLower(strings.Join(strings.Fields(s), " "))
	if text == "" {
		return "", nil
	}
	if p, ok := iso3158[text]; ok {
		return p, nil
	}
	for _, p := range Position("").Choices() {
		if strings.ToLower(p) == text {
			return Position(p), nil
		}
	}
	return "", fmt.Errorf("position %.40q is not known; write one of: %s, or a symbol of ISO 3158 (CH, FH, 12H, 3H, 6H, 9H)",
		s, strings.Join(Position("").Choices(), ", "))
}
