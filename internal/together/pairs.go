package together

import (
	"fmt"
	"math"
	"slices"
	"time"

	"timeball/internal/together/rounds"
)

// Pair is what the comparison book says of two instruments: A less B at each
// instant when both were read, known moves of the hands taken away.
type Pair struct {
	A      string  `json:"a"`
	B      string  `json:"b"`
	Points []Point `json:"points"`
}

// Point is one line of a comparison book. The standard deviations are those of
// the reading alone.
type Point struct {
	At           time.Time `json:"at"`
	DifferenceS  float64   `json:"difference_s"` // dial of A less dial of B
	DifferenceSD float64   `json:"difference_sd"`
	// First is against the point before; nil in the first point.
	First *First `json:"first,omitempty"`
	// Second is the rate in First less that of the point before; nil in the
	// first two points.
	Second *Second `json:"second,omitempty"`
}

// First is a first difference of a comparison book.
type First struct {
	Days        float64 `json:"days"`
	ChangeS     float64 `json:"change_s"`
	ChangeSD    float64 `json:"change_sd"`
	RateSPerDay float64 `json:"rate_s_per_day"` // A gains this on B
	RateSD      float64 `json:"rate_sd"`
}

// Second is a second difference of a comparison book, as a change of rate, so
// that days without a comparison do not spoil it.
type Second struct {
	ChangeSPerDay float64 `json:"change_s_per_day"`
	ChangeSD      float64 `json:"change_sd"`
}

// Pairs returns the differences of all pairs of b in the order of its names: A
// before B. Pairs that were never read at one instant have no points.
func Pairs(b Book) ([]Pair, error) {
	tb, err := rounds.Lay(b, false)
	if err != nil {
		return nil, err
	}
	if tb.Instruments < 2 {
		return nil, fmt.Errorf("%w: the book has one instrument; a comparison needs two", ErrAlone)
	}
	return pairs(tb), nil
}

func pairs(tb *rounds.Table) []Pair {
	all := []Pair{}
	for i := range tb.Instruments {
		for j := i + 1; j < tb.Instruments; j++ {
			all = append(all, pair(tb, i, j))
		}
	}
	return all
}

// Between returns the differences of a less b, which are minus those of b less a.
func Between(book Book, a, b string) (Pair, error) {
	tb, err := rounds.Lay(book, false)
	if err != nil {
		return Pair{}, err
	}
	i, j := slices.Index(tb.Names, a), slices.Index(tb.Names, b)
	if i < 0 || j < 0 || i == j {
		return Pair{}, fmt.Errorf("%w: no. %s and no. %s are not two instruments of the book", ErrAlone, a, b)
	}
	return pair(tb, i, j), nil
}

func pair(tb *rounds.Table, i, j int) Pair {
	p := Pair{A: tb.Names[i], B: tb.Names[j]}
	last, before := -1, -1
	variance := func(k int) float64 { return tb.SD[i][k]*tb.SD[i][k] + tb.SD[j][k]*tb.SD[j][k] }
	for k := range tb.Days {
		d := tb.X[i][k] - tb.X[j][k]
		if math.IsNaN(d) {
			continue
		}
		point := Point{At: tb.At[k], DifferenceS: d, DifferenceSD: math.Sqrt(variance(k))}
		if last >= 0 {
			prior := p.Points[len(p.Points)-1]
			days := tb.Days[k] - tb.Days[last]
			sd := math.Sqrt(variance(k) + variance(last))
			f := First{Days: days, ChangeS: d - prior.DifferenceS, ChangeSD: sd}
			f.RateSPerDay, f.RateSD = f.ChangeS/days, sd/days
			point.First = &f
			if prior.First != nil {
				d0 := prior.First.Days
				sum := variance(k)/(days*days) + variance(last)*(1/days+1/d0)*(1/days+1/d0) + variance(before)/(d0*d0)
				point.Second = &Second{ChangeSPerDay: f.RateSPerDay - prior.First.RateSPerDay, ChangeSD: math.Sqrt(sum)}
			}
		}
		p.Points = append(p.Points, point)
		before, last = last, k
	}
	return p
}
