package ratebook_test

import (
	"errors"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/google/go-cmp/cmp"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/timescale"
)

// refusals are files that are no comparison file or hold a bad row, with the
// sentence that the keeper reads.
var refusals = []struct{ name, text, says string }{
	{"impossible day", head + "2027-02-30T09:12:00Z,9:12:04.5\n", `line 2, column utc: not an instant: "2027-02-30T09:12:00Z" names a day that does not exist; write it in RFC 3339, such as 2027-03-04T09:12:00Z`},
	{"13:61", head + "2027-03-04T09:12:00Z,13:61:00\n", `line 2, column dial: not a dial reading: "13:61:00" has minutes outside 00 to 59; write h:mm:ss or h:mm:ss.s, such as 7:41:03.5`},
	{"25 h", head + "2027-03-04T09:12:00Z,25:01:00\n", `line 2, column dial: not a dial reading: "25:01:00" has hours that no dial shows; write h:mm:ss or h:mm:ss.s, such as 7:41:03.5`},
	{"no zone", head + "2027-03-04T09:12:00,9:12:04.5\n", `line 2, column utc: not an instant: "2027-03-04T09:12:00" has no zone: end it with Z for UTC or with an offset such as +01:00; write it in RFC 3339, such as 2027-03-04T09:12:00Z`},
	{"no time", head + "2027-03-04,9:12:04.5\n", `line 2, column utc: not an instant: "2027-03-04" has no time of day and no zone; write it in RFC 3339, such as 2027-03-04T09:12:00Z`},
	{"no utc", head + ",9:12:04.5\n", `line 2, column utc: not an instant: "" is empty; write it in RFC 3339, such as 2027-03-04T09:12:00Z`},
	{"day first", head + "04.03.2027 09:12,9:12:04.5\n", `line 2, column utc: not an instant: "04.03.2027 09:12" does not begin with a date of the form 2027-03-04; write it in RFC 3339, such as 2027-03-04T09:12:00Z`},
	{"only a time", head + "2027-03-04T09:12:00Z,\n", `line 2: the row says nothing but its time; write a reading or an event, or take the row out`},
	{"year 20270", head + "20270-03-04T09:12:00Z,9:12:04.5\n", `line 2, column utc: not an instant: "20270-03-04T09:12:00Z" does not begin with a date of the form 2027-03-04; write it in RFC 3339, such as 2027-03-04T09:12:00Z`},
	{"two readings", head + "2027-03-04T09:12:00Z,9:12:04.5\n2027-03-05T09:12:00Z,9:12:05.0\n2027-03-04T09:12:00Z,9:12:08.5\n", `line 4: it and line 2 are two readings of one instant, 2027-03-04T09:12:00Z; take the wrong one out, or name the observer of each`},
	{"two readings, one observer named", "utc,dial,observer\n2027-03-04T09:12:00Z,9:12:04.5,Ida\n2027-03-04T09:12:00Z,9:12:08.5,\n", `line 3: it and line 2 are two readings of one instant, 2027-03-04T09:12:00Z; take the wrong one out, or name the observer of each`},
	{"both", "utc,dial,error_s\n2027-03-04T09:12:00Z,9:12:04.5,+4.5\n", `line 2, column error_s: the row has a dial reading too; write one of the two`},
	{"word for number", "utc,error_s\n2027-03-04T09:12:00Z,fast\n", `line 2, column error_s: "fast" is no number; write dial minus UTC in seconds, such as +12.9`},
	{"NaN", "utc,error_s\n2027-03-04T09:12:00Z,NaN\n", `line 2, column error_s: "NaN" is no number; write dial minus UTC in seconds, such as +12.9`},
	{"Inf", "utc,error_s\n2027-03-04T09:12:00Z,-Inf\n", `line 2, column error_s: "-Inf" is no number; write dial minus UTC in seconds, such as +12.9`},
	{"hexadecimal", "utc,error_s\n2027-03-04T09:12:00Z,0x1p4\n", `line 2, column error_s: "0x1p4" is no number; write dial minus UTC in seconds, such as +12.9`},
	{"absurd", "utc,error_s\n2027-03-04T09:12:00Z,1e300\n", `line 2, column error_s: "1e300" is outside -1000000 to 1000000 s; write dial minus UTC in seconds, such as +12.9`},
	{"too large to hold", "utc,error_s\n2027-03-04T09:12:00Z,1e999\n", `line 2, column error_s: "1e999" is outside -1000000 to 1000000 s; write dial minus UTC in seconds, such as +12.9`},
	{"hot", "utc,error_s,temp_c\n2027-03-04T09:12:00Z,4.5,451\n", `line 2, column temp_c: "451" is outside -60 to 80 °C; write degrees Celsius, such as 18.5`},
	{"negative sd", "utc,error_s,sd_s\n2027-03-04T09:12:00Z,4.5,-0.1\n", `line 2, column sd_s: "-0.1" is outside 0 to 600 s; write one standard deviation in seconds, such as 0.1`},
	{"no doubt", "utc,error_s,sd_s\n2027-03-04T09:12:00Z,4.5,0.0\n", `line 2, column sd_s: 0.0 is nought, and no reading is without doubt; write one standard deviation in seconds, or nothing for the usual one of the method`},
	{"method", "utc,error_s,method\n2027-03-04T09:12:00Z,4.5,guess\n", `line 2, column method: "guess" is not known; write one of: eye, eye and ear, tap, sound, telephone, radio, other`},
	{"position", "utc,error_s,position\n2027-03-04T09:12:00Z,4.5,sideways\n", `line 2, column position: position "sideways" is not known; write one of: dial up, dial down, XII up, III up, VI up, IX up, or a symbol of ISO 3158 (CH, FH, 12H, 3H, 6H, 9H)`},
	{"sd without reading", "utc,error_s,sd_s,event\n2027-03-04T09:12:00Z,,0.1,wound\n", `line 2, column sd_s: "0.1" belongs to a reading, and the row has none; write dial or error_s, or leave the cell empty`},
	{"decimal comma", "utc,error_s\n2027-03-04T09:12:00Z,\"4,5\"\n", `line 2, column error_s: "4,5" has a decimal comma in a file whose cells are parted by commas; write a point`},
	{"decimal comma, unquoted", "utc,error_s\n2027-03-04T09:12:00Z,4,5\n", `line 2: the row has 3 cells and the header 2; write decimals with a point, and put a text that holds the separator in quotation marks`},
	{"comma and point", "utc;error_s\n2027-03-04T09:12:00Z;1.004,5\n", `line 2, column error_s: "1.004,5": commas and points both stand in numbers (see line 2), so one of them may part the thousands; write points only`},
	{"comma, then point", "utc;error_s\n2027-03-04T09:12:00Z;4,5\n2027-03-05T09:12:00Z;4.812\n", `line 3, column error_s: "4.812": commas and points both stand in numbers (see line 2), so one of them may part the thousands; write points only`},
	{"hands back", "utc,error_s,event\n2027-03-04T09:12:00Z,,hands moved -60\n", `line 2, column event: event "hands moved -60" is backward, and the hands of a chronometer are never moved back; write the movement forward, such as hands moved +60, or hands set if it is not known`},
	{"hands by nothing", "utc,error_s,event\n2027-03-04T09:12:00Z,,hands moved\n", `line 2, column event: event "hands moved" needs the amount in seconds; write hands moved +60, or hands set if it is not known`},
	{"hands by a word", "utc,error_s,event\n2027-03-04T09:12:00Z,,hands moved a little\n", `line 2, column event: event "hands moved a little": the amount is no number; write seconds forward, such as hands moved +60`},
	{"hands by two days", "utc,error_s,event\n2027-03-04T09:12:00Z,,hands moved +172800\n", `line 2, column event: event "hands moved +172800" is not between 0 and 86400 s; write seconds forward, such as hands moved +60`},
	{"hands by nought", "utc,error_s,event\n2027-03-04T09:12:00Z,,hands moved 0\n", `line 2, column event: event "hands moved 0" is not between 0 and 86400 s; write seconds forward, such as hands moved +60`},
	{"no rate heard", "utc,error_s,event\n2027-03-04T09:12:00Z,,listened\n", `line 2, column event: event "listened" has no rate from -3600 to 3600 s/d; write seconds a day and one standard deviation, such as listened -0.84 sd 0.06`},
	{"a rate heard in words", "utc,error_s,event\n2027-03-04T09:12:00Z,,listened losing a little\n", `line 2, column event: event "listened losing a little" has no rate from -3600 to 3600 s/d; write seconds a day and one standard deviation, such as listened -0.84 sd 0.06`},
	{"a rate heard of days", "utc,error_s,event\n2027-03-04T09:12:00Z,,listened 1e400\n", `line 2, column event: event "listened 1e400" has no rate from -3600 to 3600 s/d; write seconds a day and one standard deviation, such as listened -0.84 sd 0.06`},
	{"a rate heard without doubt", "utc,error_s,event\n2027-03-04T09:12:00Z,,listened -0.84 sd 0\n", `line 2, column event: event "listened -0.84 sd 0" has no doubt above 0 and at most 600 s/d; write one standard deviation, such as listened -0.84 sd 0.06`},
	{"a rate heard with a word for doubt", "utc,error_s,event\n2027-03-04T09:12:00Z,,listened -0.84 sd small\n", `line 2, column event: event "listened -0.84 sd small" has no doubt above 0 and at most 600 s/d; write one standard deviation, such as listened -0.84 sd 0.06`},
	{"unknown event", "utc,error_s,event\n2027-03-04T09:12:00Z,,stoped\n", `line 2, column event: event "stoped" is not known; write one of: listened, wound, started, stopped, hands moved, hands set, regulated, placed, temperature, balance held, balance released, out of gimbals, into gimbals, found, work done, serviced, packed, sent, received, cased, carried, note`},
	{"photograph", "utc,error_s,event\n2027-03-04T09:12:00Z,,photograph\n", `line 2, column event: event "photograph" cannot stand here: a comparison file does not hold pictures; attach the picture to the logbook`},
	{"compared without reading", "utc,error_s,event\n2027-03-04T09:12:00Z,,compared\n", `line 2, column event: "compared" stands in a row without a reading; write dial or error_s`},
	{"held by what", "utc,error_s,event\n2027-03-04T09:12:00Z,,balance held\n", `line 2, column event: event "balance held" needs what holds it; write balance held brake or balance held wedge`},
	{"received where", "utc,error_s,event\n2027-03-04T09:12:00Z,,received\n", `line 2, column event: event "received" needs where it is now; write received and one of: on the bench, in a trial, with the owner`},
	{"temperature of what", "utc,error_s,event\n2027-03-04T09:12:00Z,,temperature\n", `line 2, column event: event "temperature" has no reading; write degrees Celsius in the column temp_c`},
	{"wound by a word", "utc,error_s,event\n2027-03-04T09:12:00Z,,wound fully\n", `line 2, column event: event "wound fully" is not read; write wound and the half-turns, such as wound 7.5, or wound 7.5 up-and-down 32`},
	{"bad object", "utc,error_s,event\n2027-03-04T09:12:00Z,,\"placed {\"\"shelf\"\":3}\"\n", `line 2, column event: not a logbook entry: placed: json: unknown field "shelf"; write the fields as a JSON object, or plain words`},
	{"hands back in an object", "utc,error_s,event\n2027-03-04T09:12:00Z,,\"hands moved {\"\"by_s\"\":-60}\"\n", `line 2, column event: not a logbook entry: hands moved: by_s -60 is not forward; the hands of a chronometer are only ever moved forward; write the fields as a JSON object, or plain words`},
	{"open quotation mark", "utc,error_s,note\n2027-03-04T09:12:00Z,4.5,\"after the round\n2027-03-05T09:12:00Z,4.9,\n", `line 2, column note: the cell begins with a quotation mark that is never closed; close it, or double it if it belongs to the text`},
	{"quotation mark within", "utc,error_s,note\n2027-03-04T09:12:00Z,4.5,the \"good\" lamp\n", `line 2, column note: the cell has a quotation mark within it; put the whole cell in quotation marks and double those within`},
	{"text after quotation", "utc,error_s,note\n2027-03-04T09:12:00Z,4.5,\"good\" lamp\n", `line 2, column note: the cell goes on after its closing quotation mark; double the quotation marks within the text`},
	{"NUL", head + "2027-03-04T09:12:00Z,9:12:0\x004.5\n" + strings.Repeat("#\n", 600), `line 2: the line holds a NUL byte, so the file is damaged or no text; write it again as CSV in UTF-8`},
	{"Latin-1", "utc,error_s,note\n2027-03-04T09:12:00Z,4.5,caf\xe9\n", `line 2: the line holds letters that are not UTF-8; write the file again as CSV in UTF-8`},
	{"too many cells", head + "2027-03-04T09:12:00Z,9:12:04.5,tap\n", `line 2: the row has 3 cells and the header 2; write decimals with a point, and put a text that holds the separator in quotation marks`},
	{"cell without a title", "utc,dial,\n2027-03-04T09:12:00Z,9:12:04.5,tap\n", `line 2: cell 3 holds "tap" under no column name; name the column in the header`},
	{"two more", head + "2027-03-04T09:12:00Z,9:12:60\n2027-03-05T09:12:00Z,9:12:04.5\n2027-03-06T09:12:00Z,x\nx,x\n", `line 2, column dial: not a dial reading: "9:12:60" has seconds outside 00 to 59; write h:mm:ss or h:mm:ss.s, such as 7:41:03.5 (and 2 more rows are bad)`},
	{"one more", head + "2027-03-04T09:12:00Z,9:12:60\n2027-03-06T09:12:00Z,x\n", `line 2, column dial: not a dial reading: "9:12:60" has seconds outside 00 to 59; write h:mm:ss or h:mm:ss.s, such as 7:41:03.5 (and 1 more row is bad)`},
	{"hundreds more", head + strings.Repeat("2027-03-04T09:12:00Z,9:12:60\n", 400), `line 2, column dial: not a dial reading: "9:12:60" has seconds outside 00 to 59; write h:mm:ss or h:mm:ss.s, such as 7:41:03.5 (and at least 100 more rows are bad)`},
	{"empty", "", `the file is empty; write CSV with a header that has utc and dial or error_s`},
	{"mark only", "\xef\xbb\xbf", `the file has no header and no rows; write CSV with a header that has utc and dial or error_s`},
	{"comments only", "# nothing\n\n", `the file has no header and no rows; write CSV with a header that has utc and dial or error_s`},
	{"header only", "utc,dial\n\n# none yet\n", `the file has a header and no rows; write one reading or event a line`},
	{"no utc column", "date,dial\n2027-03-04T09:12:00Z,9:12:04.5\n", `line 1: column "date" is not known; write one of: utc, dial, error_s, sd_s, method, observer, standard, standard_sd_s, temp_c, position, wound_h, event, note`},
	{"no utc column at all", "dial,note\n9:12:04.5,\n", `line 1: the header has no column utc; write utc and dial or error_s`},
	{"no reading column", "utc,note\n2027-03-04T09:12:00Z,\n", `line 1: the header has neither dial nor error_s; write the column that holds the readings`},
	{"unknown column", "utc,dial,mood\n2027-03-04T09:12:00Z,9:12:04.5,good\n", `line 1: column "mood" is not known; write one of: utc, dial, error_s, sd_s, method, observer, standard, standard_sd_s, temp_c, position, wound_h, event, note`},
	{"column twice", "utc,dial,Dial\n2027-03-04T09:12:00Z,9:12:04.5,\n", `line 1: column dial stands twice in the header; write it once`},
	{"no header", "2027-03-04T09:12:00Z,9:12:04.5\n", `line 1: the file begins with a reading and has no header; write utc,dial or utc,error_s in a line before it`},
	{"prose", "Dear Keeper, the chronometer has arrived.\n", `line 1: "Dear Keeper, the chronometer has arrived" is no header of a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"zip", "PK\x03\x04\x14\x00", `this looks like a zip file or a spreadsheet workbook, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"PDF", "%PDF-1.7\n", `this looks like a PDF document, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"PNG", "\x89PNG\r\n\x1a\n", `this looks like a PNG picture, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"JPEG", "\xff\xd8\xff\xe0", `this looks like a JPEG picture, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"WAV", "RIFF\x24\x00\x00\x00WAVE", `this looks like a sound recording (WAV), not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"SQLite", "SQLite format 3\x00", `this looks like a database (SQLite), not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"JSON", "\n{\"comparisons\": []}\n", `this looks like JSON, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"HTML", "<!DOCTYPE html>\n<html>", `this looks like an HTML page, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"XML", "<?xml version=\"1.0\"?>", `this looks like an XML or HTML file, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"binary", "\x00\x01\x02\x03utc,dial", `this looks like binary data, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"control letters", strings.Repeat("\x01\x1b[utc", 20), `this looks like binary data, not like a comparison file; write CSV with a header that has utc and dial or error_s`},
	{"UTF-16 with a mark", wide("\ufeff" + head), `the file is text in UTF-16; write it again as CSV in UTF-8`},
	{"UTF-16 without", wide(head), `the file is text in UTF-16; write it again as CSV in UTF-8`},
	{"noise on one line", strings.Repeat("noise ", 20000), `line 1: the line is longer than 64 kB, so this is no comparison file; write one reading a line`},
	{"noise after the header", head + strings.Repeat("noise ", 20000), `line 2: the line is longer than 64 kB, so this is no comparison file; write one reading a line`},
}

const head = "utc,dial\n"

func wide(text string) string {
	var b strings.Builder
	for _, u := range utf16.Encode([]rune(text)) {
		b.WriteByte(byte(u))
		b.WriteByte(byte(u >> 8))
	}
	return b.String()
}

// TestRefuses checks the whole sentence: what, where and what to do, and that
// nothing half-read comes with it.
func TestRefuses(t *testing.T) {
	for _, c := range refusals {
		t.Run(c.name, func(t *testing.T) {
			book, err := ratebook.Read(strings.NewReader(c.text))
			var e *ratebook.Error
			if !errors.As(err, &e) {
				t.Fatalf("%v is no *ratebook.Error", err)
			}
			if err.Error() != c.says {
				t.Errorf("says  %s\nwants %s", err, c.says)
			}
			if diff := cmp.Diff(ratebook.Book{}, book); diff != "" {
				t.Errorf("half-read:\n%s", diff)
			}
		})
	}
}

// TestRefusesWithItsCause checks that the sentinels of the domain can be found.
func TestRefusesWithItsCause(t *testing.T) {
	for text, cause := range map[string]error{
		head + "2027-02-30T09:12:00Z,9:12:04.5\n":              timescale.ErrInstant,
		head + "2027-03-04T09:12:00Z,13:61:00\n":               clock.ErrDialReading,
		"utc,dial,event\n2027-03-04T09:12:00Z,,\"found {}\"\n": chronometer.ErrEntry,
	} {
		if _, err := ratebook.Read(strings.NewReader(text)); !errors.Is(err, cause) {
			t.Errorf("%q: %v does not wrap %v", text, err, cause)
		}
	}
}

// broken is a file on a medium that fails half-way.
type broken struct{ r io.Reader }

var errMedium = errors.New("medium error")

func (b broken) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if err == io.EOF {
		err = errMedium
	}
	return n, err
}

func TestRefusesWhatCannotBeReadToTheEnd(t *testing.T) {
	for _, text := range []string{"", "utc,di", head, head + "2027-03-04T09:12:00Z,9:12:04.5\n", head + "2027-03-04T09:12:00Z,\"9:1"} {
		_, err := ratebook.Read(broken{strings.NewReader(text)})
		if e := (*ratebook.Error)(nil); !errors.As(err, &e) || !errors.Is(err, errMedium) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// endless yields noise for ever and counts what is taken.
type endless struct {
	rng   *rand.Rand
	from  string
	taken int
}

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = e.from[e.rng.IntN(len(e.from))]
	}
	e.taken += len(p)
	return len(p), nil
}

// TestRefusesNoiseEarly feeds noise without end: each kind must be refused
// after little of it.
func TestRefusesNoiseEarly(t *testing.T) {
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for name, c := range map[string]struct{ before, from string }{
		"bytes":                   {"", string(all)},
		"bytes under a header":    {head, string(all)},
		"letters":                 {"", "abcdefgh ,;"},
		"letters under a header":  {head, "abcdefgh ,;"},
		"lines under a header":    {head, "abcdefgh ,;\n"},
		"quotation marks":         {head, "\"\"\"\n"},
		"line ends in a cell":     {head + "2027-03-04T09:12:00Z,\"", "\n"},
		"bytes after good rows":   {head + "2027-03-04T09:12:00Z,9:12:04.5\n", string(all)},
		"digits under the header": {head, "0123456789:T-Z,\n"},
	} {
		noise := &endless{rng: rand.New(rand.NewPCG(1, 2)), from: c.from}
		_, err := ratebook.Read(io.MultiReader(strings.NewReader(c.before), noise))
		if e := (*ratebook.Error)(nil); !errors.As(err, &e) || noise.taken > 256<<10 {
			t.Errorf("%s: %v after %d bytes", name, err, noise.taken)
		}
		if err != nil && len(err.Error()) > 600 {
			t.Errorf("%s: the sentence has %d bytes", name, len(err.Error()))
		}
	}
}
