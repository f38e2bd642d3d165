package reference

import (
	"context"
	"time"
)

// Standard is where UTC comes from. It is safe for use by several goroutines.
type Standard struct {
	now func() time.Time
}

// Plain returns a standard that is a clock as it stands, of no known bound and
// without servers.
func Plain(now func() time.Time) *Standard { return &Standard{now: now} }

// Now returns UTC as well as it is known.
func (s *Standard) Now() time.Time { return s.Read().UTC }

// Read returns UTC with its bound.
func (s *Standard) Read() Reading {
	return Reading{UTC: s.now().UTC().Round(0), Source: "this computer’s clock"}
}

// State returns the standard with each of its sources.
func (s *Standard) State() State { return State{Reading: s.Read()} }

// Run asks the servers until ctx ends; it returns at once if there are none.
func (s *Standard) Run(ctx context.Context) {}
