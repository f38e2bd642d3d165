package chronometer_test

import (
	"testing"

	"timeball/internal/chronometer"
)

// TestJob takes one job from the enquiry until it is home, and asks after each
// entry how it stands and whom it waits for.
func TestJob(t *testing.T) {
	b := newBook(t)
	eur := func(minor int64) chronometer.Money { return chronometer.Money{Minor: minor, Currency: "EUR"} }
	for day, step := range []struct {
		fact  chronometer.Fact
		stage string
		waits chronometer.Waits
	}{
		{chronometer.Enquired{What: "it gains"}, "asked for", chronometer.TheKeeper},
		{chronometer.Estimated{Work: "clean and oil", Hours: 9, Cost: eur(48000)}, "estimate with the owner", chronometer.TheOwner},
		{chronometer.Approved{Who: "Signe Vandrell"}, "agreed, still to come", chronometer.TheOwner},
		{chronometer.Held{With: chronometer.Brake}, "agreed, still to come", chronometer.TheOwner},
		{chronometer.Sent{To: "Skerrow", Value: eur(500000)}, "on its way here", chronometer.TheCarrier},
		{chronometer.Received{Station: chronometer.Bench}, "to be examined", chronometer.TheBench},
		{chronometer.Found{Condition: "pivot worn"}, "work to be done", chronometer.TheBench},
		{chronometer.Estimated{Work: "a new pivot as well", Hours: 4, Cost: eur(20000)}, "estimate with the owner", chronometer.TheOwner},
		{chronometer.Approved{Who: "Signe Vandrell", UpTo: eur(70000)}, "work to be done", chronometer.TheBench},
		{chronometer.WorkDone{Work: "pivot", Hours: 4.5, Cost: eur(21000)}, "work going on", chronometer.TheBench},
		{chronometer.WorkDone{Work: "cleaned", Hours: 8, Cost: eur(40050)}, "work going on", chronometer.TheBench},
		{chronometer.Ready{}, "ready to go home", chronometer.TheKeeper},
		{chronometer.Sent{To: "home"}, "on its way home", chronometer.TheCarrier},
		{chronometer.Received{Station: chronometer.Home}, "closed", chronometer.Nobody},
	} {
		b.write(float64(day)+1, step.fact)
		jobs := b.log().Jobs()
		if len(jobs) != 1 {
			t.Fatalf("day %d: %d jobs", day, len(jobs))
		}
		if j := jobs[0]; j.Stage != step.stage || j.Waits != step.waits {
			t.Errorf("after %s it is %q and waits for %q, want %q, %q", step.fact.Kind(), j.Stage, j.Waits, step.stage, step.waits)
		}
	}
	j := b.log().Jobs()[0]
	if j.Open() || j.Hours() != 12.5 || len(j.Cost()) != 1 || j.Cost()[0] != eur(61050) {
		t.Errorf("open %v, %.1f h, %v", j.Open(), j.Hours(), j.Cost())
	}
	b.write(40, chronometer.Enquired{What: "a new rating"})
	if jobs := b.log().Jobs(); len(jobs) != 2 || !jobs[1].Open() || jobs[1].Stage != "asked for" {
		t.Errorf("a second job: %+v", jobs)
	}
}

// TestJobWithoutAnEnquiry is brought by hand and worked on at once.
func TestJobWithoutAnEnquiry(t *testing.T) {
	b := newBook(t)
	b.write(1, chronometer.WorkDone{Work: "gimbal pivots greased"})
	if jobs := b.log().Jobs(); len(jobs) != 1 || jobs[0].Stage != "work going on" || jobs[0].Estimated != nil {
		t.Errorf("%+v", jobs)
	}
	if jobs := newBook(t).log().Jobs(); len(jobs) != 0 {
		t.Errorf("a job of nothing: %+v", jobs)
	}
}

// TestWhatAJobAsks names what the room says of a job that waits.
func TestWhatAJobAsks(t *testing.T) {
	says := func(b *book, days int) string {
		i, _ := b.log().Instrument()
		for _, a := range chronometer.Next(i, b.log().State(), nil, start.AddDate(0, 0, days)) {
			switch a.Kind {
			case chronometer.KindEstimated, chronometer.KindApproved, chronometer.KindPacked:
				if !a.Late && a.Due.After(start.AddDate(0, 0, days)) {
					return "" // not yet
				}
				return a.Say
			}
		}
		return ""
	}
	b := newBook(t)
	b.write(1, chronometer.Enquired{What: "it gains"})
	if got := says(b, 2); got != "work is asked for since 19 January: make the estimate" {
		t.Errorf("asked for: %q", got)
	}
	b.write(2, chronometer.Estimated{Work: "clean", Cost: chronometer.Money{Minor: 48000, Currency: "EUR"}})
	if got := says(b, 3); got != "" {
		t.Errorf("a day after the estimate: %q", got)
	}
	if got := says(b, 24); got != "the estimate of 20 January lies with the owner: ask again" {
		t.Errorf("three weeks after: %q", got)
	}
	b.write(25, chronometer.Approved{Who: "Signe Vandrell"})
	b.write(26, chronometer.Received{Station: chronometer.Bench})
	b.write(27, chronometer.WorkDone{Work: "cleaned"})
	if got := says(b, 28); got != "" {
		t.Errorf("work going on: %q", got)
	}
	b.write(28, chronometer.Ready{})
	if got := says(b, 29); got != "ready to go home since 15 February: hold the balance and pack it" {
		t.Errorf("ready: %q", got)
	}
}
