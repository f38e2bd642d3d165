package reference

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/timescale"
)

func TestParseServers(t *testing.T) {
	for text, want := range map[string][]string{
		"none":                                nil,
		" None\n":                             nil,
		"a.example, b.example:1123 c.example": {"a.example", "b.example:1123", "c.example"},
		"127.0.0.1:11123,192.0.2.7":           {"127.0.0.1:11123", "192.0.2.7"},
		"[2001:db8::1]:123 2001:db8::2 [::1]": {"[2001:db8::1]:123", "2001:db8::2", "[::1]"},
		"Time.Example,,":                      {"time.example"},
	} {
		got, err := ParseServers(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%q: %s", text, d)
		}
	}
	for text, says := range map[string]string{
		"":                                  "it is empty",
		" , ":                               "it is empty",
		"a.example none":                    "cannot stand among others",
		"a.example,A.example":               "stands there twice",
		"a.example:0":                       "port that is not a number from 1 to 65535",
		"a.example:ntp":                     "port that is not a number",
		"a.example:70000":                   "port that is not a number",
		"https://a.example":                 "port that is not a number",
		"a..example":                        "is not a host name",
		"-a.example":                        "is not a host name",
		"a_b.example":                       "is not a host name",
		"zeit.bei.üns":                      "is not a host name",
		"300.1.1.1":                         "looks like an address and is not one",
		"1.2.3":                             "looks like an address and is not one",
		"[2001:db8::g]":                     "no IPv6 address in its brackets",
		"[::1]x":                            "something other than a port",
		"[192.0.2.7]:123":                   "no IPv6 address in its brackets",
		strings.Repeat("a", 64):             "is not a host name",
		"a b c d e f g h i j k l m n o p q": "names 17 servers",
	} {
		_, err := ParseServers(text)
		if !errors.Is(err, ErrServers) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v, want it to say %q", text, err, says)
		}
	}
}

func TestDefaultServers(t *testing.T) {
	want := DefaultServers()
	got, err := ParseServers(strings.Join(want, ", "))
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%v, %v", got, err)
	}
	if len(want) < 3 {
		t.Errorf("%d servers cannot outvote a liar", len(want))
	}
}

func FuzzParseServers(f *testing.F) {
	f.Add("a.example, b.example:1123")
	f.Add("[2001:db8::1]:123 ::1%eth0")
	f.Add("none")
	f.Fuzz(func(t *testing.T, text string) {
		got, err := ParseServers(text)
		if err != nil {
			if !errors.Is(err, ErrServers) || strings.Contains(err.Error(), "\n") {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if len(got) == 0 {
			return
		}
		again, err := ParseServers(strings.Join(got, ","))
		if err != nil || !slices.Equal(got, again) {
			t.Fatalf("%q: %v, again %v, %v", text, got, again, err)
		}
	})
}

// TestAdoptList: the list of the system is used if it is whole and newer.
func TestAdoptList(t *testing.T) {
	write := func(text string) string {
		path := filepath.Join(t.TempDir(), "leap-seconds.list")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	older, err := os.ReadFile("../timescale/testdata/leap-seconds_2025-07.list")
	if err != nil {
		t.Fatal(err)
	}
	before := timescale.Current()
	for _, c := range []struct{ name, path, says string }{
		{"missing", filepath.Join(t.TempDir(), "none"), "keeps no list"},
		{"damaged", write(strings.Replace(string(older), "2272060800", "2272147200", 1)), "damaged"},
		{"older", write(string(older)), "list of 7 July 2025 is no newer than that of 6 July 2026"},
	} {
		from, why := adoptList(c.path)
		if from != ListOfProgram || !strings.Contains(why, c.says) {
			t.Errorf("%s: %s, %s; want it to say %q", c.name, from, why, c.says)
		}
	}
	if after := timescale.Current(); !after.Updated.Equal(before.Updated) {
		t.Errorf("a list of %v was adopted", after.Updated)
	}
	// The rows of 2025 under the dates of 1 January 2027 and 1 January 2028, and
	// the hash that belongs to them, made with sha1sum.
	newer := strings.NewReplacer("3960835200", "4007750400", "3991593600", "4039286400",
		"49db2447 571e5e1b 2f002a53 9c8da8e4 39b8e49e", "24f534fb df4b8c3e f5042d8c e736a4bb 7b80c0c4").Replace(string(older))
	path := write(newer)
	from, why := adoptList(path)
	if from != ListOfSystem || !(strings.Contains(why, "list of 1 January 2027 is newer") || strings.Contains(why, "already")) {
		t.Errorf("newer: %s, %s", from, why)
	}
	if from, why := adoptList(path); from != ListOfSystem || why != "the system’s list is in use already" {
		t.Errorf("again: %s, %s", from, why)
	}
	if after := timescale.Current(); day(after.Expires) != "1 January 2028" {
		t.Errorf("the list in use expires on %v", after.Expires)
	}
}
