package reference

import (
	"fmt"
	"os"
	"time"

	"timeball/internal/timescale"
)

// systemListPath is where Unix systems keep the list of the IERS.
const systemListPath = "/usr/share/zoneinfo/leap-seconds.list"

// The names of the tables of leap seconds.
const (
	ListOfSystem  = "the system’s list"
	ListOfProgram = "the list in this program"
)

// AdoptList puts the list of leap seconds of the system in use if it is whole
// and newer than the one in this program. It returns which list is in use and
// why, in words. Call it once, before anything is computed.
func AdoptList() (from, why string) { return adoptList(systemListPath) }

func adoptList(path string) (from, why string) {
	f, err := os.Open(path)
	if err != nil {
		if os.IsNotExist(err) {
			return ListOfProgram, "this system keeps no list of leap seconds"
		}
		return ListOfProgram, fmt.Sprintf("the system’s list cannot be read: %v", err)
	}
	defer f.Close()
	l, err := timescale.ReadList(f)
	if err != nil {
		return ListOfProgram, fmt.Sprintf("the system’s list %s is not used: %v", path, err)
	}
	own := timescale.BuiltIn()
	if !l.Updated.After(own.Updated) {
		return ListOfProgram, fmt.Sprintf("the system’s list of %s is no newer than that of %s in this program", day(l.Updated), day(own.Updated))
	}
	if l.Updated.Equal(timescale.Current().Updated) {
		return ListOfSystem, "the system’s list is in use already"
	}
	if err := timescale.Adopt(l); err != nil {
		return ListOfProgram, fmt.Sprintf("the system’s list %s is not used: %v", path, err)
	}
	return ListOfSystem, fmt.Sprintf("the system’s list of %s is newer than that of %s in this program", day(l.Updated), day(own.Updated))
}

func day(t time.Time) string { return t.UTC().Format("2 January 2006") }
