package web_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/oklog/ulid/v2"

	"timeball/internal/chronometer"
	"timeball/internal/clock"
	"timeball/internal/ratebook"
	"timeball/internal/rating"
	"timeball/internal/workshop"
)

// quay is an invented workshop in memory whose instruments follow a straight
// line, so that the pages have something lifelike to show. It keeps the rules
// of the logbook but estimates nothing.
type quay struct {
	mu          sync.Mutex
	now         time.Time
	serial      uint64
	instruments []*kept
	owners      []*keptOwner
	files       map[string]stored
	broken      error // what every deed answers, if set
	pending     int
}

type kept struct {
	id      chronometer.ID
	entries []chronometer.Entry
	line    line
	rated   bool
	suspect string
}

type keptOwner struct {
	id    chronometer.ID
	owner chronometer.Owner
}

type stored struct {
	mediaType string
	bytes     []byte
}

// line is the true error of an instrument at the epoch and its rate.
type line struct {
	epoch     time.Time
	errorS    float64
	rate      float64
	temp      bool
	uncertain float64
}

var today = time.Date(2027, 3, 4, 9, 14, 32, 0, time.UTC)

func (q *quay) id(at time.Time) chronometer.ID {
	q.serial++
	var entropy [10]byte
	for n := range 8 {
		entropy[9-n] = byte(q.serial >> (8 * n))
	}
	return chronometer.ID(ulid.MustNew(ulid.Timestamp(at), bytes.NewReader(entropy[:])).String())
}

func (q *quay) enter(i chronometer.Instrument, from time.Time, l line) *kept {
	id := q.id(from)
	k := &kept{id: id, line: l, entries: []chronometer.Entry{{ID: id, Subject: id, At: from, Written: from, By: "Signe Vandrell", Fact: i}}}
	q.instruments = append(q.instruments, k)
	return k
}

func (q *quay) add(k *kept, at time.Time, by string, fact chronometer.Fact) chronometer.Entry {
	e := chronometer.Entry{ID: q.id(at), Subject: k.id, At: at, Written: at, By: by, Fact: fact}
	k.entries = append(k.entries, e)
	return e
}

// error returns the true error at an instant: the line with the hands moved.
func (k *kept) error(at time.Time) float64 {
	e := k.line.errorS + k.line.rate*at.Sub(k.line.epoch).Hours()/24
	for _, x := range chronometer.NewLogbook(k.entries).Standing() {
		if m, ok := x.Fact.(chronometer.Moved); ok && !x.At.After(at) {
			e += m.ByS
		}
	}
	return e
}

// compare adds a comparison that reads out seconds from the truth.
func (q *quay) compare(k *kept, at time.Time, out float64, tempC float64) chronometer.Entry {
	dial := clock.TwelveHour.Reading(at, clock.DialError(k.error(at)+out))
	c := chronometer.ReadDial(clock.DialReading(math.Round(float64(dial)*10) / 10))
	c.Method, c.TempC, c.Position, c.SDS = chronometer.ByTap, &tempC, chronometer.DialUp, 0.1
	return q.add(k, at, "Signe Vandrell", c)
}

// lanternQuay returns the invented workshop of the demonstration.
func lanternQuay() *quay {
	q := &quay{now: today, files: map[string]stored{}}
	r := rand.New(rand.NewPCG(417, 4))
	start := time.Date(2027, 1, 18, 8, 0, 0, 0, time.UTC)
	owner := func(o chronometer.Owner) chronometer.ID {
		id := q.id(start)
		q.owners = append(q.owners, &keptOwner{id, o})
		return id
	}
	lund := owner(chronometer.Owner{Name: "Signe Vandrell", Place: "Skerrow", Contact: "12 Ropewalk, Skerrow"})
	museum := owner(chronometer.Owner{Name: "Harbour Museum", Place: "Veyre"})
	okafor := owner(chronometer.Owner{Name: "J. Okafor"})

	box := func(number, maker string, owner chronometer.ID) chronometer.Instrument {
		return chronometer.Instrument{Number: number, Maker: maker, Make: chronometer.BoxChronometer, Beat: chronometer.HalfSecond, Dial: chronometer.Twelve,
			GoingH: 56, UpDown: true, Gimbals: true, Box: "three-tier mahogany", WeightKG: 6.4, Owner: owner}
	}
	a := q.enter(box("417", "Corvane & Dray, Skerrow", lund), start, line{start, -8, -0.83, true, 0.2})
	a.rated = true
	q.add(a, start.Add(5*time.Minute), "Signe Vandrell", chronometer.Received{Station: chronometer.Bench, Condition: "clean, oil dry"})
	q.add(a, start.Add(10*time.Minute), "Signe Vandrell", chronometer.Started{How: "one gentle turn"})
	for d := range 46 {
		at := start.AddDate(0, 0, d).Add(72 * time.Minute)
		out := 0.06 * r.NormFloat64()
		if d == 9 {
			out = 60
		}
		if d == 27 {
			q.add(a, at.Add(-70*time.Minute), "Signe Vandrell", chronometer.Moved{ByS: 60})
		}
		q.add(a, at.Add(-4*time.Minute), "Signe Vandrell", chronometer.Wound{HalfTurns: 7.5})
		e := q.compare(a, at, out, 18+float64(d%5))
		if d == 20 {
			q.add(a, at.Add(time.Hour), "Signe Vandrell", chronometer.StruckOut{Entry: e.ID, Why: "read against the wrong minute"})
		}
	}
	q.add(a, start.AddDate(0, 0, 30), "Mats Vinter", chronometer.Note{Text: "Glass has a hair crack at IIII.\nSeen under the lamp."})
	picture := []byte("\x89PNG\r\n\x1a\n" + strings.Repeat("\x00", 40))
	sum := q.keep("image/png", picture)
	q.add(a, start.AddDate(0, 0, 31), "Mats Vinter", chronometer.Photograph{SHA256: sum, Name: "glass.png", Type: "image/png", Caption: "the crack at IIII"})

	b := q.enter(box("1102", "A. Quillender, Veyre", museum), start, line{start, 36, -0.61, false, 0.2})
	b.rated = true
	for d := range 44 {
		q.compare(b, start.AddDate(0, 0, d).Add(90*time.Minute), 0.06*r.NormFloat64(), 19)
	}
	eight := box("88", "Bramwick Sons", okafor)
	eight.GoingH = 192
	c := q.enter(eight, start, line{start, -60, 1.92, false, 5.5})
	c.rated, c.suspect = true, "rate steps out of its record: check"
	for d := range 12 {
		q.compare(c, start.AddDate(0, 0, 4*d).Add(2*time.Hour), 0.2*r.NormFloat64(), 19)
	}
	watch := chronometer.Instrument{Number: "731", Maker: "M. Tavares", Make: chronometer.DeckWatch, Beat: chronometer.FifthSecond, Dial: chronometer.Twelve, GoingH: 36}
	d := q.enter(watch, today.AddDate(0, 0, -1), line{start, 3, -0.42, false, 0.4})
	q.compare(d, today.AddDate(0, 0, -1), 0, 19)
	e := q.enter(box("2260", "Ketch Osmerelle", ""), start, line{start, 0, 0, false, 1})
	q.add(e, start.AddDate(0, 0, 2), "Mats Vinter", chronometer.Held{With: chronometer.Brake})
	q.add(e, start.AddDate(0, 0, 3), "Mats Vinter", chronometer.Packed{How: "bowl alone, dial up"})
	q.add(e, start.AddDate(0, 0, 40), "Mats Vinter", chronometer.Sent{To: "Veyre"})
	f := q.enter(box("19", "", lund), start, line{start, 0, 0, false, 1})
	q.add(f, start.AddDate(0, 0, 1), "Mats Vinter", chronometer.Stopped{Why: "stopped for work"})
	return q
}

func (q *quay) keep(mediaType string, text []byte) string {
	sum := sha256.Sum256(text)
	name := hex.EncodeToString(sum[:])
	q.files[name] = stored{mediaType, text}
	return name
}

func interval(mean, half float64) rating.Interval {
	return rating.Interval{Mean: mean, SD: half / 1.96, Lo95: mean - half, Hi95: mean + half}
}

// known returns what the line says, in the form of a rating.
func (k *kept) known(book chronometer.Logbook, now time.Time) *rating.Rating {
	r := &rating.Rating{Steadiness: 0.11, Position: "dial up"}
	upheld := book.Upheld()
	var last time.Time
	for _, e := range book.Standing() {
		c, ok := e.Fact.(chronometer.Compared)
		if !ok {
			continue
		}
		r.Comparisons++
		truth := k.error(e.At)
		read := truth
		if dial, ok := c.Reading(); ok {
			read = float64(clock.TwelveHour.Error(dial, e.At, clock.DialError(truth)))
		} else if c.ErrorS != nil {
			read = *c.ErrorS
		}
		if math.Abs(read-truth) > 20 && !upheld[e.ID] {
			r.SetAside = append(r.SetAside, rating.SetAside{Ref: string(e.ID), At: e.At, ErrorS: read, ResidualS: read - truth, SDS: 0.1, SlipS: 60, Reason: "reads one minute out"})
			continue
		}
		r.Used++
		r.Residuals = append(r.Residuals, rating.Residual{Ref: string(e.ID), At: e.At, ErrorS: read, ResidualS: read - truth, SDS: c.SD()})
		half := k.line.uncertain
		r.Curve = append(r.Curve, rating.CurvePoint{At: e.At, Error: interval(truth, half), Rate: interval(k.line.rate+0.06*math.Sin(float64(r.Used)/4), 0.05)})
		last = e.At
	}
	if r.Used < 3 {
		return nil
	}
	r.Epoch = last
	r.Error, r.Rate, r.RateNow = interval(k.error(last), k.line.uncertain), interval(k.line.rate+0.02, 0.04), interval(k.line.rate, 0.03)
	r.Runs = []rating.RunRate{{From: r.Residuals[0].At, To: last, Comparisons: r.Used, Rate: interval(k.line.rate, 0.03), Known: true}, {From: last, To: last, Comparisons: 1}}
	r.Track.Epoch = last
	for d := range 181 {
		at := last.AddDate(0, 0, d)
		r.Track.Ahead = append(r.Track.Ahead, rating.TrackPoint{Days: float64(d), Error: interval(k.error(at), k.line.uncertain+0.003*float64(d*d))})
	}
	r.Noise = rating.Noise{SigmaW: 0.03, SigmaR: 0.005, Kappa: 1, SDS: 0.1}
	if k.line.temp {
		r.Temperature = &rating.TemperatureLaw{Linear: interval(0.05, 0.02), Quadratic: interval(-0.0021, 0.0004), LinearKnown: true, QuadraticKnown: true, ForecastC: 19.4}
		r.Changes = []rating.Change{{At: now.AddDate(0, 0, -20), Kind: rating.Carried, Rate: interval(0.12, 0.3), P: 0.43}, {At: now.AddDate(0, 0, -30), Kind: rating.Regulated, Rate: interval(1.2, 0.3), P: 0.00001}}
		r.Positions = []rating.PositionRate{{Position: "XII up", Rate: interval(1.2, 0.4)}}
		r.Warnings = []string{"the forecast takes the temperature of the last week"}
	}
	if k.suspect != "" {
		r.Unrecorded = []rating.UnrecordedMove{{After: now.AddDate(0, 0, -9), Before: now.AddDate(0, 0, -5), MovedS: 60}}
	}
	return r
}

func (q *quay) seen(k *kept) workshop.Seen {
	book := chronometer.NewLogbook(k.entries)
	i, _ := book.Instrument()
	s := workshop.Seen{ID: k.id, Instrument: i, Logbook: book, State: book.State(), Runs: book.Runs(), Now: q.now, Why: "too few comparisons for a rating: it takes three"}
	for _, o := range q.owners {
		if o.id == i.Owner {
			s.Owner = &workshop.Owner{ID: o.id, Owner: o.owner}
		}
	}
	var known *chronometer.Known
	if k.rated {
		if s.Rating = k.known(book, q.now); s.Rating != nil {
			s.Why = ""
			s.ErrorNow, s.Current = s.Rating.Track.At(q.now)
			s.In30Days, _ = s.Rating.Track.At(q.now.AddDate(0, 0, 30))
			known = &chronometer.Known{ErrorS: s.ErrorNow.Mean, ErrorHalfS: s.ErrorNow.Half(), RateSPerDay: s.Rating.RateNow.Mean, Suspect: k.suspect}
		}
	}
	s.Next = chronometer.Next(i, s.State, known, q.now)
	return s
}

func (q *quay) Room(context.Context) (workshop.Room, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	room := workshop.Room{Now: q.now, Pending: q.pending}
	for _, k := range q.instruments {
		room.Instruments = append(room.Instruments, q.seen(k))
	}
	return room, q.broken
}

func (q *quay) find(number string) (*kept, error) {
	for _, k := range q.instruments {
		i, _ := chronometer.NewLogbook(k.entries).Instrument()
		if string(k.id) == number || i.Number == number {
			return k, nil
		}
	}
	return nil, fmt.Errorf("%w: no instrument has the number %.40q", workshop.ErrUnknown, number)
}

func (q *quay) See(_ context.Context, number string) (workshop.Seen, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.broken != nil {
		return workshop.Seen{}, q.broken
	}
	k, err := q.find(number)
	if err != nil {
		return workshop.Seen{}, err
	}
	return q.seen(k), nil
}

func (q *quay) Owners(context.Context) ([]workshop.Owner, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	var all []workshop.Owner
	for _, o := range q.owners {
		owner := workshop.Owner{ID: o.id, Owner: o.owner}
		for _, k := range q.instruments {
			if i, _ := chronometer.NewLogbook(k.entries).Instrument(); i.Owner == o.id {
				owner.Instruments = append(owner.Instruments, workshop.Named{ID: k.id, Number: i.Number, Maker: i.Maker})
			}
		}
		all = append(all, owner)
	}
	return all, q.broken
}

func (q *quay) Write(_ context.Context, by string, subject chronometer.ID, at time.Time, fact chronometer.Fact) (chronometer.Entry, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	e := chronometer.Entry{ID: q.id(q.now), Subject: subject, At: at, Written: q.now, By: by, Fact: fact}
	for _, o := range q.owners {
		if o.id == subject {
			o.owner = fact.(chronometer.Owner)
			return e, e.Check()
		}
	}
	k, err := q.find(string(subject))
	if err != nil {
		return chronometer.Entry{}, err
	}
	if err := chronometer.NewLogbook(k.entries).Admits(e, q.now); err != nil {
		return chronometer.Entry{}, err
	}
	k.entries = append(k.entries, e)
	return e, nil
}

func (q *quay) Enter(_ context.Context, by string, i chronometer.Instrument) (chronometer.ID, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	k := q.enter(i, q.now, line{epoch: q.now})
	k.entries[0].By = by
	return k.id, k.entries[0].Check()
}

func (q *quay) EnterOwner(_ context.Context, _ string, o chronometer.Owner) (chronometer.ID, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	id := q.id(q.now)
	q.owners = append(q.owners, &keptOwner{id, o})
	return id, nil
}

// read reads one comparison a line: an instant and an error.
func (q *quay) read(subject chronometer.ID, by string, file io.Reader) ([]chronometer.Entry, error) {
	text, err := io.ReadAll(file)
	if err != nil {
		return nil, err
	}
	var all []chronometer.Entry
	for n, row := range strings.Split(strings.TrimSpace(string(text)), "\n")[1:] {
		at, rest, _ := strings.Cut(strings.TrimSpace(row), ",")
		t, err := time.Parse(time.RFC3339, at)
		var e float64
		if _, scan := fmt.Sscan(rest, &e); err != nil || scan != nil {
			return nil, &ratebook.Error{Line: n + 2, Column: "utc", Err: fmt.Errorf("%.40q cannot be read; write it in RFC 3339", row)}
		}
		all = append(all, chronometer.Entry{ID: q.id(t), Subject: subject, At: t, Written: q.now, By: by, Fact: chronometer.Compared{ErrorS: &e}})
	}
	return all, nil
}

func (q *quay) Preview(_ context.Context, subject chronometer.ID, by string, file io.Reader) (workshop.Preview, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	k, err := q.find(string(subject))
	if err != nil {
		return workshop.Preview{}, err
	}
	entries, err := q.read(subject, by, file)
	if err != nil {
		return workshop.Preview{}, err
	}
	p := workshop.Preview{Rows: len(entries), New: len(entries), Remarks: []string{"the columns are parted by commas"}, Entries: entries, Lines: map[chronometer.ID]int{}}
	for n, e := range entries {
		p.Lines[e.ID] = n + 2
	}
	if p.Rating = k.known(chronometer.NewLogbook(slices.Concat(k.entries, entries)), q.now); p.Rating == nil {
		p.Why = "too few comparisons for a rating"
	} else if len(p.Rating.SetAside) > 0 {
		p.SetAside = p.Rating.SetAside[:1]
		p.SetAside[0].Ref = "3"
	}
	return p, nil
}

func (q *quay) Import(_ context.Context, subject chronometer.ID, by string, file io.Reader) (int, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	k, err := q.find(string(subject))
	if err != nil {
		return 0, err
	}
	entries, err := q.read(subject, by, file)
	if err != nil {
		return 0, err
	}
	k.entries = append(k.entries, entries...)
	return len(entries), nil
}

func (q *quay) Attach(ctx context.Context, by string, subject chronometer.ID, at time.Time, name, mediaType, caption string, r io.Reader) (chronometer.Entry, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return chronometer.Entry{}, err
	}
	q.mu.Lock()
	sum := q.keep(mediaType, text)
	q.mu.Unlock()
	return q.Write(ctx, by, subject, at, chronometer.Photograph{SHA256: sum, Name: name, Type: mediaType, Caption: caption})
}

func (q *quay) Attachment(_ context.Context, sum string) (string, io.ReadCloser, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	file, ok := q.files[sum]
	if !ok {
		return "", nil, workshop.ErrUnknown
	}
	return file.mediaType, io.NopCloser(bytes.NewReader(file.bytes)), nil
}

var errDisk = errors.New("the disk is full")
