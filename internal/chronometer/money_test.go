package chronometer_test

import (
	"errors"
	"testing"

	"pgregory.net/rapid"

	"timeball/internal/chronometer"
)

// TestParseMoney holds amounts against the decimals of ISO 4217: two for the
// euro, none for the yen, three for the Kuwaiti dinar.
func TestParseMoney(t *testing.T) {
	for text, want := range map[string]string{
		"120.00 EUR": "120.00 EUR", "eur 120": "120.00 EUR", "1 250,5 EUR": "1250.50 EUR", "0.05 USD": "0.05 USD", "JPY 4000": "4000 JPY", "1.234 KWD": "1.234 KWD",
		"120": "", "120.005 EUR": "", "4000.5 JPY": "", "-3 EUR": "", "EUR": "", "twelve EUR": "", "1,250.00 EUR": "", "99999999999999 EUR": "", "12 EUR USD": "",
	} {
		m, err := chronometer.ParseMoney(text)
		if want == "" {
			if !errors.Is(err, chronometer.ErrMoney) {
				t.Errorf("%q is read as %s", text, m)
			}
			continue
		}
		if err != nil || m.String() != want {
			t.Errorf("%q: %s %v, want %s", text, m, err, want)
		}
	}
}

func TestMoneyComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := chronometer.Money{Minor: rapid.Int64Range(0, 1e13).Draw(t, "minor"), Currency: rapid.SampledFrom([]string{"EUR", "JPY", "KWD", "USD"}).Draw(t, "currency")}
		if got, err := chronometer.ParseMoney(m.String()); err != nil || got != m {
			t.Fatalf("%s comes back as %s, %v", m, got, err)
		}
	})
}

func TestSumKeepsCurrenciesApart(t *testing.T) {
	sums := chronometer.Sum([]chronometer.Money{{100, "EUR"}, {5, "USD"}, {}, {250, "EUR"}})
	if len(sums) != 2 || sums[0] != (chronometer.Money{350, "EUR"}) || sums[1] != (chronometer.Money{5, "USD"}) {
		t.Errorf("%v", sums)
	}
}

func FuzzParseMoney(f *testing.F) {
	for _, s := range []string{"120.00 EUR", "EUR 1 250,50", "4000 JPY", "", "EUR", "1e9 EUR"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := chronometer.ParseMoney(text)
		if err != nil {
			return
		}
		if again, err := chronometer.ParseMoney(m.String()); err != nil || again != m {
			t.Fatalf("%q is %s, which is read as %s, %v", text, m, again, err)
		}
	})
}
