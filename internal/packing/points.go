package packing

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"timeball/internal/packing/measure"
)

// ErrPoints marks a file of points that is refused: nothing of it was read.
var ErrPoints = errors.New("the points are refused")

// Limits of a file of points.
const (
	maxPoints    = 1 << 20 // bytes
	mostPointsIn = 10000
)

const wantedPoints = "write CSV with a header that has drop_mm or drop_in, thickness_mm or thickness_in, static_kpa or static_psi, and peak_g"

// field is one of the four figures of a point, with the columns it may stand in.
type field struct {
	name    string
	columns []string
	units   []float64
	most    float64 // in SI
}

var fields = [4]field{
	{"the height of fall", []string{"drop_mm", "drop_in"}, []float64{float64(measure.Millimetre), float64(measure.Inch)}, float64(mostDrop)},
	{"the thickness", []string{"thickness_mm", "thickness_in"}, []float64{float64(measure.Millimetre), float64(measure.Inch)}, float64(mostFoam)},
	{"the static stress", []string{"static_kpa", "static_psi"}, []float64{float64(measure.Kilopascal), float64(measure.PSI)}, 200e3},
	{"the peak", []string{"peak_g"}, []float64{1}, 1000},
}

// ReadPoints returns the measured points of a foam: CSV with a header of
// drop_mm or drop_in, thickness_mm or thickness_in, static_kpa or static_psi,
// and peak_g, every figure more than nothing. Lines that begin with # are
// comments; semicolons or tabs may stand for the commas, and then decimal
// commas for points. An error wraps ErrPoints and names line and column.
func ReadPoints(r io.Reader) ([]Point, error) {
	refused := func(format string, v ...any) ([]Point, error) {
		return nil, fmt.Errorf("%w: %w", ErrPoints, fmt.Errorf(format, v...))
	}
	text, err := io.ReadAll(io.LimitReader(r, maxPoints+1))
	switch {
	case err != nil:
		return refused("the file cannot be read: %w; try again from a whole copy", err)
	case len(text) > maxPoints:
		return refused("the file is larger than %d kB; give one foam at a time", maxPoints>>10)
	case !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0:
		return refused("the file is no text in UTF-8; write it again as CSV in UTF-8")
	}
	text = bytes.TrimPrefix(text, []byte("\xef\xbb\xbf"))
	in := csv.NewReader(bytes.NewReader(text))
	in.Comma, in.Comment, in.TrimLeadingSpace = delimiter(text), '#', true
	head, err := in.Read()
	switch {
	case errors.Is(err, io.EOF):
		return refused("the file is empty; %s", wantedPoints)
	case err != nil:
		return refused("the header is no CSV; %s", wantedPoints)
	}
	at, units, err := header(head)
	if err != nil {
		return refused("%w", err)
	}
	var points []Point
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var bad *csv.ParseError
		if errors.As(err, &bad) {
			return refused("line %d: %w; write as many cells as the header has, and nothing in quotes", bad.StartLine, bad.Err)
		}
		if err != nil {
			return refused("the file cannot be read: %w", err)
		}
		var v [len(fields)]float64
		for i, f := range fields {
			number := strings.TrimSpace(row[at[i]])
			if in.Comma != ',' {
				number = strings.Replace(number, ",", ".", 1)
			}
			x, err := strconv.ParseFloat(number, 64)
			x *= units[i]
			if err != nil || !(x > 0 && x <= f.most) || math.IsInf(x, 0) || !(x > 1e-9) {
				line, _ := in.FieldPos(at[i])
				return refused("line %d, column %s: %.40q is not %s, more than nothing and at most %.4g; look at the unit", line, head[at[i]], row[at[i]], f.name, f.most/units[i])
			}
			v[i] = x
		}
		if points = append(points, Point{measure.Length(v[0]), measure.Length(v[1]), measure.Pressure(v[2]), v[3]}); len(points) > mostPointsIn {
			return refused("there are more than %d points; give one foam at a time", mostPointsIn)
		}
	}
	if len(points) == 0 {
		return refused("the file has a header and no points; write one line for each drop measured")
	}
	return points, nil
}

// delimiter returns what parts the cells of the header.
func delimiter(text []byte) rune {
	for line := range bytes.Lines(text) {
		if len(bytes.TrimSpace(line)) == 0 || line[0] == '#' {
			continue
		}
		for _, d := range ";\t" {
			if bytes.ContainsRune(line, d) {
				return d
			}
		}
		break
	}
	return ','
}

// header returns the index and the unit of each figure.
func header(head []string) (at [len(fields)]int, units [len(fields)]float64, err error) {
	var names []string
	for i := range head {
		head[i] = strings.ToLower(strings.TrimSpace(head[i]))
	}
	for i, f := range fields {
		at[i] = -1
		names = append(names, f.columns...)
		for k, name := range f.columns {
			found := slices.Index(head, name)
			switch {
			case found < 0:
				continue
			case at[i] >= 0:
				return at, units, fmt.Errorf("the header has both %s and %s; write one of them", head[at[i]], name)
			case slices.Contains(head[found+1:], name):
				return at, units, fmt.Errorf("column %s stands twice in the header; write it once", name)
			}
			at[i], units[i] = found, f.units[k]
		}
	}
	for _, name := range head {
		if !slices.Contains(names, name) {
			return at, units, fmt.Errorf("column %.40q is not known; %s", name, wantedPoints)
		}
	}
	for i, f := range fields {
		if at[i] < 0 {
			return at, units, fmt.Errorf("the header has no column for %s; %s", f.name, wantedPoints)
		}
	}
	return at, units, nil
}
