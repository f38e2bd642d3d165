package trial

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"

	"timeball/internal/trial/going"
)

// AboutC is the temperature about which a law is written, °C, as the German
// observatories did.
const AboutC = 15.0

// apartC is how far temperatures must be from each other, °C, to count as two.
const apartC = 3.0

// Point is a mean rate at a temperature.
type Point struct {
	TempC  float64
	Rate   float64 // s/d, + gaining
	Weight float64 // in proportion to one over its variance
}

// LeastSquares returns the coefficients of the law through points by weighted
// least squares: rate at AboutC, s/d, change per °C and change per °C squared,
// which is 0 if not curved. It returns false if the points do not fix them.
func LeastSquares(points []Point, curved bool) (rate, linear, quadratic float64, ok bool) {
	k, ok := solver(points, curved)
	if !ok {
		return 0, 0, 0, false
	}
	var c [3]float64
	for j := range k {
		for i, p := range points {
			c[j] += k[j][i] * p.Rate
		}
	}
	return c[0], c[1], c[2], true
}

// solver returns what each rate adds to each coefficient.
func solver(points []Point, curved bool) ([][]float64, bool) {
	p := 2
	if curved {
		p = 3
	}
	n := len(points)
	if n < p {
		return nil, false
	}
	x, w := mat.NewDense(n, p, nil), mat.NewDense(n, n, nil)
	for i, q := range points {
		if !(q.Weight > 0) || math.IsInf(q.Weight, 0) {
			return nil, false
		}
		root := math.Sqrt(q.Weight)
		w.Set(i, i, root)
		for j := range p {
			x.Set(i, j, root*math.Pow(q.TempC-AboutC, float64(j)))
		}
	}
	var qr mat.QR
	qr.Factorize(x)
	if c := qr.Cond(); !(c < 1e10) {
		return nil, false
	}
	var k mat.Dense
	if err := qr.SolveTo(&k, false, w); err != nil {
		return nil, false
	}
	rows := make([][]float64, p)
	for j := range rows {
		rows[j] = mat.Row(nil, j, &k)
	}
	return rows, true
}

// bearing is a mean rate that a law rests on.
type bearing struct {
	Point
	days []int // from 0
}

// law returns the law of rate against temperature, nil with fewer than two
// temperatures. Its coefficients are those of least squares, each mean rate
// with the weight of its days, so that a reader can work them out again; their
// doubts hold the readings, the scatter of the days and the wandering of the
// level, also from one temperature to the next.
func (rec *record) law(remarks *[]string) *Law {
	points, position := rec.bearings(remarks)
	var temps []float64
	for _, b := range points {
		temps = append(temps, b.TempC)
	}
	distinct := apart(temps)
	if distinct < 2 {
		return nil
	}
	law := &Law{AboutC: AboutC, FromC: slices.Min(temps), ToC: slices.Max(temps), Curved: distinct > 2}
	plain := make([]Point, len(points))
	for i, b := range points {
		plain[i] = b.Point
	}
	k, ok := solver(plain, law.Curved)
	if !ok {
		return nil
	}
	var fit [3]float64
	daily := make([][]float64, len(k))
	for j := range k {
		daily[j] = make([]float64, len(rec.days))
		for i, b := range points {
			fit[j] += k[j][i] * b.Rate
			for _, d := range b.days {
				daily[j][d] = k[j][i] / float64(len(b.days))
			}
		}
	}
	law.doubt(rec, points, position, fit, daily)
	return law
}

// bearings returns the mean rates of one position, the one with most
// temperatures, and that position: of every period that has a temperature, of
// every day of the others that has one.
func (rec *record) bearings(remarks *[]string) ([]bearing, string) {
	byPosition := map[string][]bearing{}
	var order []string
	add := func(position string, b bearing) {
		if _, ok := byPosition[position]; !ok {
			order = append(order, position)
		}
		byPosition[position] = append(byPosition[position], b)
	}
	rates, unread := rec.rates(), false
	for i, q := range rec.programme.Periods {
		if q.Apart {
			continue
		}
		b := bearing{}
		position, temps := q.Position, 0
		for _, d := range rec.programme.DaysOf(i) {
			day := rec.days[d]
			if !day.Known {
				continue
			}
			if position == "" {
				position = day.Position
			}
			read := day.TempC != nil && isFinite(*day.TempC)
			if q.TempC == nil {
				if read {
					add(position, bearing{Point{*day.TempC, rates[d], day.length()}, []int{d}})
				}
				continue
			}
			if read {
				b.TempC, temps = b.TempC+*day.TempC, temps+1
			}
			b.days, b.Rate = append(b.days, d), b.Rate+rates[d]
		}
		if n := float64(len(b.days)); n > 0 {
			b.Rate, b.Weight = b.Rate/n, n
			if temps > 0 {
				b.TempC /= float64(temps)
			} else {
				b.TempC, unread = *q.TempC, true
			}
			add(position, b)
		}
	}
	best, most, others := "", 0, false
	for _, position := range order {
		var temps []float64
		for _, b := range byPosition[position] {
			temps = append(temps, b.TempC)
		}
		if n := apart(temps); n > most {
			best, most = position, n
		}
	}
	if most < 2 {
		return nil, ""
	}
	for _, position := range order {
		others = others || position != best
	}
	if unread {
		*remarks = append(*remarks, "No temperature was recorded for some periods; for them the law rests on the temperature that the programme asks.")
	}
	if others {
		*remarks = append(*remarks, fmt.Sprintf("The temperature law is that of the position %s alone.", cmp.Or(best, "not recorded")))
	}
	return byPosition[best], best
}

// apart returns how many temperatures there are that lie apartC from each other.
func apart(temps []float64) int {
	temps = slices.Clone(temps)
	slices.Sort(temps)
	n, last := 0, math.Inf(-1)
	for _, t := range temps {
		if t-last >= apartC {
			n, last = n+1, t
		}
	}
	return n
}

// columns returns the days that tell how an instrument scatters and wanders
// about a law, which are those of other positions too, and what the
// coefficients do to each: those of temperature, and one for each other
// position, which has a rate of its own.
func (rec *record) columns(points []bearing, position string, powers int) (tells []bool, columns [][]float64) {
	columns = make([][]float64, powers)
	for j := range columns {
		columns[j] = make([]float64, len(rec.days))
	}
	tells = make([]bool, len(rec.days))
	tell := func(d int, tempC float64) {
		tells[d] = true
		for j := range powers {
			columns[j][d] = math.Pow(tempC-AboutC, float64(j+1))
		}
	}
	own := map[string][]float64{}
	for d, day := range rec.days {
		q := rec.programme.Periods[day.Period]
		lay, temp := cmp.Or(q.Position, day.Position), day.TempC
		if temp == nil {
			temp = q.TempC
		}
		if !day.Known || q.Apart || lay == position || temp == nil || !isFinite(*temp) {
			continue
		}
		tell(d, *temp)
		if own[lay] == nil {
			own[lay] = make([]float64, len(rec.days))
			columns = append(columns, own[lay])
		}
		own[lay][d] = 1
	}
	for _, b := range points {
		for _, d := range b.days {
			tell(d, b.TempC)
		}
	}
	return tells, columns
}

// doubt fills in the estimates from draws about the fit.
func (law *Law) doubt(rec *record, points []bearing, position string, fit [3]float64, daily [][]float64) {
	p := len(daily)
	tells, columns := rec.columns(points, position, p-1)
	in := make([]bool, len(rec.days))
	for _, b := range points {
		for _, d := range b.days {
			in[d] = true
		}
	}
	changes := slices.DeleteFunc(rec.changes(), func(c going.Change) bool { return slices.Contains(tells[c.First:c.Last+1], false) })
	g := going.Of(changes, make([]int, len(rec.days)), columns)
	// The level is meant as it was in the mean over the days, so that only its
	// wandering about that mean is doubt.
	centred := slices.Clone(daily)
	centred[0] = slices.Clone(daily[0])
	used := 0.0
	for _, in := range in {
		if in {
			used++
		}
	}
	for d := range in {
		if in[d] {
			centred[0][d] -= 1 / used
		}
	}
	sums := make([]going.Sum, p)
	for j := range sums {
		sums[j] = going.Sum{Value: fit[j], OfDays: daily[j], OfLevel: centred[j]}
	}
	var drawn [3][]float64
	var turning, greatest []float64
	g.DrawSums(rand.New(rand.NewPCG(seedHigh, seedLow+1)), usualDraws, sums, func(values []float64) {
		var c [3]float64
		copy(c[:], values)
		for j := range c {
			drawn[j] = append(drawn[j], c[j])
		}
		turning, greatest = append(turning, AboutC-c[1]/(2*c[2])), append(greatest, c[0]-c[1]*c[1]/(4*c[2]))
	})
	about := func(draws []float64, mean float64) Estimate {
		e := estimateOf(draws)
		e.Mean = mean
		return e
	}
	law.Rate, law.Linear, law.Quadratic = about(drawn[0], fit[0]), about(drawn[1], fit[1]), about(drawn[2], fit[2])
	if law.Curved && law.Quadratic.Lo95*law.Quadratic.Hi95 > 0 {
		t, r := about(turning, AboutC-fit[1]/(2*fit[2])), about(greatest, fit[0]-fit[1]*fit[1]/(4*fit[2]))
		law.TurningC, law.TurningRate = &t, &r
	}
}

// At returns the rate of the law at a temperature, s/d.
func (law Law) At(tempC float64) float64 {
	u := tempC - law.AboutC
	return law.Rate.Mean + law.Linear.Mean*u + law.Quadratic.Mean*u*u
}

// WhereSlope returns the temperature, °C, at which the rate changes by slope
// s/d for each °C, or false if the law is straight.
func (law Law) WhereSlope(slope float64) (float64, bool) {
	if law.Quadratic.Mean == 0 {
		return 0, false
	}
	return law.AboutC + (slope-law.Linear.Mean)/(2*law.Quadratic.Mean), true
}

// Hartnup is a law in the form of Hartnup at Liverpool: the losing rate is
// Least + Z·(t − T)², where T is the temperature of the greatest gain. Its
// rate is + losing, against the sign of this program.
type Hartnup struct {
	LeastSPerDay float64 // losing rate at TempC, s/d
	TempC        float64 // T
	ZPerC2       float64 // Z, s/d per °C²; per °F² it is divided by 3.24
}

// Hartnup returns the law in the form of Hartnup, or false if it is straight.
func (law Law) Hartnup() (Hartnup, bool) {
	a, b := law.Linear.Mean, law.Quadratic.Mean
	if b == 0 {
		return Hartnup{}, false
	}
	return Hartnup{LeastSPerDay: -(law.Rate.Mean - a*a/(4*b)), TempC: law.AboutC - a/(2*b), ZPerC2: -b}, true
}

// Rate returns the rate of Hartnup's form at a temperature, s/d, + gaining.
func (h Hartnup) Rate(tempC float64) float64 { return -h.LeastSPerDay - h.ZPerC2*sq(tempC-h.TempC) }
