package chronometer

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// ErrMoney marks text that is no amount of money.
var ErrMoney = errors.New("not an amount of money")

// Money is an amount in the least unit of a currency, never a fraction of it.
type Money struct {
	Minor    int64  // in the least unit: cents
	Currency string // three capital letters of ISO 4217
}

// Decimals of currencies that have not two (ISO 4217:2015 and its list one, as
// far as they are in use; the list is from memory).
var (
	noDecimals    = []string{"BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF"}
	threeDecimals = []string{"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"}
)

func decimalsOf(currency string) int {
	switch {
	case slices.Contains(noDecimals, currency):
		return 0
	case slices.Contains(threeDecimals, currency):
		return 3
	}
	return 2
}

// mostMinor bounds an amount, so that sums of any number of them that a logbook
// can hold stay exact.
const mostMinor = 1e13

// ParseMoney reads "1250.00 EUR" or "EUR 1250"; a decimal comma is understood,
// and blanks between thousands.
func ParseMoney(text string) (Money, error) {
	bad := func(why string) (Money, error) {
		return Money{}, fmt.Errorf("%w: %.40q %s; write an amount and three letters, such as 120.00 EUR", ErrMoney, text, why)
	}
	var m Money
	var number strings.Builder
	for _, part := range strings.Fields(strings.ToUpper(text)) {
		switch {
		case len(part) == 3 && strings.Trim(part, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") == "" && m.Currency == "":
			m.Currency = part
		default:
			number.WriteString(part)
		}
	}
	if m.Currency == "" {
		return bad("names no currency")
	}
	whole, part, _ := strings.Cut(strings.Replace(number.String(), ",", ".", 1), ".")
	decimals := decimalsOf(m.Currency)
	switch {
	case whole == "" || strings.Trim(whole, "0123456789") != "" || strings.Trim(part, "0123456789") != "":
		return bad("is no plain number")
	case len(part) > decimals:
		return bad(fmt.Sprintf("has more than %d decimals, the least that %s has", decimals, m.Currency))
	}
	v, err := strconv.ParseInt(whole+part+strings.Repeat("0", decimals-len(part)), 10, 64)
	if err != nil || v > mostMinor {
		return bad("is too large to be meant")
	}
	m.Minor = v
	return m, nil
}

// String returns "120.00 EUR", empty for no currency.
func (m Money) String() string {
	if m.Currency == "" {
		return ""
	}
	decimals := decimalsOf(m.Currency)
	digits := fmt.Sprintf("%0*d", decimals+1, m.Minor)
	if decimals == 0 {
		return digits + " " + m.Currency
	}
	at := len(digits) - decimals
	return digits[:at] + "." + digits[at:] + " " + m.Currency
}

// IsZero reports whether no amount was written.
func (m Money) IsZero() bool { return m == Money{} }

// MarshalText writes the amount as String does.
func (m Money) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what ParseMoney reads; empty text is no amount.
func (m *Money) UnmarshalText(text []byte) error {
	if len(strings.TrimSpace(string(text))) == 0 {
		*m = Money{}
		return nil
	}
	read, err := ParseMoney(string(text))
	if err != nil {
		return err
	}
	*m = read
	return nil
}

// Sum returns the sums of amounts, one for each currency, in the order in which
// they first come.
func Sum(amounts []Money) []Money {
	var sums []Money
	for _, a := range amounts {
		if a.IsZero() {
			continue
		}
		i := slices.IndexFunc(sums, func(s Money) bool { return s.Currency == a.Currency })
		if i < 0 {
			sums = append(sums, Money{Currency: a.Currency})
			i = len(sums) - 1
		}
		sums[i].Minor += a.Minor
	}
	return sums
}
