package wording

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"timeball/internal/chronometer"
	"timeball/internal/workshop"
)

// numerals are the numbers that a sentence writes out.
var numerals = []string{"none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}

// Count returns n as a word up to twelve.
func Count(n int) string {
	if n >= 0 && n < len(numerals) {
		return numerals[n]
	}
	return fmt.Sprint(n)
}

// Counted returns "one comparison" or "five comparisons".
func Counted(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	if n == 0 {
		return "no " + many
	}
	return Count(n) + " " + many
}

// Upper returns text with a capital letter.
func Upper(text string) string {
	_, n := utf8.DecodeRuneInString(text)
	return strings.ToUpper(text[:n]) + text[n:]
}

// Degrees returns a temperature in whole or half degrees.
func Degrees(c float64) string {
	return strings.Replace(fmt.Sprintf("%g °C", math.Round(c*2)/2), "-", "−", 1)
}

// ByChance says how often chance alone shows a change as large: p is
// two-sided.
func ByChance(p float64) string {
	switch {
	case p < 0.001:
		return "chance alone would show as much less than once in a thousand times"
	case p < 0.05:
		return fmt.Sprintf("chance alone would show as much about once in %.0f times", 1/p)
	}
	return fmt.Sprintf("chance alone would show as much about %.0f times in a hundred", 100*p)
}

// Slug returns a kind as it stands in an address.
func Slug(k chronometer.Kind) string { return strings.ReplaceAll(string(k), " ", "-") }

// KindOf returns the kind of a slug.
func KindOf(slug string) (chronometer.Kind, bool) {
	k := chronometer.Kind(strings.ReplaceAll(slug, "-", " "))
	return k, k.Known() && !strings.Contains(slug, " ")
}

// Sentence returns text with a capital letter and a full stop.
func Sentence(text string) string {
	text = strings.TrimSpace(text)
	if text == "" {
		return ""
	}
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return Upper(text)
}

// Plain returns the words of err without the names that tell programs what it
// is and without the kind of entry it is about.
func Plain(err error, kind chronometer.Kind) string {
	text := err.Error()
	for _, known := range []error{chronometer.ErrEntry, chronometer.ErrRefused, workshop.ErrUnknown} {
		if i := strings.LastIndex(text, known.Error()+": "); i >= 0 {
			text = text[i+len(known.Error())+2:]
		}
	}
	if kind != "" {
		text = strings.TrimPrefix(text, string(kind)+": ")
	}
	return text
}

// After returns text behind a mark, or nothing.
func After(mark, text string) string {
	if text == "" {
		return ""
	}
	return mark + text
}

// Joined returns "a, b and c".
func Joined(parts []string) string {
	switch n := len(parts); n {
	case 0:
		return ""
	case 1:
		return parts[0]
	default:
		text := parts[0]
		for _, part := range parts[1 : n-1] {
			text += ", " + part
		}
		return text + " and " + parts[n-1]
	}
}
