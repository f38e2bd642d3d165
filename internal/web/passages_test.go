package web_test

import (
	"net/http"
	"strings"
	"testing"
)

// TestTheJourneyIsJudged asks for an instrument that was carried; what the
// verdicts are worth is tested in package journey.
func TestTheJourneyIsJudged(t *testing.T) {
	q := lanternQuay(t)
	v := visit(t, q)
	page := v.get("/instruments/417", http.StatusOK)
	page.one(t, "#passage-head")
	for _, s := range page.all("section.sheet") {
		if !strings.HasPrefix(s.words(), "Did the journey hurt it?") {
			continue
		}
		if tags := s.all(".tag"); len(tags) != 1 || tags[0].words() == "" {
			t.Errorf("there is no verdict: %q", s.words())
		}
		if len(s.all("p")) < 2 {
			t.Errorf("the verdict has no words: %q", s.words())
		}
	}
}
