package trial

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"timeball/internal/trial/programme"
)

// someDays draws a rate for every day of a programme.
func someDays(rt *rapid.T, p programme.Programme) []Day {
	rates := rapid.SliceOfN(rapid.Float64Range(-5, 5), p.Days(), p.Days()).Draw(rt, "rates")
	return days(rates...)
}

// Three temperatures equally spaced fix the law by differences.
func TestEqualSpacing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := rapid.Float64Range(-5, 5)
		t2, h := rapid.Float64Range(-5, 35).Draw(rt, "middle"), rapid.Float64Range(3, 20).Draw(rt, "step")
		r1, r2, r3 := f.Draw(rt, "r1"), f.Draw(rt, "r2"), f.Draw(rt, "r3")
		// Of losing rates, as Hartnup has them.
		z := (r1 - 2*r2 + r3) / (2 * h * h)
		if math.Abs(z) < 1e-4 {
			rt.Skip()
		}
		g, a, b, ok := LeastSquares([]Point{{t2 - h, -r1, 1}, {t2, -r2, 1}, {t2 + h, -r3, 1}}, true)
		law, curved := Law{AboutC: AboutC, Rate: Estimate{Mean: g}, Linear: Estimate{Mean: a}, Quadratic: Estimate{Mean: b}}.Hartnup()
		want := t2 - (r3-r1)/(4*h*z)
		if !ok || !curved || math.Abs(law.ZPerC2-z) > 1e-9 || math.Abs(law.TempC-want) > 1e-6*(1+math.Abs(want)) {
			rt.Errorf("%+v, not Z %g T %g", law, z, want)
		}
	})
}

// A span stands for its days in sums and in nothing else.
func TestSpansKeepSums(t *testing.T) {
	p := weekly(t, 28)
	rates := arnold(t)[:28]
	ds := days(rates...)
	whole := Judge(p, ds, Ask{Ended: true})
	// The reading between days 10 and 11 was missed, and that between 14 and 15, which ends a week.
	gap := func(first int) {
		for _, n := range []int{first, first + 1} {
			ds[n-1] = Day{Number: n, Why: "the reading was missed"}
		}
	}
	span := func(first int) Span {
		return Span{First: first, Last: first + 1, ChangeS: rates[first-1] + rates[first], FirstSDS: 0.05, LastSDS: 0.05}
	}
	gap(10)
	r := Judge(p, ds, Ask{Ended: true, Spans: []Span{span(10)}})
	near(t, "a", r.figure(t, "a").Value, whole.figure(t, "a").Value)
	near(t, "b", r.figure(t, "b").Value, whole.figure(t, "b").Value)
	// The scatter of the instrument is told by two days fewer, and the doubts are from draws.
	if got, want := r.figure(t, "a").SD, whole.figure(t, "a").SD; math.Abs(got-want) > 0.03*want {
		t.Errorf("doubt of a: %g, of the whole %g", got, want)
	}
	near(t, "doubt of week 2", r.Sums[1].SDS, whole.Sums[1].SDS)
	if f := r.figure(t, "mean"); f.Known {
		t.Error("a mean of days is known although two are not")
	}
	if f := Judge(p, ds, Ask{Ended: true}).figure(t, "a"); f.Known || !strings.Contains(f.Why, "days 10 to 11 are not known (the reading was missed)") {
		t.Errorf("without the span: %+v", f.Why)
	}
	gap(14)
	r = Judge(p, ds, Ask{Ended: true, Spans: []Span{span(14), span(10)}})
	if f := r.figure(t, "a"); f.Known || r.Sums[1].Known || r.Sums[2].Known || !r.Sums[3].Known {
		t.Error("a week is known whose end was not read")
	}
	for _, s := range []Span{{First: 9, Last: 11}, {First: 0, Last: 3}, {First: 3, Last: 2}, {First: 10, Last: 11, ChangeS: math.NaN()}, {First: 27, Last: 29}} {
		if r := Judge(p, ds, Ask{Ended: true, Spans: []Span{s}}); len(r.Remarks) == 0 || r.figure(t, "a").Known {
			t.Errorf("span %+v is taken", s)
		}
	}
}

func TestVerdicts(t *testing.T) {
	p, _ := programme.Find("iso-3159")
	none, _ := programme.Find("weekly-sums")
	good := make([]float64, 15)
	ds := days(good...)
	broken := append([]Day{}, ds...)
	broken[3].RateSPerDay = 12
	missed := append([]Day{}, ds...)
	missed[4] = Day{Number: 5, Why: "it was not wound"}
	for _, c := range []struct {
		name  string
		p     programme.Programme
		days  []Day
		ended bool
		want  Verdict
		words string
	}{
		{"whole", p, ds, false, Kept, "Kept: all 7 limits are kept."},
		{"half-way", p, ds[:7], false, Open, "Going on: 8 days are still to come."},
		{"half-way and ended", p, ds[:7], true, Undecided, "Undecided: M, V, Vmax, D, P, C and R cannot be known"},
		{"a limit broken half-way", p, broken[:10], false, NotKept, "no day still to come can mend it"},
		{"one day missing", p, missed, false, Undecided, "Undecided: M, V, Vmax and P cannot be known"},
		{"one day missing, days to come", p, missed[:8], false, Open, "will stay undecided"},
		{"no days, not ended", p, nil, false, Open, "Going on: 15 days are still to come."},
		{"no days, ended", p, nil, true, Undecided, "Undecided"},
		{"no limits, no days", none, nil, true, NoLimits, "sets no limits"},
		{"no limits, going on", none, ds, false, Open, "69 days are still to come"},
		{"no programme", programme.Programme{}, ds, true, Undecided, "does not hold"},
	} {
		r := Judge(c.p, c.days, Ask{Ended: c.ended})
		if r.Verdict != c.want || !strings.Contains(r.Words, c.words) {
			t.Errorf("%s: %s: %s", c.name, r.Verdict, r.Words)
		}
		if (r.Verdict == Kept || r.Verdict == NotKept) != (r.P > 0) {
			t.Errorf("%s: p is %g", c.name, r.P)
		}
		text, err := json.Marshal(r.Script())
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		if strings.Contains(string(text), "NaN") {
			t.Errorf("%s: %s", c.name, text)
		}
	}
	if r := Judge(p, missed, Ask{}); !strings.Contains(strings.Join(r.Missing, " "), "M cannot be known: day 5 is not known (it was not wound).") {
		t.Errorf("missing: %q", r.Missing)
	}
}

func TestBadDaysAreLeftOut(t *testing.T) {
	p, _ := programme.Find("iso-3159")
	ds := days(make([]float64, 15)...)
	ds[2].RateSPerDay = math.NaN()
	ds[3].FirstSDS = -1
	ds[4].LastSDS = math.Inf(1)
	ds[5].RateSPerDay = 1e300
	ds = append(ds, Day{Number: 16, Known: true}, Day{Number: -1}, ds[0])
	r := Judge(p, ds, Ask{Ended: true})
	if len(r.Days) != 15 || len(r.Remarks) < 3 {
		t.Errorf("%d days, remarks %q", len(r.Days), r.Remarks)
	}
	for i := 2; i < 6; i++ {
		if r.Days[i].Known {
			t.Errorf("day %d is known", i+1)
		}
	}
	read := Judge(p, days(make([]float64, 15)...), Ask{})
	for i := range ds[:15] {
		ds[i] = Day{Number: i + 1, Known: true}
	}
	bare := Judge(p, ds[:15], Ask{})
	if bare.figure(t, "M").SD != 0 || !strings.Contains(strings.Join(bare.Remarks, " "), "15 days are without a doubt") || strings.Contains(strings.Join(read.Remarks, " "), "without a doubt") {
		t.Errorf("days without a doubt: sd %g, remarks %q", bare.figure(t, "M").SD, bare.Remarks)
	}
}

func TestTemperatureNeverRecorded(t *testing.T) {
	p, _ := programme.Find("three-temperatures")
	of := p.PeriodOfDays()
	ds := days(make([]float64, p.Days())...)
	for i := range ds {
		u := *p.Periods[of[i]].TempC - 20
		ds[i].RateSPerDay = -0.5 - 0.008*u*u + 0.1*math.Sin(float64(3*i))
	}
	placed, remarks := Place(p, ds)
	if len(remarks) != 2 || !strings.Contains(remarks[0], "No temperature was recorded on 23 days of 23") {
		t.Errorf("%q", remarks)
	}
	r := Judge(p, placed, Ask{})
	if r.Law == nil || !r.Law.Curved || r.Law.TurningC == nil || math.Abs(r.Law.TurningC.Mean-20) > 1 {
		t.Fatalf("law %+v", r.Law)
	}
	if !strings.Contains(strings.Join(r.Remarks, " "), "No temperature was recorded for some periods") {
		t.Errorf("remarks %q", r.Remarks)
	}
}

func TestPlace(t *testing.T) {
	p, _ := programme.Find("three-temperatures")
	c := func(v float64) *float64 { return &v }
	ds := []Day{
		{Number: 1, Known: true, TempC: c(20.9), Position: "dial up"},
		{Number: 2, Known: true, TempC: c(21.2), Position: "dial up"},
		{Number: 3, Known: true, TempC: c(20), Position: "VI up"},
		{Number: 6, Known: true, TempC: c(13), Position: "dial up"}, // on the way
		{Number: 24, Known: true},
	}
	placed, remarks := Place(p, ds)
	var known []bool
	for _, d := range placed {
		known = append(known, d.Known)
	}
	if diff := cmp.Diff([]bool{true, false, false, true}, known); diff != "" {
		t.Error(diff)
	}
	all := strings.Join(remarks, " ")
	for _, want := range []string{
		"day 2: it was at 21.2 °C, further than 1 °C from the 20 °C of the programme", "day 3: it lay VI up and the programme asks dial up",
		"No criterion that needs one of them can be known.", "1 day is not among them (24)",
	} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not said in %q", want, all)
		}
	}
	if placed[3].Period != 1 || ds[1].Known != true {
		t.Error("the period is wrong, or the caller's days were changed")
	}
}

func TestScriptNames(t *testing.T) {
	p, _ := programme.Find("three-temperatures")
	ds := days(make([]float64, p.Days())...)
	ds[0].From, ds[0].To = time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC), time.Date(2025, 3, 2, 8, 0, 0, 0, time.UTC)
	text, err := json.Marshal(Judge(p, ds, Ask{}).Script())
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		`"verdict":"`, `"p":`, `"mean_rate_s_per_day":{"mean":`, `"figures":[{"name":"mean rate"`, `"lo95":`, `"hi95":`, `"p_kept":`, `"periods":[{"period":1,"name":"middle","days":5,"days_known":5`,
		`"rate_sd_s_per_day":`, `"sums":[`, `"days":[{"day":1,"period":1,"from":"2025-03-01T08:00:00Z","to":"2025-03-02T08:00:00Z","known":true`, `"temperature":{"about_c":15,"from_c":8,"to_c":32`,
		`"quadratic_s_per_day_per_c2":{`, `"missing":[]`, `"remarks":[`, `"class":null`,
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%s is not in %s", want, text)
		}
	}
}

// The same days give the same result, in whatever order they are given.
func TestNoHiddenChance(t *testing.T) {
	p, _ := programme.Find("iso-3159")
	rapid.Check(t, func(rt *rapid.T) {
		ds := someDays(rt, p)
		if diff := cmp.Diff(Judge(p, ds, Ask{Draws: 50}).Script(), Judge(p, rapid.Permutation(ds).Draw(rt, "order"), Ask{Draws: 50}).Script()); diff != "" {
			rt.Error(diff)
		}
	})
}

func BenchmarkJudge400Days(b *testing.B) {
	p, err := programme.Read([]byte("name: long\nperiods: [{days: 400}]\ncriteria: [{name: a, of: range of sums, sum_days: 7}, {name: b, of: greatest step between sums, sum_days: 7}, {name: m, of: mean deviation}]"))
	if err != nil {
		b.Fatal(err)
	}
	rates := make([]float64, 400)
	for i := range rates {
		rates[i] = 0.3 * math.Sin(float64(i*i))
	}
	ds := days(rates...)
	for i := range ds {
		c := 15 + 10*math.Sin(float64(i)/60)
		ds[i].TempC = &c
	}
	for b.Loop() {
		Judge(p, ds, Ask{})
	}
}

// TestPerDegreeTakesTheTemperaturesRead tries an instrument that gains 0.043 s/d
// for each degree in ovens that missed their temperatures; ISO 3159 asks to
// divide by those of the programme.
func TestPerDegreeTakesTheTemperaturesRead(t *testing.T) {
	p, err := programme.Read([]byte(`name: ovens
within_c: 2
periods: [{days: 3, temp_c: 24}, {days: 3, temp_c: 14}]
criteria:
  - {name: read, of: change per degree, periods: [1], less: [2]}
  - {name: asked, of: change per degree of the programme, periods: [1], less: [2], to: 1}
`))
	if err != nil {
		t.Fatal(err)
	}
	const perDegree, warm, cold = 0.043, 22.3, 15.7
	ds := days(make([]float64, 6)...)
	for i := range ds {
		c := warm
		if i > 2 {
			c = cold
		}
		ds[i].TempC, ds[i].RateSPerDay = &c, -0.7+perDegree*(c-20)
	}
	for _, read := range []bool{true, false} {
		if !read {
			for i := range ds {
				ds[i].TempC = nil
			}
		}
		r := Judge(p, ds, Ask{Ended: true})
		want := [2]float64{perDegree, perDegree * (warm - cold) / 10}
		if !read {
			want[0] = want[1]
		}
		for i, f := range r.Figures {
			if !f.Known || math.Abs(f.Value-want[i]) > 1e-9 {
				t.Errorf("temperatures read %v: %s = %.5f, want %.5f", read, f.Criterion.Name, f.Value, want[i])
			}
		}
		if unsure := strings.Contains(r.Words, "only if each period was as warm"); unsure == read {
			t.Errorf("temperatures read %v: %s", read, r.Words)
		}
	}
}
