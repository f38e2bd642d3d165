package programme

import (
	"fmt"
	"strings"
)

// positions are the positions in the words of the logbook.
var positions = []string{"dial up", "dial down", "XII up", "III up", "VI up", "IX up"}

// symbols gives the position of each symbol of ISO 3158, in small letters.
var symbols = map[string]string{"ch": "dial up", "fh": "dial down", "12h": "XII up", "3h": "III up", "6h": "VI up", "9h": "IX up"}

// Position returns the position written in words or as a symbol of ISO 3158;
// empty text is unknown.
func Position(text string) (string, error) {
	low := strings.ToLower(strings.Join(strings.Fields(text), " "))
	if low == "" {
		return "", nil
	}
	if p, ok := symbols[low]; ok {
		return p, nil
	}
	for _, p := range positions {
		if strings.ToLower(p) == low {
			return p, nil
		}
	}
	return "", fmt.Errorf("position %.40q is not known; write one of: %s, or a symbol of ISO 3158 (CH, FH, 12H, 3H, 6H, 9H)", text, strings.Join(positions, ", "))
}
