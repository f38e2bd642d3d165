package chronometer

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// phrase joins the parts that say something with a middle dot.
func phrase(parts ...string) string {
	parts = slices.DeleteFunc(parts, func(s string) bool { return strings.TrimSpace(s) == "" })
	return strings.Join(parts, " · ")
}

// number writes v with the fewest digits.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// celsius writes a temperature, or nothing.
func celsius(v *float64) string {
	if v == nil {
		return ""
	}
	return number(*v) + " °C"
}

// oneOf returns an error unless s is empty or among the choices.
func oneOf[S ~string](field string, s S, choices []string) error {
	if s == "" || slices.Contains(choices, string(s)) {
		return nil
	}
	return fmt.Errorf("%s %.40q is not known; write one of: %s", field, string(s), strings.Join(choices, ", "))
}

// need returns an error if text is empty or too long to be meant.
func need(field, s, remedy string) error {
	if strings.TrimSpace(s) == "" {
		return fmt.Errorf("%s is missing; %s", field, remedy)
	}
	return short(field, s)
}

// longest is the most bytes of free text in one field.
const longest = 20000

func short(field, s string) error {
	if len(s) > longest {
		return fmt.Errorf("%s has %d bytes; write at most %d, or attach a file", field, len(s), longest)
	}
	return nil
}

// within returns an error unless v is a number from lo to hi.
func within(field string, v, lo, hi float64, unit string) error {
	if math.IsNaN(v) || v < lo || v > hi {
		return fmt.Errorf("%s %s %s is outside %s to %s %s", field, number(v), unit, number(lo), number(hi), unit)
	}
	return nil
}

func withinIf(field string, v *float64, lo, hi float64, unit string) error {
	if v == nil {
		return nil
	}
	return within(field, *v, lo, hi, unit)
}

// first returns the first error.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
