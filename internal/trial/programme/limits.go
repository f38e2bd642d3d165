package programme

import (
	"strconv"
	"strings"
)

// Limits returns the limits of a criterion in words, "at most 0.4", "−2 to +1",
// empty if it has none. Limits that are even about nought are "within ±0.6".
func (c Criterion) Limits() string {
	switch from, to := c.From, c.To; {
	case from != nil && to != nil && *from == -*to && *to > 0:
		return "within ±" + plainNumber(*to)
	case from != nil && to != nil:
		return signedNumber(*from) + " to " + signedNumber(*to)
	case to != nil:
		return "at most " + plainNumber(*to)
	case from != nil:
		return "at least " + plainNumber(*from)
	}
	var parts []string
	for _, class := range c.Classes {
		parts = append(parts, class.Name+" "+plainNumber(class.Most))
	}
	return strings.Join(parts, ", ")
}

// plainNumber writes a number with the fewest digits and a true minus.
func plainNumber(v float64) string {
	return strings.Replace(strconv.FormatFloat(v, 'f', -1, 64), "-", "−", 1)
}

func signedNumber(v float64) string {
	if v > 0 {
		return "+" + plainNumber(v)
	}
	return plainNumber(v)
}
