package beat

import (
	"math"

	"timeball/internal/fold"
	"timeball/internal/robust"
)

// The rules by which a period is divided or doubled.
const (
	faintShare = 0.06   // a beat 12 dB below the other is the passing tick of a detent
	evenS      = 0.0015 // beats as even as this may be one and the same
	quickS     = 0.26   // beats nearer than this belong two to an oscillation
	placeS     = 0.002
)

// levels is the power of a sound over one period, in places of 2 ms.
type levels struct {
	power   []float64 // mean over the periods, loud exceptions cut
	floor   float64
	scatter float64 // of a place without beat
	widthS  float64 // of a place
}

// levelsOf returns the levels of count periods from startS on.
func levelsOf(f *front, periodS, startS float64, count int) levels {
	binS := f.binS()
	per := max(1, int(math.Round(placeS/binS)))
	n := max(8, int(periodS/(binS*float64(per))))
	every := max(1, count/300)
	rows := make([][]float64, 0, count/every+1)
	for k := 0; k < count; k += every {
		first := int64((startS + float64(k)*periodS) / binS)
		row := make([]float64, n)
		for i := range row {
			for j := range per {
				row[i] += f.bins.At(first + int64(i*per+j))
			}
			row[i] /= float64(per)
		}
		rows = append(rows, row)
	}
	l := levels{power: make([]float64, n), widthS: binS * float64(per)}
	column := make([]float64, len(rows))
	for i := range n {
		for j, row := range rows {
			column[j] = row[i]
		}
		cut := 6 * robust.Median(column)
		sum := 0.0
		for _, v := range column {
			sum += min(v, cut)
		}
		l.power[i] = sum / float64(len(column))
	}
	l.floor = robust.Quantile(l.power, 0.35)
	var below []float64
	for _, v := range l.power {
		if v <= l.floor {
			below = append(below, l.floor-v)
		}
	}
	l.scatter = 1.5 * robust.Quantile(below, 0.7)
	return l
}

// top returns the place of most power within reachS of s after the start, s, and
// its power above the floor.
func (l levels) top(s, reachS float64) (atS, power float64) {
	n := len(l.power)
	mid, r := int(s/l.widthS), int(reachS/l.widthS)+1
	best := mid
	for i := mid - r; i <= mid+r; i++ {
		if l.power[((i%n)+n)%n] > l.power[((best%n)+n)%n] {
			best = i
		}
	}
	return (float64(best) + 0.5) * l.widthS, l.power[((best%n)+n)%n] - l.floor
}

// oscillation returns the period at which each place of the fold has one beat
// of its own: half of a period that has two alike, twice one of which every
// second beat is missing or weak.
func (l *Listener) oscillation(f *front, g fold.Found, fromS, lengthS float64) fold.Found {
	// alike reports whether a period has a beat at each of its parts, and lacking
	// whether it certainly has none at one of them, or one out of its place.
	alike := func(p float64, parts int) (all, lacking, uneven bool) {
		count := int(lengthS / p)
		if count < 4 || p/float64(parts) < fold.LeastPeriodS/2 {
			return false, false, false
		}
		all = true
		v := levelsOf(f, p, fromS+g.PhaseS-p/8, count)
		at, main := v.top(p/8, 0.02)
		for j := 1; j < parts; j++ {
			want := at + p*float64(j)/float64(parts)
			place, power := v.top(want, 0.12*p/float64(parts))
			out := math.Abs(place-want) > evenS+placeS/2
			if power < faintShare*main || power < 8*v.scatter || out {
				all = false
			}
			if out && power > 8*v.scatter && power > 4*faintShare*main {
				uneven = true
			}
			if power < faintShare*main && 0.2*main > 4*v.scatter {
				lacking = true
			}
		}
		return all, lacking, uneven
	}
	p := g.PeriodS
	for _, m := range []int{2, 3, 5} { // shorten it as long as the parts are alike
		for {
			if all, _, _ := alike(p, m); !all {
				break
			}
			p /= float64(m)
		}
	}
	for _, m := range []int{2, 3} { // lengthen it where parts are missing
		if p*float64(m) > fold.MostPeriodS || lengthS/(p*float64(m)) < 4 {
			continue
		}
		// A few beats that happen to be missed in a row are no lacking ones.
		const enough = 10
		_, lacking, uneven := alike(p*float64(m), m)
		if uneven || lacking && lengthS/(p*float64(m)) >= enough {
			p *= float64(m)
			break
		}
	}
	if p < quickS {
		p *= 2
	}
	if p == g.PeriodS {
		return g
	}
	h := f.curve(fromS, lengthS).Best(p, 0.0005)
	if h.Score == 0 {
		return g
	}
	h.Score = g.Score
	return h
}
