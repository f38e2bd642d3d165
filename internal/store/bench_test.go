package store_test

import (
	"testing"

	"timeball/internal/chronometer"
)

// BenchmarkAdd1 adds one entry at a time, each flushed to disk.
func BenchmarkAdd1(b *testing.B) {
	db := openNew(b)
	book := logbook(1, b.N+1)
	add(b, db, book[0])
	b.ResetTimer()
	for _, e := range book[1:] {
		add(b, db, e)
	}
}

// BenchmarkAdd100k adds 100,000 entries of 250 logbooks in one call.
func BenchmarkAdd100k(b *testing.B) {
	var entries []chronometer.Entry
	for n := range 250 {
		entries = append(entries, logbook(n, 400)...)
	}
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		db := openNew(b)
		b.StartTimer()
		add(b, db, entries...)
		b.StopTimer()
		db.Close()
		b.StartTimer()
	}
}

// BenchmarkLogbook400 reads a logbook of 400 entries among 40 such.
func BenchmarkLogbook400(b *testing.B) {
	db := openNew(b)
	for n := range 40 {
		add(b, db, logbook(n, 400)...)
	}
	b.ReportAllocs()
	for b.Loop() {
		book, err := db.Logbook(b.Context(), entryID(20, 0))
		if err != nil || book.Len() != 400 {
			b.Fatalf("%d entries, %v", book.Len(), err)
		}
	}
}
