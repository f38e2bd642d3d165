package going

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// someChanges draws days that follow each other, a gap, a span and a rate that
// was written down whole among them.
func someChanges(rt *rapid.T) []Change {
	sd := rapid.Float64Range(0.02, 0.5)
	var all []Change
	day, last := 0, sd.Draw(rt, "first reading")
	for range rapid.IntRange(2, 12).Draw(rt, "changes") {
		c := Change{First: day, Last: day, ChangeS: rapid.Float64Range(-5, 5).Draw(rt, "change"), Days: 1, FirstSDS: last, LastSDS: sd.Draw(rt, "reading"), Joins: true}
		switch rapid.IntRange(0, 5).Draw(rt, "kind") {
		case 0:
			c.Last++
			c.Days = 2
		case 1:
			c.First, c.Last = day+1, day+1
		case 2:
			c.FirstSDS, c.LastSDS, c.RateSD, c.Joins = 0, 0, c.LastSDS, false
		case 3:
			c.Days = 1.125
		}
		all = append(all, c)
		day, last = c.Last+1, c.LastSDS
		if last == 0 {
			last = sd.Draw(rt, "next reading")
		}
	}
	return all
}

// readings returns the covariance of the changes from their readings, each of
// which is an unknown of its own.
func readings(changes []Change) *mat.Dense {
	n := len(changes)
	errors := mat.NewDense(n, 3*n, nil) // of each change: first reading, last reading, of its own
	for i, c := range changes {
		shared := i > 0 && c.Joins && changes[i-1].Last+1 == c.First && changes[i-1].LastSDS > 0 && c.FirstSDS > 0
		if shared {
			errors.Set(i, 3*(i-1)+1, -c.FirstSDS)
		} else {
			errors.Set(i, 3*i, -c.FirstSDS)
		}
		errors.Set(i, 3*i+1, c.LastSDS)
		errors.Set(i, 3*i+2, c.RateSD*c.Days)
	}
	var cov mat.Dense
	cov.Mul(errors, errors.T())
	return &cov
}

// The variance of a weighted sum is that of the dense covariance of readings.
func TestReadingVariance(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		changes := someChanges(rt)
		n := changes[len(changes)-1].Last + 1
		weights := rapid.SliceOfN(rapid.Float64Range(-2, 2), n, n).Draw(rt, "weights")
		of := mat.NewVecDense(len(changes), nil)
		for i, c := range changes {
			of.SetVec(i, c.weight(weights)/c.Days)
		}
		want := mat.Inner(of, readings(changes), of)
		if got := ReadingVariance(changes, weights); math.Abs(got-want) > 1e-9*(1+want) {
			rt.Errorf("%g, not %g", got, want)
		}
	})
}

// The envelope factor gives the determinant and the solution of the dense one.
func TestProfileAgainstDense(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(rt, "size")
		var m profile
		dense := mat.NewSymDense(n, nil)
		x, want := make([]float64, n), mat.NewVecDense(n, nil)
		for i := range n {
			first := rapid.IntRange(0, i).Draw(rt, "first")
			m.first = append(m.first, first)
			m.row = append(m.row, make([]float64, i-first+1))
			x[i] = rapid.Float64Range(-1, 1).Draw(rt, "side")
			for j := first; j <= i; j++ {
				v := rapid.Float64Range(-1, 1).Draw(rt, "element")
				if j == i {
					v = 20
				}
				m.add(i, j, v)
				dense.SetSym(i, j, v)
			}
		}
		var whole mat.Cholesky
		if !whole.Factorize(dense) {
			rt.Fatal("not positive definite")
		}
		if err := whole.SolveVecTo(want, mat.NewVecDense(n, append([]float64(nil), x...))); err != nil {
			rt.Fatal(err)
		}
		logDet, ok := m.factor()
		if !ok || math.Abs(logDet-whole.LogDet()) > 1e-9 {
			rt.Errorf("logarithm of the determinant %g, not %g", logDet, whole.LogDet())
		}
		m.forward(x)
		m.back(x)
		for i := range x {
			if math.Abs(x[i]-want.AtVec(i)) > 1e-9 {
				rt.Errorf("x%d: %g, not %g", i, x[i], want.AtVec(i))
			}
		}
	})
}

// Without readings in doubt the true rates are those read, and sums have no
// doubt but that of scatter and level.
func TestExactReadings(t *testing.T) {
	changes := []Change{{First: 0, Last: 0, ChangeS: 1, Days: 1}, {First: 1, Last: 1, ChangeS: -2, Days: 1}, {First: 3, Last: 3, ChangeS: 0.5, Days: 1}}
	g := Of(changes, make([]int, 4), nil)
	n := 0
	g.Draw(rand.New(rand.NewPCG(1, 2)), 50, []float64{0, 0, 9, 0}, func(rates []float64) {
		n++
		for d, want := range []float64{1, -2, 9, 0.5} {
			if math.Abs(rates[d]-want) > 1e-12 {
				t.Fatalf("day %d: %g, not %g", d, rates[d], want)
			}
		}
	})
	if n != 50 {
		t.Errorf("%d draws", n)
	}
}
