package store_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"timeball/internal/chronometer"
	"timeball/internal/store"
)

// TestMain lets the test binary be the process that is killed.
func TestMain(m *testing.M) {
	if len(os.Args) == 4 && os.Args[1] == "write-until-killed" {
		book, err := strconv.Atoi(os.Args[3])
		if err == nil {
			err = writeUntilKilled(os.Args[2], book)
		}
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// call returns the entries of the n-th call of Add in a logbook: a batch of up
// to 30 every third time, otherwise one.
func call(book, n int) []chronometer.Entry {
	rng := rand.New(rand.NewPCG(uint64(book), uint64(n)))
	size := 1
	if n%3 == 2 {
		size = 2 + rng.IntN(29)
	}
	entries := make([]chronometer.Entry, size)
	for i := range entries {
		at := start.Add(time.Duration(rng.Int64N(1e15)) * time.Microsecond / 1000 * 1000).Truncate(time.Microsecond)
		e := rng.NormFloat64()
		entries[i] = chronometer.Entry{
			ID: entryID(book, 100*n+i), Subject: entryID(book, 0), At: at, Written: at, By: "keeper",
			Fact: chronometer.Compared{ErrorS: &e, Note: strings.Repeat("½", rng.IntN(400))},
		}
	}
	if n == 0 {
		entries[0].Fact = instrument()
	}
	return entries
}

// writeUntilKilled adds the calls of a logbook and prints the number of each
// that was acknowledged.
func writeUntilKilled(dir string, book int) error {
	ctx := context.Background()
	db, err := store.Open(ctx, dir, now)
	if err != nil {
		return err
	}
	for n := 0; ; n++ {
		if err := db.Add(ctx, call(book, n)); err != nil {
			return err
		}
		if _, err := fmt.Println(n); err != nil {
			return err
		}
	}
}

// writer starts a process that writes a logbook until it is killed.
func writer(t *testing.T, dir string, book int) (*exec.Cmd, *bufio.Reader) {
	t.Helper()
	cmd := exec.Command(os.Args[0], "write-until-killed", dir, strconv.Itoa(book))
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return cmd, bufio.NewReader(out)
}

// TestKilled kills a writing process again and again, also while it opens the
// folder, and looks for every entry that it had acknowledged.
func TestKilled(t *testing.T) {
	const folders, killsEach = 7, 8
	rng := rand.New(rand.NewPCG(1714, 7))
	var kills, before, calls, acknowledged, beyond int
	for range folders {
		dir := filepath.Join(t.TempDir(), "folder")
		promised := map[int]int{} // calls acknowledged, by logbook
		for range killsEach {
			book := kills
			kills++
			cmd, out := writer(t, dir, book)
			wait := time.Duration(1000+rng.IntN(59_000)) * time.Microsecond
			last, text := -1, []byte(nil)
			if kills%8 < 2 { // the wait runs from the start of the process
				wait = time.Duration(rng.IntN(20_000)) * time.Microsecond
			} else {
				line, err := out.ReadString('\n')
				if err != nil {
					t.Fatalf("kill %d: the writer ended by itself: %v", kills, err)
				}
				text = []byte(line)
			}
			time.Sleep(wait)
			if err := cmd.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			rest, err := io.ReadAll(out)
			if err != nil {
				t.Fatal(err)
			}
			_ = cmd.Wait()
			text = append(text, rest...)
			// A line without its end was not acknowledged in full.
			for line := range bytes.Lines(text) {
				if n, ok := bytes.CutSuffix(line, []byte("\n")); ok {
					if last, err = strconv.Atoi(string(n)); err != nil {
						t.Fatal(err)
					}
				}
			}
			promised[book] = last + 1
			calls += last + 1
			if last < 0 {
				before++
			}
			beyond += checkKept(t, dir, promised)
		}
		for book, n := range promised {
			for i := range n {
				acknowledged += len(call(book, i))
			}
		}
	}
	t.Logf("%d kills, %d of them before the first acknowledgement; %d entries in %d calls acknowledged, none lost; %d times the call in hand was found whole",
		kills, before, acknowledged, calls, beyond)
	if kills < 50 || acknowledged < 1000 {
		t.Errorf("%d kills and %d entries are too few to show anything", kills, acknowledged)
	}
}

// checkKept opens a folder and checks that it holds, of each logbook, the
// entries of the promised calls, those of the call in hand all or not at all,
// and no others. It returns 1 for a logbook with its call in hand, the latest
// of the logbooks only.
func checkKept(t *testing.T, dir string, promised map[int]int) int {
	t.Helper()
	db, err := store.Open(t.Context(), dir, now)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	wantWhole(t, db)
	kept := map[chronometer.ID]chronometer.Entry{}
	for _, e := range all(t, db) {
		kept[e.ID] = e
	}
	inHand, latest := 0, -1
	for book, n := range promised {
		for i := range n + 1 {
			want := call(book, i)
			found := 0
			for _, e := range want {
				got, ok := kept[e.ID]
				if !ok {
					continue
				}
				found++
				delete(kept, e.ID)
				w, errW := e.MarshalJSON()
				g, errG := got.MarshalJSON()
				if errW != nil || errG != nil || !bytes.Equal(w, g) {
					t.Fatalf("entry %s changed: want %s, got %s", e.ID, w, g)
				}
			}
			switch {
			case i < n && found != len(want):
				t.Fatalf("logbook %d: %d of %d entries of the acknowledged call %d are lost", book, len(want)-found, len(want), i)
			case i == n && found != 0 && found != len(want):
				t.Fatalf("logbook %d: %d of %d entries of the call in hand are there, want all or none", book, found, len(want))
			case i == n && book > latest:
				latest = book
				inHand = 0
				if found > 0 {
					inHand = 1
				}
			}
		}
	}
	if len(kept) != 0 {
		t.Fatalf("%d entries that nobody wrote", len(kept))
	}
	return inHand
}

func TestFolderInUse(t *testing.T) {
	dir := t.TempDir()
	cmd, out := writer(t, dir, 1)
	if _, err := out.ReadString('\n'); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		_, err := store.Open(t.Context(), dir, now)
		wantError(t, err, store.ErrInUse, dir, "process "+strconv.Itoa(cmd.Process.Pid), "stop that program")
	}
	for range 20 { // the first goes on writing
		if _, err := out.ReadString('\n'); err != nil {
			t.Fatal(err)
		}
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	db := openIn(t, dir)
	wantWhole(t, db)

	// This process holds it now, for a second opening and for a child.
	_, err := store.Open(t.Context(), dir, now)
	wantError(t, err, store.ErrInUse, "process "+strconv.Itoa(os.Getpid()))
	said, err := exec.Command(os.Args[0], "write-until-killed", dir, "2").CombinedOutput()
	if err == nil || !bytes.Contains(said, []byte("process "+strconv.Itoa(os.Getpid()))) {
		t.Errorf("a second process: %v, %s", err, said)
	}
	add(t, db, logbook(3, 2)...)
	db.Close()
	add(t, openIn(t, dir), logbook(4, 2)...)
}
