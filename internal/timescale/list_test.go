package timescale

import (
	"crypto/sha1"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// Lines of testdata/leap-seconds_2025-07.list and leap-seconds.list are those
// of the IERS files of 7 July 2025 and 6 July 2026, as shipped in tzdata 2025b
// and 2026f, without their comments.
func iersFile(t testing.TB, name string) string {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// TestReadList checks both published lists against their published hashes.
func TestReadList(t *testing.T) {
	for _, c := range []struct {
		file             string
		updated, expires string
		hash             [5]uint32
		begins           string
	}{
		{"testdata/leap-seconds_2025-07.list", "2025-07-07T00:00:00Z", "2026-06-28T00:00:00Z",
			[5]uint32{0x49db2447, 0x571e5e1b, 0x2f002a53, 0x9c8da8e4, 0x39b8e49e}, "396083520039915936002272060800102287785600"},
		{"leap-seconds.list", "2026-07-06T07:44:57Z", "2027-06-28T00:00:00Z",
			[5]uint32{0xa9bad145, 0x84c31c70, 0x758402aa, 0xb37bfd54, 0x5923836a}, "399231269740231296002272060800102287785600"},
	} {
		var in listReader
		for line := range strings.Lines(iersFile(t, c.file)) {
			in.line++
			if err := in.read(strings.TrimSuffix(line, "\n")); err != nil {
				t.Fatal(err)
			}
		}
		if text := in.hashed(); len(text) != 356 || !strings.HasPrefix(text, c.begins) {
			t.Errorf("%s: hashed text of %d characters, %.42s…", c.file, len(text), text)
		}
		if in.hash != c.hash {
			t.Errorf("%s: hash %x, want %x", c.file, in.hash, c.hash)
		}
		l, err := ReadList(strings.NewReader(iersFile(t, c.file)))
		if err != nil {
			t.Fatal(err)
		}
		if got := l.Updated.Format(time.RFC3339); got != c.updated {
			t.Errorf("%s: updated %s, want %s", c.file, got, c.updated)
		}
		if got := l.Expires.Format(time.RFC3339); got != c.expires {
			t.Errorf("%s: expires %s, want %s", c.file, got, c.expires)
		}
		if len(l.rows) != 28 {
			t.Errorf("%s: %d rows, want 28", c.file, len(l.rows))
		}
	}
}

// signed puts a fitting hash at the end of a list that has none.
func signed(lines ...string) string {
	var in listReader
	for _, line := range lines {
		_ = in.read(line)
	}
	return strings.Join(append(lines, fmt.Sprintf("#h %s", hashWords(in.hashed()))), "\n")
}

func hashWords(text string) string {
	sum := sha1.Sum([]byte(text))
	return fmt.Sprintf("%x %x %x %x %x", sum[0:4], sum[4:8], sum[8:12], sum[12:16], sum[16:20])
}

func TestReadListRefuses(t *testing.T) {
	good := iersFile(t, "leap-seconds.list")
	change := func(from, to string) string {
		if strings.Count(good, from) != 1 {
			t.Fatalf("%q stands %d times in the list", from, strings.Count(good, from))
		}
		return strings.Replace(good, from, to, 1)
	}
	const upd, exp = "#$ 3992312697", "#@ 4023129600"
	for name, c := range map[string]struct{ text, says string }{
		"empty":              {"", "no row"},
		"web page":           {"<html>\n<p>moved</p>", "line 1 is not a row of two numbers"},
		"one row changed":    {change("3692217600      37", "3723753600      37"), "damaged"},
		"one row lost":       {change("3692217600      37      # 1 Jan 2017\n", ""), "damaged"},
		"expiry put off":     {change("#@\t4023129600", "#@\t4054752000"), "damaged"},
		"hash changed":       {change("a9bad145", "a9bad146"), "line 32 gives a hash"},
		"hash short":         {change(" 5923836a", ""), "hash of 4 words"},
		"hash no number":     {change("5923836a", "5923836g"), "word 5 is not a hexadecimal"},
		"hash lost":          {good[:strings.Index(good, "#h")], "begins with #h"},
		"two hashes":         {good + "#h 1 2 3 4 5", "line 33 gives the hash a second time"},
		"no expiry":          {signed(upd, "2272060800 10"), "begins with #@"},
		"no update":          {signed(exp, "2272060800 10"), "begins with #$"},
		"two expiries":       {signed(upd, exp, exp, "2272060800 10"), "line 3 gives the date of expiry a second time"},
		"expires early":      {signed("#$ 4023129601", exp, "2272060800 10"), "before its own date"},
		"rows fall":          {signed(upd, exp, "2287785600 11", "2272060800 10"), "line 4 is not later"},
		"rows repeat":        {signed(upd, exp, "2272060800 10", "2272060800 11"), "line 4 is not later"},
		"step of two":        {signed(upd, exp, "2272060800 10", "2287785600 12"), "line 4 steps TAI minus UTC by 2 s"},
		"step of nothing":    {signed(upd, exp, "2272060800 10", "2287785600 10"), "by 0 s"},
		"off midnight":       {signed(upd, exp, "2272060801 10"), "line 3 begins with an instant that is not the start of a day"},
		"negative":           {signed(upd, exp, "-2272060800 10"), "is not a whole number"},
		"fraction":           {signed(upd, exp, "2272060800 10.5"), "not a whole number of seconds"},
		"far future":         {signed(upd, exp, "9999936000 10"), "lies after 2199"},
		"three numbers":      {signed(upd, exp, "2272060800 10 11"), "not a row of two numbers"},
		"endless line":       {strings.Repeat("1", 100_000), "line 1: bufio.Scanner: token too long"},
		"stamp without date": {"#$\n", "line 1 does not give the date of update"},
	} {
		_, err := ReadList(strings.NewReader(c.text))
		if !errors.Is(err, ErrList) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want it to say %q", name, err, c.says)
		}
	}
}

// TestReadListAllows checks that a word of the hash may lack leading zeros and
// that lines may end as on Windows.
func TestReadListAllows(t *testing.T) {
	for i := range 2000 {
		text := signed("#$ "+strconv.Itoa(3992312697+i), "#@ 4023129600", "2272060800 10 # 1 Jan 1972")
		_, hash, _ := strings.Cut(text, "#h ")
		words := strings.Fields(hash)
		bare := false
		for k, w := range words {
			words[k] = strings.TrimLeft(w, "0")
			bare = bare || words[k] != w
		}
		if !bare {
			continue
		}
		text = strings.ReplaceAll(strings.Replace(text, hash, strings.Join(words, " "), 1), "\n", "\r\n")
		if _, err := ReadList(strings.NewReader(text)); err != nil {
			t.Errorf("%q: %v", text, err)
		}
		return
	}
	t.Fatal("no hash with a leading zero was made")
}

// longer is the list of 2026 with one more leap second, at the end of 2029.
func longer(t *testing.T) List {
	t.Helper()
	var lines []string
	for line := range strings.Lines(builtInText) {
		line = strings.TrimSuffix(line, "\n")
		switch {
		case strings.HasPrefix(line, "#$"):
			line = "#$ 4086000000"
		case strings.HasPrefix(line, "#@"):
			line = "#@ 4118000000"
		case strings.HasPrefix(line, "#h"):
			continue
		}
		lines = append(lines, line)
	}
	l, err := ReadList(strings.NewReader(signed(append(lines, "4102444800 38 # 1 Jan 2030")...)))
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func TestAdopt(t *testing.T) {
	t.Cleanup(func() { current.Store(builtIn) })
	old, err := ReadList(strings.NewReader(iersFile(t, "testdata/leap-seconds_2025-07.list")))
	if err != nil {
		t.Fatal(err)
	}
	for says, l := range map[string]List{
		"of 2025-07-07 and the one in use of 2026-07-06": old,
		"of no date":                  {},
		"lacks the row of 2017-01-01": {Updated: Expires, rows: builtIn.rows[:27]},
	} {
		if err := Adopt(l); !errors.Is(err, ErrList) || !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want it to say %q", err, says)
		}
	}
	from, to := time.Date(2029, 12, 31, 0, 0, 0, 0, time.UTC), time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)
	if n := LeapSeconds(from, to); n != 0 {
		t.Fatalf("%d leap seconds at the end of 2029 before the list was adopted", n)
	}
	// Others may compute while a list is adopted.
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 1000 {
				if n := LeapSeconds(from, to); n != 0 && n != 1 {
					t.Errorf("%d leap seconds", n)
				}
			}
		})
	}
	if err := Adopt(longer(t)); err != nil {
		t.Fatal(err)
	}
	wg.Wait()
	if n := LeapSeconds(from, to); n != 1 {
		t.Errorf("%d leap seconds at the end of 2029, want 1", n)
	}
	if d := Elapsed(from, to); d != 86401*time.Second {
		t.Errorf("the last day of 2029 has %v", d)
	}
	l := Current()
	if next, ok := l.Next(from); !ok || !next.Equal(to) {
		t.Errorf("next leap second before %v, %v; want %v", next, ok, to)
	}
	if next, ok := l.Next(to); ok {
		t.Errorf("a leap second before %v, and none is known", next)
	}
}

// TestElapsedAcrossLeapSeconds checks the cases of testdata/elapsed.csv, exact
// arithmetic with the IERS list: a leap second makes a dial one second faster
// against UTC without any change of going.
func TestElapsedAcrossLeapSeconds(t *testing.T) {
	r := csv.NewReader(strings.NewReader(iersFile(t, "testdata/elapsed.csv")))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 6 {
		t.Fatalf("%d rows", len(rows))
	}
	for _, row := range rows[1:] {
		number := func(i int) float64 {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		from, err := Parse(row[1])
		if err != nil {
			t.Fatal(err)
		}
		to, err := Parse(row[3])
		if err != nil {
			t.Fatal(err)
		}
		if got := to.Sub(from).Seconds(); got != number(5) {
			t.Errorf("%s: naive %v s, want %v", row[0], got, number(5))
		}
		leaps := LeapSeconds(from, to)
		if leaps != int(number(6)) || LeapSeconds(to, from) != -leaps {
			t.Errorf("%s: %d leap seconds, want %v", row[0], leaps, row[6])
		}
		if got := Elapsed(from, to).Seconds(); got != number(7) {
			t.Errorf("%s: %v SI seconds, want %v", row[0], got, number(7))
		}
		days := Days(from, to)
		if got := days * 86400; math.Abs(got-number(7)) > 1e-6 {
			t.Errorf("%s: %v SI seconds in days, want %v", row[0], got, number(7))
		}
		rate := (number(4) - number(2) - float64(leaps)) / days
		if math.Abs(rate-number(9)) > 0.6e-6 {
			t.Errorf("%s: rate %.6f s/d, want %v", row[0], rate, row[9])
		}
		if back := AddDays(from, days); math.Abs(back.Sub(to).Seconds()) > 1e-6 {
			t.Errorf("%s: %v and %v days is %v, want %v", row[0], from, days, back, to)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	from, to := time.Date(1980, 6, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	if n := testing.AllocsPerRun(100, func() {
		_ = AddDays(from, Days(from, to))
		_ = Elapsed(from, to)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func BenchmarkDays(b *testing.B) {
	from, to := time.Date(2026, 10, 25, 9, 0, 0, 0, time.UTC), time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	for b.Loop() {
		_ = Days(from, to)
	}
}

// FuzzReadList checks that a list is refused with ErrList or else is in order,
// also if it carries a hash that fits.
func FuzzReadList(f *testing.F) {
	f.Add(builtInText)
	f.Add(signed("#$ 3992312697", "#@ 4023129600", "2272060800 10", "2287785600 11"))
	f.Add("#h 1 2 3 4 5\n#$ 1\r\n#@ 2\n86400 0\n\n# x\n172800 1 # y")
	f.Fuzz(func(t *testing.T, text string) {
		unsigned := strings.Split(strings.ReplaceAll(text, "#h", "# "), "\n")
		for _, text := range []string{text, signed(unsigned...)} {
			l, err := ReadList(strings.NewReader(text))
			if err != nil {
				if !errors.Is(err, ErrList) || strings.Contains(err.Error(), "\n") {
					t.Fatalf("%q: %v", text, err)
				}
				continue
			}
			if len(l.rows) == 0 || l.Updated.IsZero() || l.Expires.Before(l.Updated) {
				t.Fatalf("%q: %+v", text, l)
			}
			for i, row := range l.rows {
				at := time.Unix(row.fromUnix, 0)
				if l.TAIMinusUTC(at) != row.taiLessS {
					t.Fatalf("%q: %d at %v, want %d", text, l.TAIMinusUTC(at), at, row.taiLessS)
				}
				if next, ok := l.Next(at.Add(-time.Second)); i > 0 && (!ok || !next.Equal(at)) {
					t.Fatalf("%q: next %v, %v, want %v", text, next, ok, at)
				}
			}
		}
	})
}
