package store

import (
	"crypto/rand"
	"encoding/binary"
	"math"
	"math/bits"
	"time"

	"github.com/oklog/ulid/v2"

	"timeball/internal/chronometer"
)

// NewID returns the ID of an entry written at an instant. It is later than
// every ID returned before and than every one of after, whatever their clocks
// said, unless one of these is the last ULID there is. Text in after that is no
// ULID is passed over.
func (db *DB) NewID(at time.Time, after ...chronometer.ID) chronometer.ID {
	var id ulid.ULID
	_ = id.SetTime(uint64(max(at.UnixMilli(), 0))) // fails after the year 10889, and then leaves 1970
	_, _ = rand.Read(id[6:])                       // never fails (package crypto/rand)

	db.idMu.Lock()
	defer db.idMu.Unlock()
	floor := db.lastID
	for _, a := range after {
		if u, err := ulid.ParseStrict(string(a)); err == nil && u.Compare(floor) > 0 {
			floor = u
		}
	}
	if id.Compare(floor) <= 0 {
		id = beyond(floor)
	}
	db.lastID = id
	return chronometer.ID(id.String())
}

// beyond returns an ID later than floor by a random step of up to 64 bits, so
// that two copies of a folder do not take the same one. ULIDs of the same
// millisecond differ in 80 bits; a step past them goes into the next.
func beyond(floor ulid.ULID) ulid.ULID {
	var step [8]byte
	_, _ = rand.Read(step[:])
	low, carry := bits.Add64(binary.BigEndian.Uint64(floor[8:]), binary.BigEndian.Uint64(step[:])|1, 0)
	high, over := bits.Add64(binary.BigEndian.Uint64(floor[:8]), 0, carry)
	if over != 0 {
		high, low = math.MaxUint64, math.MaxUint64
	}
	var id ulid.ULID
	binary.BigEndian.PutUint64(id[:8], high)
	binary.BigEndian.PutUint64(id[8:], low)
	return id
}
