package rounds_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"timeball/internal/together/rounds"
)

var noon = time.Date(2026, 1, 1, 12, 0, 0, 0, time.UTC)

func days(n float64) time.Time { return noon.Add(time.Duration(n * 24 * float64(time.Hour))) }

func nan() float64 { return math.NaN() }

func TestRead(t *testing.T) {
	b, err := rounds.Read(strings.NewReader("\ufeff# the ship's book\n" +
		"utc,4021,\"B, small\",note,sd_s,utc_known,event\n" +
		"2026-01-01T12:00:00Z,12:00:02.5,11:59:50,clear,0.2,,\n" +
		"\n" +
		"2026-01-02T12:00:00Z,12:00:03.0,,cloud,,no,\n" +
		"2026-01-03T12:00:00Z,5.5,-60,,,yes,4021 hands moved +60\n"))
	if err != nil {
		t.Fatal(err)
	}
	want := rounds.Book{
		Names: []string{"4021", "B, small"},
		Rows: []rounds.Row{
			{At: days(0), ErrorS: []float64{2.5, -10}, SDS: 0.2},
			{At: days(1), ErrorS: []float64{3, nan()}},
			{At: days(2), ErrorS: []float64{5.5, -60}, UTCKnown: true},
		},
		Steps: []rounds.Step{{Name: "4021", At: days(2), MovedS: 60}},
	}
	if diff := cmp.Diff(want, b, cmpopts.EquateNaNs(), cmpopts.EquateApprox(0, 1e-9)); diff != "" {
		t.Error(diff)
	}
}

// A dial of 12 hours leaves multiples of 12 h open: the difference nearest to
// that before is taken, also over the turn and over a move of the hands.
func TestDialsTurn(t *testing.T) {
	b, err := rounds.Read(strings.NewReader("utc,A,B,event\n" +
		"2026-01-01T12:00:00Z,5:59:50,0:00:10,\n" + // A has no true hour: 5:59:50 fast
		"2026-01-02T12:00:00Z,6:00:20,0:00:10,\n" + // not 5:59:40 slow
		"2026-01-03T12:00:00Z,6:01:20,12:00:10,A hands moved +60\n" +
		"2026-01-04T12:00:00Z,6:01:50,11:59:59,\n"))
	if err != nil {
		t.Fatal(err)
	}
	tb, err := rounds.Lay(b, false)
	if err != nil {
		t.Fatal(err)
	}
	var got []float64
	for k := range tb.At {
		got = append(got, tb.X[0][k]-tb.X[1][k])
	}
	if diff := cmp.Diff([]float64{21580, 21610, 21610, 21651}, got); diff != "" {
		t.Error(diff)
	}
}

func TestBadBooks(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		line       int
		column     string
	}{
		{"nothing", "", 0, ""},
		{"a header alone", "utc,A,B\n", 0, ""},
		{"no utc", "A,B\n1,2\n", 1, ""},
		{"no instruments", "utc,note\n2026-01-01T12:00:00Z,x\n", 1, ""},
		{"one twice", "utc,A,A\n", 1, "A"},
		{"no name", "utc,A,\n", 1, "3"},
		{"no instant", "utc,A,B\n,1,2\n", 2, "utc"},
		{"not an instant", "utc,A,B\n# a remark\nnoon,1,2\n", 3, "utc"},
		{"out of order", "utc,A,B\n2026-01-02T12:00:00Z,1,2\n2026-01-01T12:00:00Z,1,2\n", 3, "utc"},
		{"not a dial", "utc,A,B\n2026-01-01T12:00:00Z,1:75:00,2\n", 2, "A"},
		{"not a number", "utc,A,B\n2026-01-01T12:00:00Z,1,slow\n", 2, "B"},
		{"infinite", "utc,A,B\n2026-01-01T12:00:00Z,1,inf\n", 2, "B"},
		{"not read", "utc,A,B\n2026-01-01T12:00:00Z,1,nan\n", 2, "B"},
		{"dials and errors", "utc,A,B\n2026-01-01T12:00:00Z,1,12:00:01\n", 2, "B"},
		{"no doubt", "utc,A,B,sd_s\n2026-01-01T12:00:00Z,1,2,0\n", 2, "sd_s"},
		{"perhaps", "utc,A,B,utc_known\n2026-01-01T12:00:00Z,1,2,perhaps\n", 2, "utc_known"},
		{"an event", "utc,A,B,event\n2026-01-01T12:00:00Z,1,2,A wound\n", 2, "event"},
		{"another's hands", "utc,A,B,event\n2026-01-01T12:00:00Z,1,2,C hands moved +60\n", 2, "event"},
		{"hands moved by what", "utc,A,B,event\n2026-01-01T12:00:00Z,1,2,A hands moved far\n", 2, "event"},
		{"more cells", "utc,A,B\n2026-01-01T12:00:00Z,1,2,3\n", 2, ""},
		{"a quote", "utc,A,B\n2026-01-01T12:00:00Z,1,\"2\n", 2, ""},
		{"the standard", "utc,UTC,B\n", 1, "UTC"},
		{"thirteen", "utc,1,2,3,4,5,6,7,8,9,10,11,12,13\n", 1, ""},
	} {
		b, err := rounds.Read(strings.NewReader(tt.text))
		var m *rounds.Mistake
		if !errors.As(err, &m) || !errors.Is(err, rounds.ErrBook) {
			t.Errorf("%s: %v %v", tt.name, b, err)
			continue
		}
		if m.Line != tt.line || m.Column != tt.column {
			t.Errorf("%s: line %d column %q, want %d %q: %v", tt.name, m.Line, m.Column, tt.line, tt.column, err)
		}
		if len(b.Rows) > 0 {
			t.Errorf("%s: %d rows came through", tt.name, len(b.Rows))
		}
	}
}

// Whatever a file holds, it is a book that can be laid out or a mistake.
func FuzzRead(f *testing.F) {
	f.Add("utc,A,B\n2026-01-01T12:00:00Z,1,2\n2026-01-02T12:00:00Z,1,2.5\n")
	f.Add("utc,A,B,sd_s,utc_known,event,note\n2026-01-01T12:00:00Z,12:00:01,11:59:02.5,0.1,yes,A hands moved +60,x\n")
	f.Add("# a remark\n\ufeffutc;A;B\n")
	f.Add("utc,A\n0001-01-01T00:00:00Z,1e300\n")
	f.Fuzz(func(t *testing.T, text string) {
		b, err := rounds.Read(strings.NewReader(text))
		if err != nil {
			var m *rounds.Mistake
			if !errors.As(err, &m) || !errors.Is(err, rounds.ErrBook) {
				t.Fatalf("%T %v", err, err)
			}
			return
		}
		if _, err := rounds.Lay(b, true); err != nil {
			t.Fatal(err)
		}
	})
}

// Readings of one round stand in one row, each as it was read; the doubt of a
// later one grows by its rate over the time between.
func TestRounds(t *testing.T) {
	minute := time.Minute
	a := rounds.Series{Name: "A", Readings: []rounds.Comparison{
		{At: days(0), ErrorS: 10, SDS: 0.1}, {At: days(1), ErrorS: 10 + 86.4, SDS: 0.1}, {At: days(2), ErrorS: 10 + 172.8, SDS: 0.1},
	}}
	c := rounds.Series{Name: "B", Readings: []rounds.Comparison{
		{At: days(0).Add(-5 * minute), ErrorS: 1}, {At: days(1).Add(5 * minute), ErrorS: 61, SDS: 0.1}, {At: days(2).Add(50 * minute), ErrorS: 61, SDS: 0.1},
	}, Steps: []rounds.Step{{At: days(1).Add(2 * minute), MovedS: 60}}}
	b, err := rounds.FromErrors([]rounds.Series{a, c}, 10*minute)
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Rows) != 4 || len(b.Steps) != 0 {
		t.Fatalf("%d rows, %d steps", len(b.Rows), len(b.Steps))
	}
	// A gains 86.4 s/d, a millisecond a second: 0.3 s in five minutes.
	want := []rounds.Row{
		{At: days(0).Add(-5 * minute), ErrorS: []float64{10, 1}, EachSDS: []float64{math.Hypot(0.1, 0.3), 0.1}, UTCKnown: true},
		{At: days(1), ErrorS: []float64{96.4, 1}, EachSDS: []float64{0.1, 0.1}, UTCKnown: true},
		{At: days(2), ErrorS: []float64{182.8, nan()}, EachSDS: []float64{0.1, 0}, UTCKnown: true},
		{At: days(2).Add(50 * minute), ErrorS: []float64{nan(), 1}, EachSDS: []float64{0, 0.1}, UTCKnown: true},
	}
	if diff := cmp.Diff(want, b.Rows, cmpopts.EquateNaNs(), cmpopts.EquateApprox(0, 1e-9)); diff != "" {
		t.Error(diff)
	}
	if _, err := rounds.FromErrors([]rounds.Series{a}, -minute); !errors.Is(err, rounds.ErrBook) {
		t.Error(err)
	}
	bad := rounds.Series{Name: "C", Readings: []rounds.Comparison{{At: days(0), ErrorS: 1, SDS: nan()}}}
	if _, err := rounds.FromErrors([]rounds.Series{bad}, minute); !errors.Is(err, rounds.ErrBook) {
		t.Error(err)
	}
}
