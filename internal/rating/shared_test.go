package rating_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"timeball/internal/rating"
)

// TestSharedDoubtDoesNotAverageOut: one observer, never measured, taps every
// day; what the taps of an observer have in common (40 ms, of which 12.5 ms
// wander from day to day) stays in the error however often it is compared.
// Without it the intervals of 30 days would be too narrow.
func TestSharedDoubtDoesNotAverageOut(t *testing.T) {
	const histories, days = 250, 30
	bias, wander, taps := math.Sqrt(0.040*0.040-0.0125*0.0125), 0.0125, 0.018
	sd := math.Sqrt(bias*bias + wander*wander + taps*taps)
	within, without := 0, 0
	for n := range histories {
		r := rand.New(rand.NewPCG(40, uint64(n)))
		start := time.Date(2027, 1, 1, 9, 0, 0, 0, time.UTC)
		shared, rate, error := bias*r.NormFloat64(), -0.5+0.2*r.NormFloat64(), 5*r.NormFloat64()
		h := rating.History{SharedS: bias}
		for d := range days {
			at := start.AddDate(0, 0, d)
			if d > 0 {
				error += rate + 0.02*r.NormFloat64() // a very steady instrument
			}
			h.Readings = append(h.Readings, rating.Reading{Ref: at.String(), At: at, ErrorS: error + shared + wander*r.NormFloat64() + taps*r.NormFloat64(), SDS: sd})
		}
		for _, told := range []float64{bias, 0} {
			h.SharedS = told
			got, err := rating.Rate(h, rating.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if got.Error.Lo95 <= error && error <= got.Error.Hi95 {
				if told > 0 {
					within++
				} else {
					without++
				}
			}
		}
	}
	t.Logf("%d of %d inside, %d if what is shared were left out", within, histories, without)
	// 99.9% band of a true 95%: 226 to 247 of 250.
	if within < 226 {
		t.Errorf("%d of %d inside the 95%% interval", within, histories)
	}
	if without >= 226 {
		t.Errorf("%d of %d inside without it: this test shows nothing", without, histories)
	}
}
