package timescale

import (
	"bufio"
	"crypto/sha1"
	_ "embed"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

// ErrList marks a list of leap seconds that must not be used.
var ErrList = errors.New("not a list of leap seconds")

// ntpEpoch is 1900-01-01 in Unix time: instants of the list are NTP seconds
// (RFC 5905, 6).
const ntpEpoch = -2208988800

// List is TAI minus UTC since 1972, as the IERS publishes it in
// leap-seconds.list. The zero List is empty and cannot be adopted.
type List struct {
	Updated time.Time // when it was last changed
	Expires time.Time // up to when it is known to be complete
	rows    []leap
}

// leap is one row of the list: TAI minus UTC from the instant on.
type leap struct {
	fromUnix int64
	taiLessS int
}

// builtInText is the IERS list of 6 July 2026 as carried in tzdata 2026f, its
// comments left out.
//
//go:embed leap-seconds.list
var builtInText string

var builtIn = func() *List {
	l, err := ReadList(strings.NewReader(builtInText))
	if err != nil {
		panic("timescale: the list in this program: " + err.Error())
	}
	return &l
}()

// current is the list in use, like the zone files of a system: it is changed
// by Adopt alone, at the start of the program.
var current = func() *atomic.Pointer[List] {
	var p atomic.Pointer[List]
	p.Store(builtIn)
	return &p
}()

// Expires is the instant up to which the list in this program is known to be
// complete; Current().Expires is that of the list in use.
var Expires = builtIn.Expires

// BuiltIn returns the list in this program.
func BuiltIn() List { return *builtIn }

// Current returns the list in use.
func Current() List { return *current.Load() }

// Adopt puts a newer list in use for all that is computed afterwards, and
// says why it does not: the list is no newer, or it contradicts the rows of
// the one in use. Call it before anything is computed.
func Adopt(l List) error {
	for {
		now := current.Load()
		if !l.Updated.After(now.Updated) {
			return fmt.Errorf("%w to adopt: it is of %s and the one in use of %s", ErrList, date(l.Updated), date(now.Updated))
		}
		for i, row := range now.rows {
			if i >= len(l.rows) || l.rows[i] != row {
				return fmt.Errorf("%w to adopt: it lacks the row of %s, and leap seconds are never taken back", ErrList, date(time.Unix(row.fromUnix, 0)))
			}
		}
		if current.CompareAndSwap(now, &l) {
			return nil
		}
	}
}

func date(t time.Time) string {
	if t.IsZero() {
		return "no date"
	}
	return t.UTC().Format(time.DateOnly)
}

// TAIMinusUTC returns TAI minus UTC in whole seconds at an instant; before
// 1972 it returns the 10 s of the first row, so that old records cross none.
func (l *List) TAIMinusUTC(at time.Time) int {
	unix := at.Unix()
	// From the end: most records are younger than the last leap second.
	for i := len(l.rows) - 1; i > 0; i-- {
		if unix >= l.rows[i].fromUnix {
			return l.rows[i].taiLessS
		}
	}
	if len(l.rows) == 0 {
		return 0
	}
	return l.rows[0].taiLessS
}

// Next returns the instant just before which the first leap second after at
// ends; false if the list knows of none.
func (l *List) Next(at time.Time) (time.Time, bool) {
	for i := 1; i < len(l.rows); i++ {
		if row := l.rows[i]; row.fromUnix > at.Unix() {
			return time.Unix(row.fromUnix, 0).UTC(), true
		}
	}
	return time.Time{}, false
}

// ReadList reads a leap-seconds.list of the IERS and checks it against its own
// hash: the SHA-1 of the digits of the dates of update and expiry and of the
// rows in order. It refuses a list that is damaged or does not say until when
// it is complete. The error wraps ErrList and names the line.
func ReadList(r io.Reader) (List, error) {
	var in listReader
	lines := bufio.NewScanner(io.LimitReader(r, 1<<20))
	for lines.Scan() {
		in.line++
		if err := in.read(lines.Text()); err != nil {
			return List{}, fmt.Errorf("%w: line %d %w", ErrList, in.line, err)
		}
	}
	if err := lines.Err(); err != nil {
		return List{}, fmt.Errorf("%w: line %d: %w", ErrList, in.line+1, err)
	}
	return in.finish()
}

type listReader struct {
	line             int
	updated, expires string
	digits           strings.Builder
	list             List
	hash             [5]uint32
	hashLine         int
}

// read takes one line; the error continues "line 7 …".
func (in *listReader) read(line string) error {
	line = strings.TrimSuffix(line, "\r")
	switch {
	case strings.HasPrefix(line, "#$"):
		return in.stamp(line, "date of update", &in.updated, &in.list.Updated)
	case strings.HasPrefix(line, "#@"):
		return in.stamp(line, "date of expiry", &in.expires, &in.list.Expires)
	case strings.HasPrefix(line, "#h"):
		return in.readHash(line)
	case strings.HasPrefix(line, "#"), strings.TrimSpace(line) == "":
		return nil
	}
	return in.row(line)
}

// stamp reads the one instant of a line such as "#$ 3992312697".
func (in *listReader) stamp(line, what string, text *string, at *time.Time) error {
	if *text != "" {
		return fmt.Errorf("gives the %s a second time", what)
	}
	words := strings.Fields(line[2:])
	if len(words) != 1 {
		return fmt.Errorf("does not give the %s as one number of NTP seconds", what)
	}
	unix, err := ntpSeconds(words[0])
	if err != nil {
		return fmt.Errorf("gives a %s that %w", what, err)
	}
	*text, *at = words[0], time.Unix(unix, 0).UTC()
	return nil
}

func (in *listReader) row(line string) error {
	cells, _, _ := strings.Cut(line, "#")
	words := strings.Fields(cells)
	if len(words) != 2 {
		return errors.New("is not a row of two numbers, NTP seconds and TAI minus UTC")
	}
	unix, err := ntpSeconds(words[0])
	if err != nil {
		return fmt.Errorf("begins with an instant that %w", err)
	}
	tai, err := strconv.ParseUint(words[1], 10, 16)
	if err != nil {
		return errors.New("has a TAI minus UTC that is not a whole number of seconds")
	}
	if unix%86400 != 0 {
		return errors.New("begins with an instant that is not the start of a day")
	}
	row := leap{unix, int(tai)}
	if n := len(in.list.rows); n > 0 {
		last := in.list.rows[n-1]
		if row.fromUnix <= last.fromUnix {
			return errors.New("is not later than the row before it")
		}
		if step := row.taiLessS - last.taiLessS; step != 1 && step != -1 {
			return fmt.Errorf("steps TAI minus UTC by %d s, and a leap second is one", step)
		}
	}
	in.list.rows = append(in.list.rows, row)
	in.digits.WriteString(words[0])
	in.digits.WriteString(words[1])
	return nil
}

func (in *listReader) readHash(line string) error {
	if in.hashLine != 0 {
		return errors.New("gives the hash a second time")
	}
	words := strings.Fields(line[2:])
	if len(words) != len(in.hash) {
		return fmt.Errorf("has a hash of %d words instead of five", len(words))
	}
	// As numbers, since leading zeros of a word may be left out.
	for i, w := range words {
		v, err := strconv.ParseUint(w, 16, 32)
		if err != nil {
			return fmt.Errorf("has a hash whose word %d is not a hexadecimal number of 32 bits", i+1)
		}
		in.hash[i] = uint32(v)
	}
	in.hashLine = in.line
	return nil
}

// hashed returns the text the hash is taken of.
func (in *listReader) hashed() string { return in.updated + in.expires + in.digits.String() }

func (in *listReader) finish() (List, error) {
	bad := func(format string, args ...any) (List, error) {
		return List{}, fmt.Errorf("%w: "+format, append([]any{ErrList}, args...)...)
	}
	switch {
	case len(in.list.rows) == 0:
		return bad("%d lines and no row of two numbers", in.line)
	case in.updated == "":
		return bad("no line among %d begins with #$ and gives the date of update", in.line)
	case in.expires == "":
		return bad("no line among %d begins with #@ and gives the date of expiry", in.line)
	case in.hashLine == 0:
		return bad("no line among %d begins with #h and gives the hash", in.line)
	case in.list.Expires.Before(in.list.Updated):
		return bad("it expires before its own date of update")
	}
	sum := sha1.Sum([]byte(in.hashed()))
	for i, want := range in.hash {
		if binary.BigEndian.Uint32(sum[4*i:]) != want {
			return bad("line %d gives a hash that does not fit the rows, so the list is damaged; fetch it again", in.hashLine)
		}
	}
	return in.list, nil
}

// ntpSeconds returns in Unix time what is written in seconds since 1900; the
// error continues "an instant that …".
func ntpSeconds(s string) (int64, error) {
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		return 0, errors.New("is not a whole number of seconds")
	}
	const latest = 9467107200 // the start of 2200
	if n > latest {
		return 0, fmt.Errorf("lies after %d", latestYear)
	}
	return int64(n) + ntpEpoch, nil
}
