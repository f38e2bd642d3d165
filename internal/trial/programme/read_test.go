package programme

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestShippedProgrammes(t *testing.T) {
	all := Shipped()
	if len(all) != 5 {
		t.Fatalf("%d programmes", len(all))
	}
	for _, p := range all {
		for _, name := range []string{p.Slug(), p.Name, strings.ToUpper(p.Slug()), strings.ReplaceAll(p.Slug(), "-", "_")} {
			if q, ok := Find(name); !ok || q.Name != p.Name {
				t.Errorf("%s is not found", name)
			}
		}
		// The head of each file says where it comes from and what the workshop may set.
		for _, want := range []string{"# Source: ", "the workshop's own to set", "workshop"} {
			if !strings.Contains(strings.ToLower(strings.ReplaceAll(p.Text, "\n# ", " ")), strings.ToLower(strings.TrimPrefix(want, "# "))) {
				t.Errorf("%s does not say %q", p.Name, want)
			}
		}
		if p.About == "" || p.Source == "" {
			t.Errorf("%s says nothing of itself", p.Name)
		}
		for _, c := range p.Criteria {
			if c.About == "" || c.Unit == "" {
				t.Errorf("%s: %s has no words or no unit", p.Name, c.Name)
			}
		}
	}
	if _, ok := Find("no such"); ok {
		t.Error("a programme is found that does not exist")
	}
}

// The words of the logbook, as chronometer.Position has them, and the symbols
// of ISO 3158.
func TestPositions(t *testing.T) {
	for text, want := range map[string]string{
		"dial up": "dial up", "dial down": "dial down", "XII up": "XII up", "III up": "III up", "VI up": "VI up", "IX up": "IX up",
		"CH": "dial up", "FH": "dial down", "12H": "XII up", "3H": "III up", "6H": "VI up", "9H": "IX up", "": "", "Dial  Up": "dial up", "vi up": "VI up",
	} {
		if got, err := Position(text); err != nil || got != want {
			t.Errorf("%q: %q, %v", text, got, err)
		}
	}
	if _, err := Position("sideways"); err == nil {
		t.Error("sideways is a position")
	}
}

const short12 = `name: test
periods:
  - {days: 7, temp_c: 20, position: dial up}
  - {days: 7, temp_c: 8}
criteria:
  - name: a
    of: range of sums
    sum_days: 7
  - {name: b, of: mean rate, from: -2, to: 1}
`

func TestRead(t *testing.T) {
	p, err := Read([]byte(short12))
	if err != nil {
		t.Fatal(err)
	}
	c := func(v float64) *float64 { return &v }
	want := Programme{
		Name: "test", Text: short12,
		Periods: []Period{{Days: 7, TempC: c(20), Position: "dial up"}, {Days: 7, TempC: c(8)}},
		Criteria: []Criterion{
			{Name: "a", Of: RangeOfSums, SumDays: 7, Unit: "s"}, {Name: "b", Of: MeanRate, From: c(-2), To: c(1), Unit: "s/d"},
		},
	}
	if diff := cmp.Diff(want, p); diff != "" {
		t.Error(diff)
	}
}

// Every refusal names the line, the field and what to write instead.
func TestProgrammesRefused(t *testing.T) {
	with := func(old, new string) string {
		if !strings.Contains(short12, old) {
			t.Fatalf("%q is not in the text", old)
		}
		return strings.Replace(short12, old, new, 1)
	}
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "the text is empty; write name, periods and criteria"},
		{"comments alone", "# nothing\n", "the text is empty"},
		{"no YAML", "name: [", "mend the text so that it is YAML"},
		{"a list", "- a\n", "line 1: a list stands where fields are wanted"},
		{"two programmes", short12 + "---\nname: b\n", "more than one programme"},
		{"no UTF-8", "name: \xff\n", "letters that are not UTF-8"},
		{"too large", "# " + strings.Repeat("x", 70000), "larger than 64 kB"},
		{"no name", with("name: test\n", ""), "name: there is none; write what the programme is called"},
		{"no days", "name: x\n", "line 1, periods: there are no days at all"},
		{"no periods in the list", "name: x\nperiods: []\n", "line 2, periods: there are no days at all"},
		{"periods no list", "name: x\nperiods: 3\n", `line 2, periods: "3" stands where a list is wanted`},
		{"unknown field", with("sum_days: 7", "sum_day: 7"), `line 8, criterion 1: the field "sum_day" is not known, perhaps "sum_days" is meant; write one of: about, classes`},
		{"unknown field, unlike any", with("sum_days: 7", "colour: red"), `the field "colour" is not known; write one of:`},
		{"a field twice", with("sum_days: 7", "of: mean rate"), "line 8, criterion 1 of: it stands twice; write it once"},
		{"text for a number", with("from: -2", "from: low"), `line 9, criterion 2 from: "low" is no number; write one with a decimal point`},
		{"a decimal comma", with("temp_c: 8", "temp_c: '8,5'"), "is in quotation marks and so is text"},
		{"not a number", with("temp_c: 8", "temp_c: .nan"), `line 4, period 2 temp_c: ".nan" is no number`},
		{"half a day", with("days: 7, temp_c: 8", "days: 7.5, temp_c: 8"), `line 4, period 2 days: "7.5" is no whole number`},
		{"limits crossed", with("from: -2", "from: 2"), "line 9, criterion 2 from: 2 is above to, 1; write the lower limit in from"},
		{"no such period", with("from: -2", "periods: [3], from: -2"), "line 9, criterion 2 periods: there is no period 3; write numbers from 1 to 2"},
		{"period nought", with("from: -2", "periods: [0], from: -2"), "there is no period 0"},
		{"periods out of order", with("from: -2", "periods: [2, 1], from: -2"), "1 stands after 2; write the periods in order and each once"},
		{"a word for a period", with("from: -2", "periods: [one], from: -2"), `"one" is no whole number`},
		{"unknown measure", with("of: mean rate", "of: mean rates"), `line 9, criterion 2 of: the measure "mean rates" is not known, perhaps "mean rate" is meant`},
		{"no measure", with("of: mean rate, ", ""), `criterion 2 of: the measure "" is not known`},
		{"a term of nothing", short12 + "  - {name: n, of: sum of, terms: [{times: 2, name: bb}]}\n", `line 10, criterion 3 term 1 name: no criterion before this one is called "bb", perhaps "b" is meant`},
		{"a term of itself", short12 + "  - {name: n, of: sum of, terms: [{name: n}]}\n", "no criterion before this one"},
		{"terms elsewhere", with("from: -2", "terms: [{name: a}], from: -2"), `"mean rate" has no terms`},
		{"absurd days", with("days: 7, temp_c: 8", "days: 5000, temp_c: 8"), "line 4, period 2 days: 5000 is not from 1 to 400 days"},
		{"absurd days in all", with("days: 7, temp_c: 8", "days: 399, temp_c: 8"), "with it the trial has 406 days; write at most 400 in all"},
		{"negative days", with("days: 7, temp_c: 8", "days: -1, temp_c: 8"), "-1 is not from 1 to 400 days"},
		{"absurd heat", with("temp_c: 8", "temp_c: 800"), "800 is not from -60 to 80 degrees Celsius"},
		{"position", with("dial up", "upside"), `line 3, period 1 position: position "upside" is not known; write one of: dial up`},
		{"apart", with("temp_c: 8", "temp_c: 8, apart: perhaps"), `"perhaps" is neither yes nor no`},
		{"all apart", strings.ReplaceAll(short12, "days: 7,", "days: 7, apart: yes,"), "every period is apart"},
		{"name twice", with("name: b", "name: a"), `line 9, criterion 2 name: "a" is the name of criterion 1 too`},
		{"one sum", with("sum_days: 7", "sum_days: 8"), "line 8, criterion 1 sum_days: the periods hold 1 whole sums of 8 days in a row; two are needed"},
		{"no sum days", with("    sum_days: 7\n", ""), "criterion 1 sum_days: 0 is not from 1 to 400; write the days of one sum, 7 for weeks"},
		{"sum days elsewhere", with("from: -2", "sum_days: 7, from: -2"), `"mean rate" has no sums`},
		{"nothing to take off", with("mean rate", "difference of means"), "criterion 2 less: there is none"},
		{"taking off elsewhere", with("from: -2", "less: [1], from: -2"), `"mean rate" takes nothing off`},
		{"per degree of none", with("of: mean rate", "of: change per degree, periods: [1], less: [1]"), "its temperature is that of periods"},
		{"pairs of two temperatures", with("mean rate", "range of symmetric pairs"), "period 1 at 20 °C and period 2 at 8 °C are a pair"},
		{"two temperatures for a middle", with("mean rate", "middle temperature error"), "they have 2 temperatures and three are needed"},
		{"classes and limits", with("from: -2", "classes: [{name: x, most: 1}], from: -2"), "there are from or to as well"},
		{"classes falling", with("from: -2, to: 1", "classes: [{name: x, most: 1}, {name: y, most: 0.5}]"), "line 9, criterion 2 class 2 most: 0.5 is not above 1"},
		{"a class without a limit", with("from: -2, to: 1", "classes: [{name: x}]"), "criterion 2 class 1 most: there is none"},
		{"an alias", "name: &n x\nabout: *n\nperiods: [{days: 1}]\n", "line 1, name: a programme has no anchors and aliases"},
		{"a group for words", with("name: test", "name: {a: b}"), "a group of fields stands where words are wanted"},
		{"a long name", with("name: test", "name: "+strings.Repeat("x", 81)), "it has 81 letters; write at most 80"},
		{"tolerance", "name: x\nwithin_h: 13\nperiods: [{days: 2}]\n", "line 2, within_h: 13 is not from 0 to 12 hours"},
	} {
		p, err := Read([]byte(c.text))
		if err == nil || !errors.Is(err, ErrProgramme) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v\nwants %s", c.name, err, c.want)
		}
		if diff := cmp.Diff(Programme{}, p); diff != "" {
			t.Errorf("%s is half read: %s", c.name, diff)
		}
	}
}

// TestMeasureWords keeps the words of the measures, which stand in the files
// of workshops.
func TestMeasureWords(t *testing.T) {
	if diff := cmp.Diff([]string{
		"mean rate", "mean variation", "greatest variation", "greatest departure", "mean deviation", "difference of means", "change per degree", "change per degree of the programme", "middle temperature error",
		"range of sums", "greatest step between sums", "range of symmetric pairs", "greatest step less its share of the range", "greatest step less its share of the range, signs ignored", "acceleration", "sum of",
	}, texts(Measures())); diff != "" {
		t.Error(diff)
	}
}

// What is read holds, and can be computed.
func FuzzRead(f *testing.F) {
	for _, p := range Shipped() {
		f.Add([]byte(p.Text))
	}
	f.Add([]byte(short12))
	f.Add([]byte("name: &a [*a]\nperiods: {? [a] : b}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := Read(text)
		if err != nil {
			if !errors.Is(err, ErrProgramme) || p.Text != "" {
				t.Fatalf("%v", err)
			}
			return
		}
		if err := p.Check(); err != nil {
			t.Fatalf("what was read does not hold: %v", err)
		}
		rates := make([]float64, p.Days())
		for i := range rates {
			rates[i] = float64(i%7) / 3
		}
		for name, v := range values(p, rates) {
			if math.IsNaN(v) {
				t.Fatalf("%s is no number", name)
			}
		}
	})
}
