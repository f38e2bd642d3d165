package rating

import (
	"math"

	"timeball/internal/posterior"
)

// share widens every error of the rating by what its readings have in common,
// s; rates do not change, since a constant cancels in them.
//
// Readings of variance v, of which s² is common to all, are averaged as if they
// were independent: the mean of n has v/n instead of v/n + s²(1 - 1/n). With
// 1/n taken from the doubt itself, V/v, what is wanting is s²(1 - V/v).
func (r *Rating) share(s float64) {
	if s <= 0 {
		return
	}
	v := r.Noise.SDS * r.Noise.SDS
	widen := func(i *posterior.Interval) {
		if i.SD <= 0 {
			return
		}
		i.Widen(s * math.Sqrt(max(0, 1-i.SD*i.SD/v)))
	}
	widen(&r.Error)
	for n := range r.Forecast {
		widen(&r.Forecast[n].Error)
	}
	for n := range r.Asked {
		widen(&r.Asked[n].Error)
	}
	for n := range r.Track.Ahead {
		widen(&r.Track.Ahead[n].Error)
	}
	for n := range r.Curve {
		widen(&r.Curve[n].Error)
	}
}
