package ratebook

import (
	"strings"
	"testing"
)

// TestLimits reads files against limits that are small enough to reach: the
// rows before take 81 bytes and 4 lines, a comment 7 bytes.
func TestLimits(t *testing.T) {
	const text = "utc,error_s\n2027-03-04T09:00:00Z,1\n2027-03-05T09:00:00Z,2\n2027-03-06T09:00:00Z,3\n"
	if _, err := read(strings.NewReader(text), 3, int64(len(text))); err != nil {
		t.Error(err)
	}
	for _, c := range []struct {
		text  string
		rows  int
		bytes int64
		says  string
	}{
		{text, 2, 1 << 20, "line 4: the file has more than 2 rows; split it by year"},
		{text + strings.Repeat("# calm\n", 1<<18), 3, 1 << 20, "line 149790: the file is larger than 1 MB; split it by year"},
		{text + strings.Repeat("\n", 1<<21), 3, 1 << 20, "line 1048500: the file is larger than 1 MB; split it by year"},
	} {
		book, err := read(strings.NewReader(c.text), c.rows, c.bytes)
		if err == nil || err.Error() != c.says || book.Rows != nil {
			t.Errorf("%v, want %s", err, c.says)
		}
	}
}
