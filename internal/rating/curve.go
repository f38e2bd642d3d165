package rating

import (
	"slices"

	"timeball/internal/posterior"
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
	p := &posterior.Problem{Prior: e.problem.Prior}
	k := 0
	add := func(t, y, sd float64, aside bool) {
		p.Series.T = append(p.Series.T, t)
		p.Series.Rows = append(p.Series.Rows, make([]float64, c)...)
		row := p.Series.Rows[len(p.Series.Rows)-c:]
		d.row(row, t, ReferenceC)
		row[c-1] = y
		p.SD, p.Aside = append(p.SD, sd), append(p.Aside, aside)
	}
	for _, o := range e.used {
		for ; k < len(extra) && extra[k] < o.t; k++ {
			add(extra[k], 0, 0, true)
		}
		add(o.t, o.y-e.offset, o.sd, false)
	}
	p.Series.Cols, p.Series.Var = c, make([]float64, len(p.Series.T))
	rates := make([]float64, 0, (c-1)*len(p.Series.T))
	row := make([]float64, c-1)
	for _, t := range p.Series.T {
		temp := ReferenceC
		if d.temp != nil {
			temp += d.temp.value(t)
		}
		rates = append(rates, d.rates(row, t, temp, d.positionAt(t))...)
	}
	levels, slopes := make([]posterior.Mixture, len(p.Series.T)), make([]posterior.Mixture, len(p.Series.T))
	for _, node := range heaviest(e.nodes, curveNodes) {
		if _, ok := p.Fit(node.At); !ok {
			continue
		}
		for i, s := range p.Workspace.Smooth(rates) {
			levels[i] = append(levels[i], node.Says(s.X, s.VarX))
			slopes[i] = append(slopes[i], node.Says(s.R, s.VarR))
		}
	}
	return e.points(p.Series, levels, slopes, n)
}

// points turns the smoothed rows into the points of a curve, cut into runs.
func (e *estimate) points(s statespace.Series, levels, slopes []posterior.Mixture, n int) []CurvePoint {
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
			At: at, Run: run, Error: levels[i].Interval().Plus(e.offset + e.rec.moved(at)), Rate: slopes[i].Interval(),
		})
	}
	return curve
}

// heaviest returns the n nodes of the greatest weight.
func heaviest(nodes []posterior.Node, n int) []posterior.Node {
	sorted := slices.Clone(nodes)
	slices.SortFunc(sorted, func(a, b posterior.Node) int {
		if a.Weight > b.Weight {
			return -1
		}
		return 1
	})
	return sorted[:min(n, len(sorted))]
}
