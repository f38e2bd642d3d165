package going

import "math"

// profile is a symmetric matrix of which each row is kept from its first
// element that is not nought to the diagonal; its Cholesky factor fits in the
// same places (A. George and J. W. Liu, Computer Solution of Large Sparse
// Positive Definite Systems, 1981, chapter 4, "envelope methods").
type profile struct {
	first []int
	row   [][]float64
}

// add adds v at i, j.
func (m *profile) add(i, j int, v float64) {
	if j > i {
		i, j = j, i
	}
	m.row[i][j-m.first[i]] += v
}

func (m *profile) clear() {
	for i := range m.row {
		clear(m.row[i])
	}
}

// factor puts the lower Cholesky factor in the place of the matrix and returns
// the logarithm of its determinant, or false if it is not positive definite.
func (m *profile) factor() (logDet float64, ok bool) {
	for i, row := range m.row {
		fi := m.first[i]
		for j := fi; j < i; j++ {
			other, fj := m.row[j], m.first[j]
			s := row[j-fi]
			for k := max(fi, fj); k < j; k++ {
				s -= row[k-fi] * other[k-fj]
			}
			row[j-fi] = s / other[j-fj]
		}
		d := row[i-fi]
		for _, v := range row[:i-fi] {
			d -= v * v
		}
		if !(d > 0) || math.IsInf(d, 1) {
			return 0, false
		}
		row[i-fi] = math.Sqrt(d)
		logDet += math.Log(d)
	}
	return logDet, true
}

// forward solves L x = x in place.
func (m *profile) forward(x []float64) {
	for i, row := range m.row {
		fi := m.first[i]
		s := x[i]
		for k, v := range row[:i-fi] {
			s -= v * x[fi+k]
		}
		x[i] = s / row[i-fi]
	}
}

// back solves Lᵀ x = x in place.
func (m *profile) back(x []float64) {
	for i := len(m.row) - 1; i >= 0; i-- {
		row, fi := m.row[i], m.first[i]
		x[i] /= row[i-fi]
		for k, v := range row[:i-fi] {
			x[fi+k] -= v * x[i]
		}
	}
}
