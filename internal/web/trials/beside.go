package trials

import (
	"net/url"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/web/wording"
)

// Beside is trials of one instrument, side by side.
type Beside struct {
	Trials []Column
	Rows   []Row
}

// Column is one of the trials.
type Column struct {
	Programme, Dates string
	Href             string // empty for the one that is shown
}

// Row is one figure of each of the trials.
type Row struct {
	Name  string
	Cells []Cell
}

// Cell is what one trial says of a figure.
type Cell struct {
	Words, Below string
	Tone         string
}

// mostBeside is how many trials stand side by side.
const mostBeside = 4

// NewBeside returns the trial of an entry beside the others of the instrument,
// the newest first; nil if there is no other.
func NewBeside(all []adjust.Trial, shown, at string, now time.Time) *Beside {
	if len(all) < 2 {
		return nil
	}
	var picked []adjust.Trial
	for _, t := range all {
		if string(t.Begun.ID) == shown {
			picked = append(picked, t)
		}
	}
	for n := len(all) - 1; n >= 0 && len(picked) < mostBeside; n-- {
		if string(all[n].Begun.ID) != shown {
			picked = append(picked, all[n])
		}
	}
	b := &Beside{Rows: []Row{{Name: "Verdict"}, {Name: "Mean daily rate"}}}
	row := map[string]int{}
	for _, t := range picked {
		for _, f := range t.Result.Figures {
			if name := f.Criterion.Name; row[name] == 0 {
				row[name] = len(b.Rows)
				b.Rows = append(b.Rows, Row{Name: name})
			}
		}
	}
	for n := range b.Rows {
		b.Rows[n].Cells = make([]Cell, len(picked))
		for i := range b.Rows[n].Cells {
			b.Rows[n].Cells[i] = Cell{Below: "not asked"}
		}
	}
	for i, t := range picked {
		c := Column{Programme: t.Programme.Name, Dates: wording.ShortDay(t.Begun.At, now) + " to now"}
		if t.Over() {
			c.Dates = wording.ShortDay(t.Begun.At, now) + " to " + wording.ShortDay(t.Ended.At, now)
		}
		if id := string(t.Begun.ID); id != shown {
			c.Href = at + "/trial?of=" + url.QueryEscape(id)
		}
		b.Trials = append(b.Trials, c)
		words, tone := verdict(t.Result, t.Course.Today.State)
		b.Rows[0].Cells[i] = Cell{Words: words, Tone: tone}
		b.Rows[1].Cells[i] = Cell{Below: "no day known"}
		for _, d := range t.Result.Days {
			if d.Known && !t.Programme.Periods[d.Period].Apart {
				told := rate(t.Result.Mean.Mean, half(t.Result.Mean))
				b.Rows[1].Cells[i] = Cell{Words: told.Words + " " + told.PlusMinus}
				break
			}
		}
		for _, f := range t.Result.Figures {
			read := newCriterion(f, t.Result)
			cell := Cell{Below: read.Standing, Tone: read.Tone}
			if v := read.Value; v != nil {
				cell.Words = v.String()
			}
			b.Rows[row[read.Name]].Cells[i] = cell
		}
	}
	return b
}

func escape(key string) string { return url.PathEscape(key) }
