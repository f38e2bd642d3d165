package drawing

import (
	"fmt"
	"html/template"
	"time"

	"timeball/internal/chart"
	"timeball/internal/reference"
	"timeball/internal/setting"
	"timeball/internal/store"
)

// Dial is a dial with its hands set, in two sizes.
type Dial struct{ Wide, Narrow template.HTML }

// SetDial returns the dial as a plan wants its hands; id tells it from others
// on the page.
func SetDial(id string, p setting.Plan) Dial {
	d := chart.Dial{
		Caption: chart.Caption{ID: id, Title: "How the hands must stand"}, Hours: int(p.Dial), SetS: float64(p.Set),
		SecondS: 60 * p.BetweenMarks, MinuteHand: p.MinuteHand(), Forward: p.Forward(),
	}
	if p.ForwardS > 0 {
		rest := float64(p.Set) - p.ForwardS
		if rest < 0 {
			rest += p.Dial.Modulus()
		}
		d.RestS = &rest
	}
	return Dial{svg(d.Figure(chart.DialWide())), svg(d.Figure(chart.DialNarrow()))}
}

// Bounds returns how well UTC has been known up to now, or false if nothing is
// kept yet.
func Bounds(kept []store.Standing, now reference.Reading) (Curve, bool) {
	if len(kept) == 0 {
		return Curve{}, false
	}
	c := chart.BoundCurve{Caption: chart.Caption{ID: "bound", Title: "Bound of UTC"}, LimitS: reference.MostBoundS, Today: now.UTC}
	last := ""
	add := func(at time.Time, boundS float64, known bool, source string) {
		words := "not known: " + source
		if known {
			words = fmt.Sprintf("within %.2g ms: %s", 1000*boundS, source)
		}
		if reference.SameSource(source, last) { // only where it came from elsewhere is there something to point at
			words = ""
		}
		last = source
		c.Bounds = append(c.Bounds, chart.Bound{At: at, BoundS: boundS, Known: known, Words: words})
	}
	for _, s := range kept {
		add(s.At, s.BoundS, s.Known, s.Source)
	}
	last = ""
	add(now.UTC, now.BoundS, now.Known, now.Source)
	c.Result = "Now " + c.Bounds[len(c.Bounds)-1].Words + "."
	return newCurve(c.Caption, "", c), true
}
