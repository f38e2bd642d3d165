// Package voyage makes comparison books of known truth, seeded, and holds counts
// over many of them to what was promised. Only tests import it.
package voyage

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"time"

	"timeball/internal/timescale"
	"timeball/internal/together/rounds"
)

// Noon is the instant of the first round of every book.
var Noon = time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)

// Clock is one simulated instrument: the exact two-state clock of C. Zucca,
// P. Tavella, IEEE Transactions UFFC 52 (2005) 289–296.
type Clock struct {
	ErrorS float64 // s, positive fast
	Rate   float64 // s/d, positive gaining
	White  float64 // σw, s/√d
	Wander float64 // σr, (s/d)/√d
}

// on lets it go for d days.
func (c *Clock) on(d float64, rng *rand.Rand) {
	w := c.Wander * math.Sqrt(d) * rng.NormFloat64()
	c.ErrorS += c.Rate*d + w*d/2 + c.Wander*d*math.Sqrt(d/12)*rng.NormFloat64() + c.White*math.Sqrt(d)*rng.NormFloat64()
	c.Rate += w
}

// ordinary draws an instrument of the usual mix: white FM log-uniform from 0.1
// to 0.3, wandering log-uniform from 0.01 to 0.05.
func ordinary(_ int, rng *rand.Rand) *Clock {
	return &Clock{
		ErrorS: 20 * rng.NormFloat64(), Rate: -0.7 + 0.8*rng.NormFloat64(),
		White: 0.1 * math.Pow(3, rng.Float64()), Wander: 0.01 * math.Pow(5, rng.Float64()),
	}
}

// Plan is how a book is made.
type Plan struct {
	Instruments, Days int
	Miss              float64 // chance that a dial is not read on a day
	SD                float64 // of a reading, s
	// Change does to the errors of a day what happened to the instruments.
	Change func(day float64, errorS []float64)
	// Draw returns the nth instrument; one of the usual mix if nil.
	Draw func(n int, rng *rand.Rand) *Clock
}

// Book returns the daily book of a voyage and the instruments at its end; the
// ship's own idea of UTC is wrong by up to some minutes, differently each day.
func (p Plan) Book(rng *rand.Rand) (rounds.Book, []*Clock) {
	var b rounds.Book
	var clocks []*Clock
	draw := p.Draw
	if draw == nil {
		draw = ordinary
	}
	for i := range p.Instruments {
		b.Names = append(b.Names, string(rune('A'+i)))
		clocks = append(clocks, draw(i, rng))
	}
	before := 0.0
	for d := range p.Days {
		at := float64(d) + 0.02*rng.NormFloat64()
		if d == 0 {
			at = 0
		}
		row := rounds.Row{At: timescale.AddDays(Noon, at), SDS: p.SD, ErrorS: make([]float64, p.Instruments)}
		for i, c := range clocks {
			if d > 0 {
				c.on(at-before, rng)
			}
			row.ErrorS[i] = c.ErrorS
		}
		if p.Change != nil {
			p.Change(at, row.ErrorS)
		}
		off := 100 * rng.NormFloat64()
		for i := range row.ErrorS {
			row.ErrorS[i] += off + p.SD*rng.NormFloat64()
			if rng.Float64() < p.Miss {
				row.ErrorS[i] = math.NaN()
			}
		}
		before = at
		b.Rows = append(b.Rows, row)
	}
	return b, clocks
}

// Seeded returns the same numbers for the same seed, always.
func Seeded(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0x5eed)) }

// fine is a reading so fine, s, that it adds nothing to the noise of the clocks.
const fine = 0.001

// Daily returns the finely read daily book of three instruments from their
// differences A less B and A less C, s.
func Daily(ab, ac []float64) rounds.Book {
	b := rounds.Book{Names: []string{"A", "B", "C"}}
	for i := range ab {
		b.Rows = append(b.Rows, rounds.Row{At: Noon.AddDate(0, 0, i), ErrorS: []float64{0, -ab[i], -ac[i]}, SDS: fine})
	}
	return b
}

//go:embed three.csv
var three string

// Three returns the book of three whose first line says how it was made.
func Three() (rounds.Book, error) {
	r := csv.NewReader(strings.NewReader(three))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		return rounds.Book{}, err
	}
	var columns [2][]float64
	for _, row := range rows[1:] {
		for i := range columns {
			d, err := strconv.ParseFloat(row[1+i], 64)
			if err != nil {
				return rounds.Book{}, err
			}
			columns[i] = append(columns[i], d)
		}
	}
	return Daily(columns[0], columns[1]), nil
}

// play is the 99% point of the normal law: how far a count may stray.
const play = 2.326

// AtMost returns an error unless count of n lies where 99 of a hundred do if
// its chance is no more than most.
func AtMost(count, n int, most float64) error {
	if limit := float64(n)*most + play*math.Sqrt(float64(n)*most*(1-most)); float64(count) > limit {
		return fmt.Errorf("%d of %d, more than %.1f", count, n, limit)
	}
	return nil
}

// Held returns an error unless count of n is what intervals give that hold 93
// to 97%, with the play of the count itself (99%) to either side.
func Held(count, n int) error {
	f := float64(n)
	lo := 0.93*f - play*math.Sqrt(f*0.93*0.07)
	hi := 0.97*f + play*math.Sqrt(f*0.97*0.03)
	if float64(count) < lo || float64(count) > hi {
		return fmt.Errorf("%d of %d, want %.1f to %.1f", count, n, lo, hi)
	}
	return nil
}
