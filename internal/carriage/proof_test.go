package carriage

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"timeball/internal/clock"
)

func dialOf(t testing.TB, s string) clock.DialReading {
	t.Helper()
	r, err := clock.ParseDial(s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func h(v float64) *float64 { return &v }

// TestTurns: seven and a half turns a day (A. J. Kenealy, Yachting Wrinkles
// (1899), page 166); 36 h in proportion.
func TestTurns(t *testing.T) {
	for _, c := range []struct {
		hours, going, want float64
		ok                 bool
	}{
		{24, 56, 7.5, true},
		{36, 56, 11.25, true}, // 22 or 23 half-turns
		{0, 56, 0, true},
		{24, 192, 0, false}, // no count is known of an eight-day
		{70, 56, 0, false},
		{-1, 56, 0, false},
		{math.NaN(), 56, 0, false},
	} {
		got, ok := Turns(c.hours, c.going)
		if ok != c.ok || math.Abs(got-c.want) > 1e-12 {
			t.Errorf("Turns(%g, %g) = %g, %v; want %g, %v", c.hours, c.going, got, ok, c.want, c.ok)
		}
	}
}

// TestOnArrival: a held balance cannot change the dial, so that what it has run
// is the difference modulo the dial (derived).
func TestOnArrival(t *testing.T) {
	sent := func(dial string, updown *float64) Reading { return Reading{Dial: dialOf(t, dial), UpDownH: updown} }
	for _, c := range []struct {
		name           string
		dial           clock.Dial
		going          float64
		sent, received Reading
		verdict        Verdict
		ran            float64
		others         int
	}{
		{"ran a little", 12, 56, sent("4:17:23.5", h(31)), sent("4:19:05.0", h(31)), CameFree, 101.5, 0},
		{"held", 12, 56, sent("4:17:23.5", h(31)), sent("4:17:23.5", h(31)), HeldAllTheWay, 0, 0},
		{"read one beat short", 12, 56, sent("4:17:23.5", h(31)), sent("4:17:23.0", h(31)), HeldAllTheWay, 0, 0},
		{"over XII", 12, 56, sent("11:59:00", h(31)), sent("12:01:00", h(31)), CameFree, 120, 0},
		{"twelve hours more", 12, 56, sent("4:17:23.5", h(31)), sent("4:19:05.0", h(43)), CameFree, 43200 + 101.5, 0},
		{"exactly twelve hours", 12, 56, sent("4:17:23.5", h(31)), sent("4:17:23.5", h(43)), CameFree, 43200, 0},
		{"until it ran down", 12, 56, sent("4:00:00", h(31)), sent("5:00:00", h(56)), CameFree, 25 * 3600, 0},
		{"dial still, up-and-down moved", 12, 56, sent("4:17:23.5", h(31)), sent("4:17:23.5", h(36)), Disagrees, 0, 0},
		{"wound on the way", 12, 56, sent("4:17:23.5", h(31)), sent("5:17:23.5", h(1)), Disagrees, 0, 0},
		{"turned back", 12, 56, sent("4:17:23.5", h(31)), sent("4:10:23.5", h(31)), Disagrees, 0, 0},
		{"no up-and-down dial", 12, 56, sent("4:17:23.5", nil), sent("4:19:05.0", nil), CameFree, 101.5, 4},
		{"no up-and-down dial, held", 12, 56, sent("4:17:23.5", nil), sent("4:17:23.5", nil), HeldAllTheWay, 0, 5},
		{"nearly run down when sent", 12, 56, sent("4:17:23.5", h(54)), sent("4:19:05.0", nil), CameFree, 101.5, 0},
		{"more than the power left", 12, 56, sent("4:00:00", h(54)), sent("2:00:00", nil), Disagrees, 0, 0},
		{"dial of 24 hours", 24, 56, sent("4:00:00", h(31)), sent("16:00:00", h(43)), CameFree, 43200, 0},
	} {
		got, err := OnArrival(c.dial, c.going, c.sent, c.received)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got.Verdict != c.verdict || math.Abs(got.RanS-c.ran) > 1e-9 || len(got.OthersS) != c.others || got.Start != (c.verdict == HeldAllTheWay) {
			t.Errorf("%s: %+v, want %s, %g s, %d others", c.name, got, c.verdict, c.ran, c.others)
		}
		if len(Forbidden(got.Say)) > 0 || !got.Start && !strings.Contains(got.Say, "do not start; tell the keeper") {
			t.Errorf("%s says %q", c.name, got.Say)
		}
	}
	a, _ := OnArrival(12, 56, sent("4:17:23.5", h(31)), sent("4:19:05.0", h(31)))
	if !strings.HasPrefix(a.Say, "balance came free; do not start; tell the keeper") || !strings.Contains(a.Say, "1 min 41.5 s") {
		t.Errorf("says %q", a.Say)
	}
}

// TestOnArrivalByTime: no longer than the time on the way.
func TestOnArrivalByTime(t *testing.T) {
	left := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	sent := Reading{Dial: dialOf(t, "4:17:23.5"), UTC: left}
	got, err := OnArrival(12, 56, sent, Reading{Dial: dialOf(t, "4:19:05.0"), UTC: left.Add(20 * time.Hour)})
	if err != nil || len(got.OthersS) != 1 || got.OthersS[0] != 43200+101.5 {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err = OnArrival(12, 56, sent, Reading{Dial: dialOf(t, "9:19:05.0"), UTC: left.Add(2 * time.Hour)}); err != nil || got.Verdict != Disagrees {
		t.Errorf("ran longer than it was away: %+v, %v", got, err)
	}
}

func TestOnArrivalRefused(t *testing.T) {
	good := Reading{Dial: 100, UpDownH: h(31), UTC: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
	early := Reading{Dial: 100, UTC: good.UTC.Add(-time.Hour)}
	for name, c := range map[string]struct {
		going          float64
		sent, received Reading
	}{
		"dial":       {56, Reading{Dial: 86400}, good},
		"not a dial": {56, Reading{Dial: clock.DialReading(math.NaN())}, good},
		"up-down":    {56, good, Reading{Dial: 1, UpDownH: h(-1)}},
		"beyond":     {56, good, Reading{Dial: 1, UpDownH: h(70)}},
		"going":      {math.Inf(1), good, good},
		"dates":      {56, good, early},
	} {
		if _, err := OnArrival(12, c.going, c.sent, c.received); !errors.Is(err, ErrReading) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestOnArrivalFindsTheRun lets an instrument of known truth run on the way,
// with an up-and-down dial read to 45 minutes each time.
func TestOnArrivalFindsTheRun(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dial := rapid.SampledFrom([]clock.Dial{clock.TwelveHour, clock.TwentyFourHour}).Draw(t, "dial")
		going := rapid.SampledFrom([]float64{30, 56, 192}).Draw(t, "going")
		wound := rapid.Float64Range(1, going-1).Draw(t, "wound")
		halves := rapid.IntRange(0, int((going-wound)*7200)).Draw(t, "half seconds")
		read := func(v float64, label string) *float64 {
			return h(min(max(0, v+rapid.Float64Range(-0.75, 0.75).Draw(t, label)), going))
		}
		from := rapid.IntRange(0, int(dial.Modulus())*2-1).Draw(t, "from")
		ran := float64(halves) / 2
		sent := Reading{Dial: clock.DialReading(float64(from) / 2), UpDownH: read(wound, "sent")}
		received := Reading{Dial: clock.DialReading(math.Mod(float64(sent.Dial)+ran, dial.Modulus())), UpDownH: read(wound+ran/3600, "received")}
		got, err := OnArrival(dial, going, sent, received)
		if err != nil {
			t.Fatal(err)
		}
		if want := pick(ran <= sameS, string(HeldAllTheWay), string(CameFree)); string(got.Verdict) != want || math.Abs(got.RanS-ran) > sameS {
			t.Fatalf("ran %g s: %+v", ran, got)
		}
		sent.UpDownH, received.UpDownH = nil, nil
		if got, err = OnArrival(dial, going, sent, received); err != nil || math.Abs(got.RanS-ran) > sameS && !slices.ContainsFunc(got.OthersS, func(o float64) bool { return math.Abs(o-ran) <= sameS }) {
			t.Fatalf("without up-and-down, ran %g s: %+v, %v", ran, got, err)
		}
	})
}
