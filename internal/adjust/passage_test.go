package adjust_test

import (
	"testing"
	"time"

	"timeball/internal/adjust"
	"timeball/internal/journey"
)

// TestPassagesOfTheQuay looks at the journeys of the invented workshop: the
// rate of no. 1102 was altered by +0.62 s/d when it was carried, no. 640 is on
// its way, no. 12 never travelled.
func TestPassagesOfTheQuay(t *testing.T) {
	w := quay(t)
	p, ok := adjust.LastPassage(see(t, w, "1102"), today.AddDate(0, -6, 0))
	if !ok || !p.Finished || p.Fault != "" {
		t.Fatalf("no. 1102: %v %+v", ok, p)
	}
	f := p.Finding
	if f.Verdict != journey.RateChanged || f.Change == nil || f.Change.Lo95 > 0.62 || f.Change.Hi95 < 0.62 {
		t.Errorf("no. 1102: %s, change %+v: %s", f.Verdict, f.Change, f.Words)
	}
	if p, ok := adjust.LastPassage(see(t, w, "640"), today.AddDate(0, -6, 0)); !ok || p.Finished {
		t.Errorf("no. 640: %v %+v", ok, p)
	}
	if _, ok := adjust.LastPassage(see(t, w, "12"), today.AddDate(0, -6, 0)); ok {
		t.Error("no. 12 has travelled")
	}
	if _, ok := adjust.LastPassage(see(t, w, "1102"), today.Add(-time.Hour)); ok {
		t.Error("a journey of weeks ago is one of the last hour")
	}
}
