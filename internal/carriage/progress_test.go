package carriage

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func minute(n int) time.Time { return noon.Add(time.Duration(n) * time.Minute) }

func ticked(by string, from int, ids ...ID) []Tick {
	var all []Tick
	for i, id := range ids {
		all = append(all, Tick{Step: id, At: minute(from + i), By: by})
	}
	return all
}

func TestFollow(t *testing.T) {
	plan := whole(t, inside())
	p := Follow(plan, nil)
	if d := cmp.Diff(Progress{Done: []ID{}, Next: []ID{"P01"}}, p); d != "" {
		t.Errorf("nothing ticked (-want +got):\n%s", d)
	}
	p = Follow(plan, ticked("keeper", 0, "P01"))
	if d := cmp.Diff([]ID{"P02", "P05"}, p.Next); d != "" {
		t.Errorf("next (-want +got):\n%s", d)
	}
	var all []Tick
	for i, s := range plan {
		all = append(all, Tick{Step: s.ID, At: minute(i), By: "keeper"})
	}
	if p = Follow(plan, all); !p.Finished() || len(p.Done) != 38 || len(p.Refused)+len(p.Conflicts)+len(p.PutBack) != 0 {
		t.Errorf("all ticked: %+v", p)
	}
	for i := range all {
		all[i].At = noon // one moment, any order
	}
	slices.Reverse(all)
	if p = Follow(plan, all); len(p.Done) != 38 || len(p.Refused) != 0 {
		t.Errorf("all ticked at one moment: %d done, %d refused", len(p.Done), len(p.Refused))
	}
}

func TestFollowRefuses(t *testing.T) {
	plan := whole(t, inside())
	p := Follow(plan, ticked("owner", 0, "P01", "P02", "P06"))
	if len(p.Done) != 2 || len(p.Refused) != 1 {
		t.Fatalf("%+v", p)
	}
	r := p.Refused[0]
	if d := cmp.Diff([]ID{"P04", "P05"}, r.Missing); d != "" {
		t.Errorf("missing (-want +got):\n%s", d)
	}
	want := "P06 (Latch the gimbals) cannot be done yet; first: P04 (Bring it to a middle state of wind), P05 (Clear a table)"
	if r.Say != want {
		t.Errorf("says %q, want %q", r.Say, want)
	}
	// It does not count once the missing are done; it is ticked again.
	p = Follow(plan, ticked("owner", 0, "P01", "P02", "P06", "P03", "P04", "P05"))
	if slices.Contains(p.Done, "P06") || !slices.Contains(p.Next, "P06") {
		t.Errorf("%+v", p)
	}
	p = Follow(plan, ticked("owner", 0, "P13b"))
	if len(p.Refused) != 1 || !strings.Contains(p.Refused[0].Say, "no step P13b for this instrument") {
		t.Errorf("%+v", p)
	}
}

func TestFollowConflict(t *testing.T) {
	plan := whole(t, inside())
	ticks := append(ticked("owner", 0, "P01", "P02"), ticked("bench hand", 5, "P01")...)
	p := Follow(plan, ticks)
	if len(p.Conflicts) != 1 || p.Conflicts[0].Step != "P01" || len(p.Conflicts[0].Ticks) != 2 || len(p.Done) != 2 {
		t.Fatalf("%+v", p)
	}
	if say := p.Conflicts[0].Say; !strings.Contains(say, "owner") || !strings.Contains(say, "bench hand") || !strings.Contains(say, "both are kept") {
		t.Errorf("says %q", say)
	}
	// The same tick from two copies, or one person twice, is no conflict.
	if p = Follow(plan, append(ticked("owner", 0, "P01"), ticked("owner", 0, "P01")...)); len(p.Conflicts) != 0 {
		t.Errorf("%+v", p)
	}
}

func TestFollowStrike(t *testing.T) {
	plan := whole(t, inside())
	ticks := ticked("owner", 0, "P01", "P02", "P03", "P04", "P05", "P06")
	ticks[2].Struck = &Strike{At: minute(10), By: "owner", Why: "not compared at all"}
	p := Follow(plan, ticks)
	if d := cmp.Diff([]ID{"P01", "P02", "P05"}, p.Done); d != "" {
		t.Errorf("done (-want +got):\n%s", d)
	}
	if len(p.PutBack) != 1 || !slices.Equal(p.PutBack[0].Steps, []ID{"P03", "P04", "P06"}) || !strings.HasPrefix(p.PutBack[0].Say, "to be done again: P03 (Take a last comparison), P04") {
		t.Errorf("%+v", p.PutBack)
	}
	// Ticked again, the dependants still wait.
	p = Follow(plan, append(ticks, ticked("owner", 20, "P03")...))
	if slices.Contains(p.Done, "P04") || !slices.Contains(p.Done, "P03") {
		t.Errorf("%+v", p)
	}
	// Another person's later tick keeps the step, but not what came before it.
	ticks = append(ticks, ticked("bench hand", 7, "P03")...)
	p = Follow(plan, ticks)
	if d := cmp.Diff([]ID{"P01", "P02", "P03", "P05"}, p.Done); d != "" {
		t.Errorf("done (-want +got):\n%s", d)
	}
	if len(p.PutBack) != 1 || !slices.Equal(p.PutBack[0].Steps, []ID{"P04", "P06"}) || len(p.Conflicts) != 0 {
		t.Errorf("%+v", p)
	}
}

// TestFollowKeepsOrder throws ticks and strikes of two people at a plan: what is
// done always has all before it done, no tick is lost, the order in which the
// ticks are given does not matter, and the machine meets no harm.
func TestFollowKeepsOrder(t *testing.T) {
	all := combinations()
	rapid.Check(t, func(rt *rapid.T) {
		f := rapid.SampledFrom(all).Draw(rt, "fittings")
		plan := whole(t, f)
		n := rapid.IntRange(0, 45).Draw(rt, "ticks")
		var ticks []Tick
		when := 0
		for range n {
			when += rapid.IntRange(0, 2).Draw(rt, "minutes")
			i := when
			// Mostly near the front, so that much is allowed.
			from := Follow(plan, ticks).Next
			id := plan[rapid.IntRange(0, len(plan)-1).Draw(rt, "any")].ID
			if len(from) > 0 && rapid.IntRange(0, 3).Draw(rt, "allowed") > 0 {
				id = rapid.SampledFrom(from).Draw(rt, "next")
			}
			tick := Tick{Step: id, At: minute(i), By: rapid.SampledFrom([]string{"owner", "keeper"}).Draw(rt, "by")}
			if rapid.IntRange(0, 14).Draw(rt, "struck") == 0 {
				tick.Struck = &Strike{At: minute(i + rapid.IntRange(0, 20).Draw(rt, "later")), By: "keeper"}
			}
			ticks = append(ticks, tick)
		}
		p := Follow(plan, ticks)
		done := make(map[ID]bool)
		for _, id := range p.Done {
			done[id] = true
		}
		for _, s := range plan {
			first := missing(s, done)
			if done[s.ID] && len(first) > 0 {
				rt.Fatalf("%s is done, %v is not", s.ID, first)
			}
			if want := !done[s.ID] && len(first) == 0; want != slices.Contains(p.Next, s.ID) {
				rt.Fatalf("%s next: %v", s.ID, p.Next)
			}
		}
		back := slices.Clone(ticks)
		for _, tick := range ticks { // a second copy of the record, older
			tick.Struck = nil
			back = append(back, tick)
		}
		slices.Reverse(back)
		if d := cmp.Diff(p, Follow(plan, back)); d != "" {
			rt.Fatalf("order of ticks matters:\n%s", d)
		}
		m := newMachine(f, plan)
		at := start(f)
		for i, s := range plan {
			if done[s.ID] {
				var harm string
				if at, harm = m.do(i, at); harm != "" {
					rt.Fatal(harm)
				}
			}
		}
	})
}
