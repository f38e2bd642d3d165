package rating_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"timeball/internal/rating"
	"timeball/internal/simulate"
	"timeball/internal/timescale"
)

// TestEffectsOfCarriage: asked about as an effect, the change of rate over a
// carriage is what Rate says of it; and the rates about it differ by it.
func TestEffectsOfCarriage(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for _, change := range []float64{0, 0.6, -2} {
		k := fromSimulation(simulate.Carriage(rng, simulate.CarriageCase{Noise: simulate.Noise{SigmaW: .2, SigmaR: .02}, Each: 14, GapDays: 5, SDS: .1, RateChange: change}))
		r, err := rating.Rate(k.history, rating.Options{})
		if err != nil {
			t.Fatal(err)
		}
		at := r.Changes[0].At
		got, err := rating.Test(k.history, []rating.Effect{{At: at, On: rating.OnRate, SD: 10}, {At: at, On: rating.OnError, SD: math.Inf(1)}})
		if err != nil {
			t.Fatal(err)
		}
		f, want := got.Found[0], r.Changes[0]
		if !f.Known || math.Abs(f.Size.Mean-want.Rate.Mean) > 0.01*want.Rate.SD || math.Abs(f.Size.SD/want.Rate.SD-1) > 0.01 || math.Abs(f.P-want.P) > 0.01*want.P+1e-9 {
			t.Errorf("%v: %+v, Rate has %+v", change, f, want)
		}
		if math.Abs(f.After.Mean-f.Before.Mean-f.Size.Mean) > 0.1*f.Size.SD || !(f.Before.SD > 0) || !(f.After.SD > 0) {
			t.Errorf("%v: from %+v to %+v, changed by %+v", change, f.Before, f.After, f.Size)
		}
		if got.Used != r.Used || !got.Epoch.Equal(r.Epoch) {
			t.Errorf("used %d to %v, Rate %d to %v", got.Used, got.Epoch, r.Used, r.Epoch)
		}
	}
}

// TestEffectsAreFound: a step of the error far beyond the prior of a carriage, a
// change of rate and a drift come out as they were put in, no reading is set
// aside for them, and what cannot be told is not.
func TestEffectsAreFound(t *testing.T) {
	days, y, sd := daily(40, 5, -0.9)
	for i := 20; i < 40; i++ {
		d := float64(i) - 19.5
		y[i] += 40 - 0.8*d - 0.06*d*d/2
	}
	h := toHistory(days, y, sd, nil)
	at := timescale.AddDays(origin, 19.5)
	h.Events = []rating.Event{{At: at, Kind: rating.Carried}}
	got, err := rating.Test(h, []rating.Effect{
		{At: at, On: rating.OnError, SD: math.Inf(1)}, {At: at, On: rating.OnRate, SD: 10}, {At: at, On: rating.OnDrift, SD: 1},
		{At: timescale.AddDays(origin, 100), On: rating.OnRate, SD: 10}, {At: timescale.AddDays(origin, -1), On: rating.OnError, SD: 10},
	})
	if err != nil {
		t.Fatal(err)
	}
	if got.Aside != 0 {
		t.Errorf("%d set aside", got.Aside)
	}
	for i, want := range []float64{40, -0.8, -0.06} {
		f := got.Found[i]
		if !f.Known || !(f.Size.Lo95 < want && want < f.Size.Hi95) || f.P > 1e-3 {
			t.Errorf("effect %d: %+v, want %v", i, f, want)
		}
	}
	for _, f := range got.Found[3:] {
		if f.Known {
			t.Errorf("known: %+v", f)
		}
	}
	if want := -0.9 - 0.8 - 0.06*19.5; math.Abs(got.Rate.Mean-want) > 3*got.Rate.SD {
		t.Errorf("rate %+v, want %v", got.Rate, want)
	}
	if _, err := rating.Test(toHistory(days[:2], y, sd, nil), nil); !errors.Is(err, rating.ErrThin) {
		t.Errorf("two readings: %v", err)
	}
}
