package ratebook

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
)

// order sorts the rows by time, drops exact repeats and refuses two different
// readings of one instant.
func (in *reader) order() *Error {
	rows := in.book.Rows
	for i := 1; i < len(rows); i++ {
		if rows[i].At.Before(rows[i-1].At) {
			in.book.Remarks = append(in.book.Remarks, fmt.Sprintf("the rows are not in the order of time (line %d is earlier than line %d); they were sorted", rows[i].Line, rows[i-1].Line))
			slices.SortStableFunc(rows, func(a, b Row) int { return a.At.Compare(b.At) })
			break
		}
	}
	repeats, firstRepeat, firstOf := 0, 0, 0
	for from := 0; from < len(rows); {
		to := from + 1
		for to < len(rows) && rows[to].At.Equal(rows[from].At) {
			to++
		}
		if to-from > 1 {
			n, repeat, of, bad := instant(rows[from:to])
			if bad != nil {
				return bad
			}
			if repeats += n; firstRepeat == 0 {
				firstRepeat, firstOf = repeat, of
			}
		}
		from = to
	}
	if repeats > 0 {
		in.book.Rows = slices.DeleteFunc(rows, func(r Row) bool { return len(r.Facts) == 0 })
		text := "1 repeat was dropped"
		if repeats > 1 {
			text = fmt.Sprintf("%d repeats were dropped", repeats)
		}
		in.book.Remarks = append(in.book.Remarks, fmt.Sprintf("%s: line %d says the same as line %d", text, firstRepeat, firstOf))
	}
	return nil
}

// instant takes the repeats out of rows of one instant, and returns how many
// facts there were and the lines of the first of them.
func instant(rows []Row) (repeats, line, of int, bad *Error) {
	type seen struct {
		line    int
		compare chronometer.Compared
	}
	said := map[string]int{}
	var readings []seen
	for i := range rows {
		row := &rows[i]
		row.Facts = slices.DeleteFunc(row.Facts, func(f chronometer.Fact) bool {
			key := sameness(row.By, f)
			before, known := said[key]
			if known {
				if repeats++; line == 0 {
					line, of = row.Line, before
				}
				return true
			}
			said[key] = row.Line
			if c, ok := f.(chronometer.Compared); ok {
				readings = append(readings, seen{row.Line, c})
			}
			return false
		})
	}
	observers := map[string]int{}
	for i, r := range readings {
		before, known := observers[r.compare.Observer]
		if i > 0 && (r.compare.Observer == "" || known || readings[0].compare.Observer == "") {
			if !known {
				before = readings[i-1].line
			}
			first, second := min(before, r.line), max(before, r.line)
			return 0, 0, 0, &Error{Line: second, Err: fmt.Errorf("it and line %d are two readings of one instant, %s; take the wrong one out, or name the observer of each", first, rows[0].At.Format(time.RFC3339Nano))}
		}
		observers[r.compare.Observer] = r.line
	}
	return repeats, line, of, nil
}

// sameness returns a text that is equal for equal facts.
func sameness(by string, f chronometer.Fact) string {
	if _, ok := f.(chronometer.Compared); ok {
		by = ""
	}
	text, _ := json.Marshal(f) // facts that were read have no value that JSON lacks
	return string(f.Kind()) + "\x00" + by + "\x00" + string(text)
}

// dialHours sets what the dial readings tell of the dial: hours past 12 mean a
// 24-hour dial, unless others tell that it repeats after 12.
func (in *reader) dialHours() {
	past, twice, pastLine, twiceLine := false, false, 0, 0
	for _, row := range in.book.Rows {
		for _, f := range row.Facts {
			c, ok := f.(chronometer.Compared)
			if !ok {
				continue
			}
			r, ok := c.Reading()
			if !ok {
				continue
			}
			in.book.HasDial = true
			const clear = 3 * 3600 // s; an error beyond it tells nothing of the dial
			short := clock.TwelveHour.Error(r, row.At, 0)
			long := clock.TwentyFourHour.Error(r, row.At, 0)
			switch {
			case r >= 13*3600:
				if !past {
					past, pastLine = true, row.Line
				}
			case short > -clear && short < clear && (long > 43200-clear || long < clear-43200):
				if !twice {
					twice, twiceLine = true, row.Line
				}
			}
		}
	}
	switch {
	case past && twice:
		in.book.DialHours = clock.TwelveHour
		in.book.Remarks = append(in.book.Remarks, fmt.Sprintf("line %d counts hours past 12 and line %d begins anew after 12; it is taken as a 12-hour dial", pastLine, twiceLine))
	case past:
		in.book.DialHours = clock.TwentyFourHour
	case twice:
		in.book.DialHours = clock.TwelveHour
	}
}
