// Package chronometer is the trade: instruments, owners, the logbook of each
// and the rules that read a logbook.
//
// An instrument is its logbook: a dated, append-only set of entries. Nothing
// is edited; a wrong entry is struck out by another entry and stays legible.
// State, runs and next action are pure functions of the entries that stand, so
// two copies of a logbook merge as a set union.
package chronometer
