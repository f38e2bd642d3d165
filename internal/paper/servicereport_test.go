package paper_test

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"timeball/internal/paper"
	"timeball/internal/paper/leaf"
)

func report(size leaf.Size) paper.ServiceReport {
	return paper.ServiceReport{
		Size: size, Made: onDay(5, 4), Letterhead: lanternQuay, Instrument: no417, From: onDay(2, 20), To: onDay(5, 3),
		Asked:    []paper.Noted{{On: onDay(2, 20), Words: "It gains more every month"}},
		Received: paper.Noted{On: onDay(2, 28), Words: "box sound, one latch loose, balance held by its brake"},
		Found: []paper.Noted{
			{On: onDay(3, 1), Words: "Oil dry and green in the train; one pivot of the fourth wheel worn to a ridge."},
			{On: onDay(3, 2), Words: "Detent spring sound under the glass, no rust on the balance spring."},
		},
		Work: []paper.Worked{
			{On: onDay(3, 8), Work: "Pivot of the fourth wheel polished, a new hole fitted", Parts: "one brass hole, one cap jewel", Measurements: "end shake 0.04 mm", Hours: 4.5, Cost: paper.Amount{Sum: "410.00", Currency: "EUR"}},
			{On: onDay(3, 10), Work: "Serviced: taken apart, cleaned, oiled, put together", Measurements: "arc of the balance 430° wound, 395° after 48 hours", Hours: 8, Cost: paper.Amount{Sum: "800.50", Currency: "EUR"}},
			{On: onDay(3, 11), Work: "Glass of the bowl renewed", Parts: "bowl glass, 92 mm", Cost: paper.Amount{Sum: "9500", Currency: "ISK"}},
		},
		Hours: 12.5, Costs: []paper.Amount{{Sum: "1210.50", Currency: "EUR"}, {Sum: "9500", Currency: "ISK"}},
		Agreed: "Agreed on 5 March 2027 by Signe Vandrell: at most 1250.00 EUR.",
		Before: paper.Rated{On: onDay(2, 27), Rate: paper.Quantity{Mean: 3.12, Half: 0.05}}, After: paper.Rated{On: onDay(5, 2), Rate: paper.Quantity{Mean: -0.683, Half: 0.031}},
		Watch:      []string{"The rate settles for some weeks after a service; compare it every day for the first month."},
		ServiceDue: onDay(3, 10).AddDate(4, 0, 0),
	}
}

func TestServiceReport(t *testing.T) {
	for _, size := range leaves {
		d, err := report(size).Document()
		fewLeaves(t, d, err, 2)
		golden(t, "servicereport-"+size.Name, d)
	}
}

// TestServiceReportSums: each currency has its sum, in a row of its own, and
// the hours stand once.
func TestServiceReportSums(t *testing.T) {
	d, err := report(leaf.A4).Document()
	fewLeaves(t, d, err, 2)
	words := text(t, d)
	for _, row := range []string{`Together +12\.5 +1210\.50 +EUR`, `and in ISK +9500 +ISK`} {
		if !regexp.MustCompile(row).MatchString(words) {
			t.Errorf("no row %s:\n%s", row, words)
		}
	}
	r := report(leaf.A4)
	r.Costs, r.Work = nil, []paper.Worked{{On: onDay(3, 8), Work: "Looked at", Hours: 1.25}}
	r.Hours = 1.25
	d, err = r.Document()
	fewLeaves(t, d, err, 2)
	if words := squeezed(text(t, d)); !strings.Contains(words, "Together 1.25") {
		t.Errorf("hours without a cost have no sum: %s", words)
	}
}

// TestServiceReportUnknown says what is not known, rather than leaving it out.
func TestServiceReportUnknown(t *testing.T) {
	r := report(leaf.A4)
	r.Received, r.To, r.Asked, r.ServiceDue, r.Before, r.After, r.Agreed = paper.Noted{}, time.Time{}, nil, time.Time{}, paper.Rated{}, paper.Rated{}, ""
	d, err := r.Document()
	fewLeaves(t, d, err, 2)
	words := squeezed(text(t, d))
	for _, says := range []string{"It was in the workshop when the job began, on 20 February 2027.", "goes on", "It is not known: too few comparisons", "not known yet", "Follow your local rules and a licensed person"} {
		if !strings.Contains(words, says) {
			t.Errorf("it does not say %q: %s", says, words)
		}
	}
	r.Hours, r.Costs, r.Work = 0, nil, []paper.Worked{{On: onDay(3, 8), Work: "Regulated: one timing nut in by 1/16 of a turn"}}
	d, err = r.Document()
	fewLeaves(t, d, err, 2)
	if words := squeezed(text(t, d)); strings.Contains(words, "Hours") || strings.Contains(words, "Currency") || !strings.Contains(words, "1/16 of a turn") {
		t.Errorf("columns of nothing: %s", words)
	}
	r.Work = nil
	r.After = report(leaf.A4).After
	d, err = r.Document()
	fewLeaves(t, d, err, 2)
	words = squeezed(text(t, d))
	if !strings.Contains(words, "No work was done.") || !strings.Contains(words, "Before the work not known: too few comparisons") {
		t.Errorf("without work: %s", words)
	}
}

// TestLongServiceReport goes on to as many leaves as it needs, and every piece
// of work stands on them once.
func TestLongServiceReport(t *testing.T) {
	r := report(leaf.Letter)
	r.Work = nil
	for i := range 60 {
		r.Work = append(r.Work, paper.Worked{On: onDay(3, 1).AddDate(0, 0, i), Work: fmt.Sprintf("piece-%02d of the work, told at such a length that it wants more than one line of the table", i)})
	}
	d, err := r.Document()
	fewLeaves(t, d, err, 6)
	words := text(t, d)
	for i := range 60 {
		if n := strings.Count(words, fmt.Sprintf("piece-%02d", i)); n != 1 {
			t.Errorf("piece %d stands %d times", i, n)
		}
	}
}

func TestServiceReportRefuses(t *testing.T) {
	r := report(leaf.A4)
	r.Work, r.Found = nil, nil
	if _, err := r.Document(); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), "the service report needs work that was done, or what was found") {
		t.Errorf("of nothing: %v", err)
	}
	r = report(leaf.A4)
	r.From, r.Letterhead.Workshop = time.Time{}, ""
	if _, err := r.Document(); !errors.Is(err, paper.ErrWanting) || !strings.Contains(err.Error(), "the name of the workshop, the day on which the job began") {
		t.Errorf("without a beginning: %v", err)
	}
}
