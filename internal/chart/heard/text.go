package heard

import (
	"math"
	"strings"
)

// grid is a page of ASCII letters.
type grid [][]byte

func newGrid(columns, rows int) grid {
	g := make(grid, rows)
	for i := range g {
		g[i] = []byte(strings.Repeat(" ", columns))
	}
	return g
}

func (g grid) put(col, row int, letter byte) {
	if row >= 0 && row < len(g) && col >= 0 && col < len(g[row]) {
		g[row][col] = letter
	}
}

// say writes words from col on, moved to the left so that they end on the page.
func (g grid) say(col, row int, words string) {
	words = ascii(words)
	if row < 0 || row >= len(g) {
		return
	}
	words = words[:min(len(words), len(g[row]))]
	col = max(0, min(col, len(g[row])-len(words)))
	copy(g[row][col:], words)
}

// blank tells whether words at col would be over nothing but blanks.
func (g grid) blank(col, row int, words string) bool {
	if row < 0 || row >= len(g) || col < 0 || col+len(words) > len(g[row]) {
		return false
	}
	return strings.TrimSpace(string(g[row][col:col+len(words)])) == ""
}

func (g grid) String() string {
	var b strings.Builder
	for _, line := range g {
		b.WriteString(strings.TrimRight(string(line), " ") + "\n")
	}
	return b.String()
}

// ascii returns words for any terminal: µ as u, ± as +-, what else is not ASCII
// as a question mark.
func ascii(words string) string {
	words = strings.NewReplacer("µ", "u", "±", "+-", "°", " deg", "…", "...", "−", "-", "·", "-", "½", "1/2").Replace(words)
	return strings.Map(func(r rune) rune {
		if r < 32 || r > 126 {
			return '?'
		}
		return r
	}, words)
}

// held returns the size of a page of letters: 40 to 200 columns, 8 to 60 rows.
func held(columns, rows int) (int, int) { return max(40, min(200, columns)), max(8, min(60, rows)) }

// textMargin writes the words of y in the margin and returns its width.
func textMargin(g grid, ys []tick, row func(float64) int) int {
	w := 0
	for _, t := range ys {
		w = max(w, len(ascii(t.words)))
	}
	for _, t := range ys {
		words := ascii(t.words)
		g.say(w-len(words), row(t.at), words)
	}
	return w + 1
}

// textTicks writes the ticks of x below row and their words in the row after it.
func textTicks(g grid, xs []tick, col func(float64) int, row int) {
	end := -2
	for _, t := range xs {
		words := ascii(t.words)
		c := col(t.at)
		at := max(0, min(c-len(words)/2, len(g[row])-len(words)))
		if at < end+2 {
			continue
		}
		g.put(c, row, '+')
		g.say(at, row+1, words)
		end = at + len(words)
	}
}

// Text returns the beats against their line in ASCII letters, at most columns
// a line and rows lines, each ended by a newline: o the median of the beats of
// a column, | the middle 95% of them, ! a break. Columns are held to 40..200
// and rows to 8..60.
func Text(l Line, columns, rows int) string {
	columns, rows = held(columns, rows)
	g := newGrid(columns, rows)
	used, _ := l.usable()
	if len(used) == 0 {
		return "no beats yet\n"
	}
	sizes := l.sizes(used)
	y := l.height(used, sizes)
	plot := rows - 4 // a row each for the axis, its words, the breaks and the key
	y.a, y.b = float64(plot), 0
	row := func(v float64) int { return 1 + min(plot-1, max(0, int(math.Floor(y.kept(v))))) }
	ys := beatTicks(y, max(2, plot/3), "on the line")
	margin := textMargin(g, ys, row)
	x := l.span(used, nil)
	x.a, x.b = float64(margin+1), float64(columns)-0.001
	col := func(v float64) int { return int(x.kept(v)) }
	for c := margin; c < columns; c++ {
		g.put(c, rows-3, '-')
	}
	for r := 1; r < rows-3; r++ {
		g.put(margin, r, '|')
	}
	for c := margin + 1; c < columns; c += 2 {
		g.put(c, row(0), '-')
	}
	textTicks(g, timeTicks(x, max(2, (columns-margin)/10)), col, rows-3)
	many := len(used) > 4*(columns-margin)
	if many {
		for _, b := range l.bins(used, x, columns-margin-1) {
			for r := row(b.hi); r <= row(b.lo); r++ {
				g.put(col(b.atS), r, '|')
			}
		}
		for _, b := range l.bins(used, x, columns-margin-1) {
			g.put(col(b.atS), row(b.median), 'o')
		}
	} else {
		for _, q := range used {
			g.put(col(q.x), row(q.y), 'o')
		}
	}
	end := 0
	for _, b := range l.Breaks {
		if !usable(b.AtS) || !x.holds(b.AtS) {
			continue
		}
		for r := 1; r < rows-3; r++ {
			g.put(col(b.AtS), r, '!')
		}
		words := ascii("! " + b.Words)
		if c := min(col(b.AtS), columns-len(words)); c >= end && c >= 0 {
			g.say(c, 0, words)
			end = c + len(words) + 2
		}
	}
	key := "o a beat"
	if many {
		key = "o median of the beats there, | the middle 95% of them"
	}
	if len(l.Breaks) > 0 {
		key += ", ! a break"
	}
	g.say(margin+1, rows-1, key)
	return g.String()
}

// TextBeat returns the folded beat in ASCII letters, at most columns a line and
// rows lines, each ended by a newline: the level as a rising area over one
// oscillation, and below it what is heard where, with the results. Columns are
// held to 40..200 and rows to 8..60.
func TextBeat(b Beat, columns, rows int) string {
	columns, rows = held(columns, rows)
	b = b.clean()
	if b.PeriodS == 0 || len(b.Level) == 0 {
		return "no beat was heard\n"
	}
	g := newGrid(columns, rows)
	y, ys := b.heights()
	late, timed := b.late()
	loud, back := "loud beat", "faint tick"
	if b.Lever {
		loud, back = "tick", "tock"
	}
	var below []string
	if b.UnlockingS != nil && b.DropS != nil {
		words := "unlocking to drop " + spanWords(b.since(*b.DropS, 0))
		if b.Amplitude != nil {
			words += " = amplitude " + b.Amplitude.words()
		}
		below = append(below, words)
	}
	if timed {
		below = append(below, b.outOfBeat(late))
	}
	plot := rows - 3 - len(below)
	y.a, y.b = float64(plot), 0
	row := func(v float64) int { return 1 + min(plot-1, max(0, int(math.Floor(y.kept(v))))) }
	margin := textMargin(g, spread(ys, plot), row)
	x := scale{lo: 0, hi: b.PeriodS}
	if b.UnlockingS != nil {
		x = scale{lo: -0.08 * b.PeriodS, hi: 0.92 * b.PeriodS}
	}
	x.a, x.b = float64(margin+1), float64(columns)-0.001
	col := func(v float64) int { return int(x.kept(v)) }
	levels := b.across(x, columns-margin-1, y.lo)
	for c, v := range levels {
		for r := row(v); r <= plot; r++ {
			letter := byte(':')
			if r == row(v) {
				letter = '.'
			}
			if v > y.lo {
				g.put(margin+1+c, r, letter)
			}
		}
	}
	for r := 1; r <= plot; r++ {
		g.put(margin, r, '|')
	}
	for c := margin; c < columns; c++ {
		g.put(c, plot+1, '-')
	}
	textTicks(g, timeTicks(x, max(2, (columns-margin)/10)), col, plot+1)
	if b.UnlockingS != nil {
		g.say(col(0), 0, "v "+loud)
	}
	if timed {
		if c := col(b.PeriodS/2 + late); g.blank(c, 0, "v "+back) {
			g.say(c, 0, "v "+back)
		}
	}
	for i, words := range below {
		g.say(margin+1, plot+3+i, words)
	}
	return g.String()
}

// spread returns of the ticks those that a page of so many rows can tell apart.
func spread(ys []tick, rows int) []tick {
	if len(ys) > 2 && rows < 2*len(ys) {
		return []tick{ys[0], ys[len(ys)-1]}
	}
	return ys
}
