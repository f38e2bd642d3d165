package rating

import (
	"math"
	"slices"

	"timeball/internal/statespace"
	"timeball/internal/timescale"
)

// curveNodes is how many choices of noise the curve of the past averages over:
// between readings it hardly depends on the noise.
const curveNodes = 9

// curve returns the estimate of error and rate over the past at about n points
// evenly spread, and at every used comparison up to n of them.
func (e *estimate) curve(n int) []CurvePoint {
	d := e.design
	first := e.used[0].t
	var extra []float64
	for i := range n {
		extra = append(extra, first+(d.end-first)*float64(i)/float64(n-1))
	}
	c := len(d.names) + 1
	p := &problem{prior: e.problem.prior}
	k := 0
	add := func(t, y, sd float64, aside bool) {
		p.series.T = append(p.series.T, t)
		p.series.Rows = append(p.series.Rows, make([]float64, c)...)
		row := p.series.Rows[len(p.series.Rows)-c:]
		d.row(row, t, ReferenceC)
		row[c-1] = y
		p.sd, p.aside = append(p.sd, sd), append(p.aside, aside)
	}
	for _, o := range e.used {
		for ; k < len(extra) && extra[k] < o.t; k++ {
			add(extra[k], 0, 0, true)
		}
		add(o.t, o.y-e.offset, o.sd, false)
	}
	p.series.Cols, p.series.Var = c, make([]float64, len(p.series.T))
	rates := make([]float64, 0, (c-1)*len(p.series.T))
	row := make([]float64, c-1)
	for _, t := range p.series.T {
		temp := ReferenceC
		if d.temp != nil {
			temp += d.temp.value(t)
		}
		rates = append(rates, d.rates(row, t, temp, d.positionAt(t))...)
	}
	levels, slopes := make([]mixture, len(p.series.T)), make([]mixture, len(p.series.T))
	for _, node := range heaviest(e.nodes, curveNodes) {
		if _, ok := p.fit(node.u); !ok {
			continue
		}
		for i, s := range p.ws.Smooth(rates) {
			levels[i] = append(levels[i], gaussian{node.weight, s.X, math.Sqrt(s.VarX)})
			slopes[i] = append(slopes[i], gaussian{node.weight, s.R, math.Sqrt(s.VarR)})
		}
	}
	return e.points(p.series, levels, slopes, n)
}

// points turns the smoothed rows into the points of a curve, cut into runs.
func (e *estimate) points(s statespace.Series, levels, slopes []mixture, n int) []CurvePoint {
	runs := e.runs()
	stride := 1 + len(s.T)/(2*n)
	var curve []CurvePoint
	run := 0
	for i, t := range s.T {
		at := timescale.AddDays(e.rec.origin, t)
		for run+1 < len(runs) && !at.Before(runs[run+1].From) {
			run++
		}
		if at.After(runs[run].To) || len(levels[i]) == 0 {
			continue // between two runs nothing was observed
		}
		if i%stride != 0 && i+1 < len(s.T) {
			continue
		}
		curve = append(curve, CurvePoint{
			At: at, Run: run, Error: levels[i].interval().plus(e.offset + e.rec.moved(at)), Rate: slopes[i].interval(),
		})
	}
	return curve
}

// heaviest returns the n nodes of the greatest weight.
func heaviest(nodes []node, n int) []node {
	sorted := slices.Clone(nodes)
	slices.SortFunc(sorted, func(a, b node) int {
		if a.weight > b.weight {
			return -1
		}
		return 1
	})
	return sorted[:min(n, len(sorted))]
}
