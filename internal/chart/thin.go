package chart

import (
	"math"
	"slices"

	"timeball/internal/chart/pen"
)

// thinned returns the indices of the points worth drawing when they are
// crowded: of each stretch of width across, the first, the last, the lowest
// and the highest. at must be in order of X.
func thinned(at []pen.Point, across float64) []int {
	var keep []int
	for i := 0; i < len(at); {
		bucket := math.Floor(at[i].X / across)
		low, high, j := i, i, i
		for ; j < len(at) && math.Floor(at[j].X/across) == bucket; j++ {
			if at[j].Y < at[low].Y {
				low = j
			}
			if at[j].Y > at[high].Y {
				high = j
			}
		}
		four := []int{i, low, high, j - 1}
		slices.Sort(four)
		keep = append(keep, slices.Compact(four)...)
		i = j
	}
	return keep
}

// thinnedTo returns the indices of about most points of those at, over width.
func thinnedTo(at []pen.Point, most int, width float64) []int {
	if len(at) > most {
		return thinned(at, width/float64(max(1, most/4)))
	}
	keep := make([]int, len(at))
	for i := range keep {
		keep[i] = i
	}
	return keep
}

func picked(at []pen.Point, keep []int) []pen.Point {
	out := make([]pen.Point, len(keep))
	for i, k := range keep {
		out[i] = at[k]
	}
	return out
}

// clipped returns the part of an outline between the heights top and bottom
// (Sutherland and Hodgman, Reentrant polygon clipping (1974), two of the four edges).
func clipped(outline []pen.Point, top, bottom float64) []pen.Point {
	for _, edge := range []struct{ y, side float64 }{{top, 1}, {bottom, -1}} {
		var out []pen.Point
		for i, p := range outline {
			q := outline[(i+len(outline)-1)%len(outline)]
			pIn, qIn := (p.Y-edge.y)*edge.side >= 0, (q.Y-edge.y)*edge.side >= 0
			if pIn != qIn {
				out = append(out, pen.XY(q.X+(p.X-q.X)*(edge.y-q.Y)/(p.Y-q.Y), edge.y))
			}
			if pIn {
				out = append(out, p)
			}
		}
		outline = out
	}
	return outline
}
