package reference

import "testing"

func TestWordsOfBounds(t *testing.T) {
	for s, want := range map[float64]string{0: "±0.1 ms", 0.0004: "±0.4 ms", 0.0042: "±4 ms", 0.099: "±99 ms", 0.1: "±0.10 s", 1.296: "±1.30 s", 16: "±16 s"} {
		if got := BoundWords(s); got != want {
			t.Errorf("%g s: %q, want %q", s, got, want)
		}
	}
	for _, c := range []struct {
		offset, bound float64
		want          string
	}{{0.003, 0.004, "right within the bound"}, {2.5, 0.004, "2.50 s behind UTC"}, {-0.012, 0.004, "12 ms ahead of UTC"}} {
		if got := ClockWords(c.offset, c.bound); got != c.want {
			t.Errorf("%g s: %q, want %q", c.offset, got, c.want)
		}
	}
}

func TestSameSource(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"three servers agree", "three servers agree", true}, {"three servers agreed 2 min ago", "three servers agreed 3 h ago", true},
		{"one server, heard 2 min ago", "one server, heard 3 h ago", true}, {"one server", "one server, heard 3 h ago", false},
		{"three servers agree", "three servers agreed 2 min ago", false}, {"three servers agreed 2 min ago", "two of three servers agreed 2 min ago", false},
	} {
		if got := SameSource(c.a, c.b); got != c.want {
			t.Errorf("%q and %q: %t", c.a, c.b, got)
		}
	}
}
