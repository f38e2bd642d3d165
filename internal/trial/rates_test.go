package trial

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestReadRates(t *testing.T) {
	ds, remarks, err := ReadRates(strings.NewReader("\ufeff# rates of \"no. 12\r\nday,rate_s_per_day,sd_s_per_day,temp_c,position\r\n1,-0.8,0.1,20.5,CH\r\n\r\n3,+1.25,,,\r\n4,,,19,dial up\r\n"))
	if err != nil {
		t.Fatal(err)
	}
	c := func(v float64) *float64 { return &v }
	if diff := cmp.Diff([]Day{
		{Number: 1, Known: true, RateSPerDay: -0.8, SDS: 0.1, TempC: c(20.5), Position: "dial up"},
		{Number: 2, Why: "it is not in the file"},
		{Number: 3, Known: true, RateSPerDay: 1.25, SDS: 0.01 / math.Sqrt(12)},
		{Number: 4, Why: "its rate is left empty", TempC: c(19), Position: "dial up"},
	}, ds); diff != "" {
		t.Error(diff)
	}
	if len(remarks) != 1 || !strings.HasPrefix(remarks[0], "1 day has no doubt beside the rate") {
		t.Errorf("%q", remarks)
	}
	ds, remarks, err = ReadRates(strings.NewReader("date;rate_s_per_day;sd_s_per_day\n2024-02-28;−0,8;0,1\n2024-03-01;1,2;0,1\n"))
	if err != nil || len(ds) != 3 || ds[0].RateSPerDay != -0.8 || ds[1].Known || ds[2].RateSPerDay != 1.2 || len(remarks) != 1 {
		t.Errorf("%+v, %q, %v", ds, remarks, err)
	}
}

func TestRatesRefused(t *testing.T) {
	head := "# a comment\nday,rate_s_per_day,sd_s_per_day,temp_c,position\n1,0.5,0.1,20,CH\n"
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "the file has no header and no rows; write CSV with a header"},
		{"comments alone", "# a\n", "the file has no header"},
		{"header alone", "day,rate_s_per_day\n", "the file has a header and no rows"},
		{"no rate", "day,temp_c\n1,2\n", "line 1: the header has no column rate_s_per_day"},
		{"no day", "rate_s_per_day\n1\n", "line 1: the header needs one of day and date"},
		{"day and date", "day,date,rate_s_per_day\n", "needs one of day and date and not both"},
		{"unknown column", "day,rate_s_per_days\n", `line 1: column "rate_s_per_days" is not known, perhaps "rate_s_per_day" is meant`},
		{"a column twice", "day,day,rate_s_per_day\n", "column day stands twice"},
		{"a column without a name", "day,,rate_s_per_day\n", "column 2 has no name"},
		{"text", head + "2,slow,0.1,20,\n", `line 4, column rate_s_per_day: "slow" is no number; write s/d, + gaining`},
		{"hexadecimal", head + "2,0x1p4,,,\n", "is no number"},
		{"infinite", head + "2,Inf,,,\n", "is no number"},
		{"a decimal comma among commas", head + "2,\"0,5\",,,\n", `"0,5" is no number`},
		{"more cells", head + "2,0,5,0,1,20\n", "line 4: the row has 6 cells and the header 5"},
		{"absurd rate", head + "2,5000,,,\n", "line 4, column rate_s_per_day: 5000 is not from -3600 to 3600"},
		{"negative doubt", head + "2,1,-1,,\n", "line 4, column sd_s_per_day: -1 is not from 0"},
		{"no doubt at all", head + "2,1,0,,\n", "nought is written, and no rate is without doubt"},
		{"a doubt of nothing", head + "2,,0.1,,\n", "there is no rate for this doubt"},
		{"heat", head + "2,1,,100,\n", "line 4, column temp_c: 100 is not from -60 to 80"},
		{"position", head + "2,1,,,up\n", `line 4, column position: position "up" is not known`},
		{"day twice", head + "1,1,,,\n", "line 4, column day: it is that of line 3 too"},
		{"day before", head + "3,1,,,\n2,1,,,\n", "line 5, column day: it comes after a later one"},
		{"no day number", head + "x,1,,,\n", `line 4, column day: "x" is no whole number from 1 to 10000`},
		{"day nought", head + "0,1,,,\n", `"0" is no whole number from 1`},
		{"an absurd day", head + "1000000000,1,,,\n", "is no whole number from 1 to 10000"},
		{"no date", "date,rate_s_per_day\n1.3.2025,1\n", `line 2, column date: "1.3.2025" is no date`},
		{"date before", "date,rate_s_per_day\n2025-03-02,1\n2025-03-01,1\n", "line 3, column date: it is before"},
		{"date far off", "date,rate_s_per_day\n1925-03-02,1\n2025-03-01,1\n", "line 3, column date: it is 36524 days after the first"},
		{"quotation mark", head + "2,\"1,,,\n", "a quotation mark stands where none can"},
		{"no text", "day\x00", "the file is no text in UTF-8"},
		{"no UTF-8", "day,\xff", "the file is no text in UTF-8"},
		{"too large", strings.Repeat("#\n", 600000), "larger than 1024 kB"},
	} {
		ds, remarks, err := ReadRates(strings.NewReader(c.text))
		if err == nil || !errors.Is(err, ErrRates) || !strings.Contains(err.Error(), c.want) || ds != nil || remarks != nil {
			t.Errorf("%s: %v, %d days\nwants %s", c.name, err, len(ds), c.want)
		}
	}
}

func FuzzReadRates(f *testing.F) {
	f.Add([]byte("day,rate_s_per_day,sd_s_per_day,temp_c,position\n1,-0.8,0.1,20.5,CH\n3,1,,,\n"))
	f.Add([]byte("date;rate_s_per_day\n2024-02-28;−0,8\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		ds, _, err := ReadRates(strings.NewReader(string(text)))
		if err != nil {
			if !errors.Is(err, ErrRates) || ds != nil {
				t.Fatalf("%v", err)
			}
			return
		}
		for i, d := range ds {
			if d.Number != i+1 || d.Known && !(isFinite(d.RateSPerDay) && d.SDS > 0) || d.Known == (d.Why != "") {
				t.Fatalf("day %d: %+v", i+1, d)
			}
		}
	})
}
