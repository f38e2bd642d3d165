package carriage

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
)

// TestTexts reads every text that any instrument can get: nothing forbidden is
// said, nothing is left out, every name is one of ours.
func TestTexts(t *testing.T) {
	read := make(map[string]bool)
	all := combinations()
	all = append(all, []Fittings{
		{Make: BoxChronometer, Box: true, Gimbals: true, OnDeparture: Going, GoingH: 192, WeightKG: 9.25},
		{Make: BoxChronometer, Box: true, OnDeparture: RunDown, GoingH: 192, WeightKG: 9.25},
		{Make: BoxChronometer, Box: true, Brake: true, OnDeparture: RunDown, GoingH: 192, WeightKG: 9.25},
		{Make: PocketChronometer, Box: true, OnDeparture: Going, GoingH: 30, ByHand: true, WeightKG: 9.25},
	}...)
	for _, f := range all {
		for _, s := range whole(t, f) {
			text := strings.Join(s.Texts(), ". ")
			key := string(s.ID) + text
			if read[key] {
				continue
			}
			read[key] = true
			for _, b := range Forbidden(text) {
				t.Errorf("%s: %s: %q", s.ID, b.Rule, b.Sentence)
			}
			if s.Title == "" || len(s.Do) == 0 || s.Harm == "" || s.Check == "" || s.Basis == "" || len(s.pre)+len(s.post) == 0 {
				t.Errorf("%s of %+v lacks a text", s.ID, f)
			}
			if strings.ContainsAny(text, "{}[]") || strings.Contains(text, "  ") {
				t.Errorf("%s of %+v: %s", s.ID, f, text)
			}
			for _, d := range s.Do {
				if !strings.HasSuffix(d, ".") && !strings.HasSuffix(d, "?") {
					t.Errorf("%s: %q is no sentence", s.ID, d)
				}
			}
			if s.Record != "" && !slices.Contains(kinds(), s.Record) || s.Record == "" && s.Write != "" || s.Record != "" && s.Write == "" {
				t.Errorf("%s: record %q, write %q", s.ID, s.Record, s.Write)
			}
			if s.Drawing != "" && !slices.Contains(Drawings(), s.Drawing) {
				t.Errorf("%s: no drawing %q", s.ID, s.Drawing)
			}
		}
	}
	t.Logf("%d different texts of steps read", len(read))
}

// TestWrittenNames finds slips of the pen in the files: a condition that no
// instrument can meet would leave a sentence unsaid.
func TestWrittenNames(t *testing.T) {
	from, err := read()
	if err != nil {
		t.Fatal(err)
	}
	conditions := func(id ID, c condition) {
		for name, values := range c {
			if facets[name] == nil {
				t.Errorf("%s: no facet %q", id, name)
			}
			for _, v := range values {
				if !slices.Contains(facets[name], v) {
					t.Errorf("%s: facet %s has no %q", id, name, v)
				}
			}
		}
	}
	states := func(id ID, s state) {
		for name, values := range s {
			i := slices.IndexFunc(aspects, func(a aspect) bool { return a.name == name })
			if i < 0 {
				t.Errorf("%s: no aspect %q", id, name)
				continue
			}
			for _, v := range values {
				if !slices.Contains(aspects[i].values, v) {
					t.Errorf("%s: %s is never %q", id, name, v)
				}
			}
		}
	}
	for _, w := range from {
		conditions(w.ID, w.When)
		states(w.ID, w.Pre)
		states(w.ID, w.Post)
		for _, v := range w.Post {
			if len(v) != 1 {
				t.Errorf("%s leaves %v", w.ID, v)
			}
		}
		for _, list := range [][]sentence{w.Do, w.Needs, w.Check, w.Write, w.Cautions} {
			for _, s := range list {
				conditions(w.ID, s.When)
				if s.Say == "" {
					t.Errorf("%s has an empty sentence", w.ID)
				}
			}
		}
		if w.Basis != NoSource && !strings.Contains(w.Basis, "Kenealy") && !strings.Contains(w.Basis, "Morris") && !strings.Contains(w.Basis, "derived") &&
			!strings.Contains(w.Basis, "CFR") && !strings.Contains(w.Basis, "CITES") && !strings.Contains(w.Basis, "Atwood") &&
			!strings.Contains(w.Basis, "authorities") && !strings.Contains(w.Basis, "standards") {
			t.Errorf("%s rests on %q", w.ID, w.Basis)
		}
	}
	for _, a := range aspects {
		if len(a.values) != len(a.words) {
			t.Errorf("%s: %d values, %d words", a.name, len(a.values), len(a.words))
		}
	}
	for _, f := range combinations() {
		for name, v := range f.facets() {
			if !slices.Contains(facets[name], v) {
				t.Fatalf("facet %s of %+v is %q", name, f, v)
			}
		}
	}
}

// TestForbiddenIsFound plants advice that must never be given.
func TestForbiddenIsFound(t *testing.T) {
	for _, text := range []string{
		"Turn the hands back to the hour.",
		"If it is fast, move the minute hand back a little.",
		"The hands may be turned backwards.",
		"Set back the hands by one minute.",
		"Touch the seconds hand with a brush.",
		"Move the seconds hand to the full minute.",
		"The seconds-hand is turned to XII.",
		"Wedge the balance tight with cork.",
		"Push a cork under the rim until it is firm.",
		"Use a tight wedge.",
		"Slide the strips in while it is going.",
		"Ship it in the gimbals.",
		"It can travel safely on its gimbals.",
		"Pack the bowl in its gimbals with foam.",
		"Open the barrel and look at the spring. Follow your local rules and a licensed person.",
		"Unscrew the fusee.",
		"Let it run down by lifting the detent.",
		"Scrape the luminous paint off. Follow your local rules and a licensed person.",
		"Brush the radium away. Follow your local rules and a licensed person.",
		"Open the luminous dial. Follow your local rules and a licensed person.",
		"Seal it airtight.",
		"Heat-seal the bag.",
		"Oil the pivots before it travels.",
		"Shake it to see whether it goes.",
		"Wind it on arrival.",
		"Start it as soon as it arrives.",
		"The balance came free, so start it again.",
		"Send it with the balance left free.",
		"Open the parcel at once.",
		"Radium is harmless behind glass.",
		"Take out insurance for the whole value.",
		"Declare it at the customs as a gift.",
		"Wipe it with benzene.",
		"You need no permit for ivory.",
		"Do what the sheet says, and turn the hands back.",
	} {
		if len(Forbidden(text)) == 0 {
			t.Errorf("not found: %q", text)
		}
	}
	for _, text := range []string{
		"Never turn the hands back.",
		"The hands are never turned back.",
		"The seconds hand is never touched.",
		"Never touch the seconds hand.",
		"Nothing pushed tight.",
		"No cork wedged tight.",
		"The movement never travels in its box on its gimbals.",
		"Turn the bezel backwards until the thread drops, hands clear.",
		"Do not open, scrape, brush, clean or renew luminous paint. Follow your local rules and a licensed person.",
		"Never airtight.",
		"Do not shake it, wind it or open it.",
		"balance came free; do not start; tell the keeper",
		"Hold the screw, and tighten the lock nut.",
	} {
		if got := Forbidden(text); len(got) > 0 {
			t.Errorf("found in %q: %v", text, got)
		}
	}
}

// TestPlantedStep plants advice in a step and in a hazard.
func TestPlantedStep(t *testing.T) {
	plan := whole(t, inside())
	for i := range plan {
		s := plan[i]
		s.Cautions = append(slices.Clone(s.Cautions), "If the minute is wrong, turn the hands back.")
		if len(Forbidden(strings.Join(s.Texts(), ". "))) == 0 {
			t.Errorf("planted in %s and not found", s.ID)
		}
	}
}

func TestHazards(t *testing.T) {
	f := inside()
	f.Luminous, f.IvoryPlate, f.DarkWood = true, true, true
	all, few := Hazards(f), Hazards(Fittings{Make: DeckWatch, OnDeparture: Going, GoingH: 30})
	if len(all) != len(hazards) || len(few) != len(hazards)-6 {
		t.Errorf("%d hazards of everything, %d of a bare watch, %d written", len(all), len(few), len(hazards))
	}
	for _, h := range all {
		if !strings.HasSuffix(h.Say, Closing) || h.Authority == "" {
			t.Errorf("%s: %q, %q", h.Matter, h.Say, h.Authority)
		}
		for _, b := range Forbidden(h.Matter + ". " + h.Say) {
			t.Errorf("%s: %s: %q", h.Matter, b.Rule, b.Sentence)
		}
	}
	for _, h := range few {
		if strings.Contains(h.Matter, "radium") || strings.Contains(h.Matter, "ivory") || strings.Contains(h.Matter, "rosewood") {
			t.Errorf("a bare watch gets %s", h.Matter)
		}
	}
}

func TestFittingsRefused(t *testing.T) {
	for name, change := range map[string]func(*Fittings){
		"make":         func(f *Fittings) { f.Make = "sundial" },
		"on_departure": func(f *Fittings) { f.OnDeparture = "" },
		"going_h":      func(f *Fittings) { f.GoingH = 0 },
		"going_h ":     func(f *Fittings) { f.GoingH = math.NaN() },
		"weight_kg":    func(f *Fittings) { f.WeightKG = math.Inf(1) },
		"weight_kg ":   func(f *Fittings) { f.WeightKG = -1 },
	} {
		f := inside()
		change(&f)
		if _, err := Plan(f, Prepare); !errors.Is(err, ErrFittings) || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Plan(inside(), "unpack"); err == nil {
		t.Error("phase unpack is planned")
	}
}

// TestWhatTheFittingsChange holds the plans against what each fitting means.
func TestWhatTheFittingsChange(t *testing.T) {
	with := func(change func(*Fittings)) Fittings { f := inside(); change(&f); return f }
	for name, c := range map[string]struct {
		f         Fittings
		has, lack []ID
	}{
		"luminous":        {with(func(f *Fittings) { f.Luminous = true }), []ID{"P01L", "PL1", "CL1"}, []ID{"P11", "P12", "P13", "C02", "C07"}},
		"luminous, brake": {with(func(f *Fittings) { f.Luminous, f.Brake = true, true }), []ID{"P13b", "C07c"}, []ID{"P11", "PL1", "C02", "C07"}},
		"ivory":           {with(func(f *Fittings) { f.IvoryPlate = true }), []ID{"P01V"}, []ID{"P01L", "P01W"}},
		"dark wood":       {with(func(f *Fittings) { f.DarkWood = true }), []ID{"P01W"}, []ID{"P01L", "P01V"}},
		"no gimbals":      {with(func(f *Fittings) { f.Gimbals = false }), []ID{"P09b", "C10b"}, []ID{"P06", "P07", "P10", "C10", "C11"}},
		"no box":          {with(func(f *Fittings) { f.Gimbals, f.Box = false, false }), []ID{"C10n"}, []ID{"P06", "P09", "P09b", "C10"}},
		"keyway unknown":  {with(func(f *Fittings) { f.KeywayKnown = false }), []ID{"P12k"}, nil},
		"stopped":         {with(func(f *Fittings) { f.OnDeparture = Stopped }), []ID{"P04s", "P14", "C00"}, []ID{"P03", "P04", "P13"}},
		"run down":        {with(func(f *Fittings) { f.OnDeparture = RunDown }), []ID{"P04r", "P05", "P14", "C00"}, []ID{"P03", "P04", "P13"}},
		"by hand":         {with(func(f *Fittings) { f.ByHand = true }), []ID{"P03", "P06", "H01", "H02", "R04h", "C11", "C12"}, []ID{"P07", "P13", "P19", "P21", "C09"}},
		"by hand stopped": {with(func(f *Fittings) { f.ByHand, f.OnDeparture = true, Stopped }), []ID{"P14", "P19"}, []ID{"H01", "H02"}},
		"deck watch":      {with(func(f *Fittings) { f.Make = DeckWatch }), []ID{"PL1", "CL1d", "CL2", "P09w"}, []ID{"P07", "P11", "P13", "C09"}},
	} {
		plan := whole(t, c.f)
		for _, id := range c.has {
			if find(plan, id) < 0 {
				t.Errorf("%s: no step %s", name, id)
			}
		}
		for _, id := range c.lack {
			if find(plan, id) >= 0 {
				t.Errorf("%s: step %s", name, id)
			}
		}
	}
	plan := whole(t, with(func(f *Fittings) { f.GoingH = 56 }))
	if do := strings.Join(plan[find(plan, "P04")].Do, " "); !strings.Contains(do, "between 24 and 48 hours of its 56") {
		t.Errorf("P04 of 56 h: %s", do) // the band of testdata/order.json's P04, 24 to 48 of 56 h
	}
}
