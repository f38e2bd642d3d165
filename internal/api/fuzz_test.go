package api

import (
	"bytes"
	"encoding/json"
	"net/http"
	"slices"
	"testing"

	"timeball/internal/chronometer"
)

// FuzzEntryBody sends any body as an entry. What is refused leaves the logbook
// as it was and says why in one sentence; what is taken stands in it as sent.
func FuzzEntryBody(f *testing.F) {
	for _, seed := range []string{
		`{"at":"2027-03-04T08:00:00Z","by":"R. Halvane","kind":"compared","fact":{"dial":"7:41:03.5","sd_s":0.1,"method":"tap","temp_c":20}}`,
		`{"at":"2027-03-04T08:00:00+01:00","by":"T. Morrow","kind":"hands moved","fact":{"by_s":60}}`,
		`{"at":"2027-03-04T08:00:00Z","by":"T. Morrow","kind":"hands moved","fact":{"by_s":-60}}`,
		`{"at":"2027-03-04T08:00:00Z","by":"T. Morrow","kind":"note","fact":{"text":"\u0000\ud800"}}`,
		`{"at":"2027-03-04T08:00:00Z","by":"T. Morrow","kind":"temperature","fact":{"temp_c":1e309}}`,
		`{"at":"2027-03-04T08:00:00Z","by":"T. Morrow","kind":"struck out","fact":{"entry":"01ARZ3NDEKTSV4RRFFQ69G5FAV","why":"x"}}`,
		`{"AT":"2027-03-04T08:00:00Z","by":"T. Morrow","kind":"wound","fact":{"half_turns":7.5},"fact":{}}`,
		`[]`, `null`, `{"at":`, "",
	} {
		f.Add([]byte(seed))
	}
	w, _ := openQuay(f)
	d := newDesk(f, w)
	made := d.ask(f, post("/instruments", `{"by":"R. Halvane","instrument":{"number":"F","make":"deck watch","beat":"other","dial":"12 h","going_h":30}}`), 201)
	id := read[Instrument](f, made).ID
	f.Fuzz(func(t *testing.T, body []byte) {
		before, err := w.See(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		q := post("/instruments/"+id+"/entries", string(body))
		got := d.bare(q)
		after, err := w.See(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if got.status != http.StatusCreated {
			if !slices.Contains([]int{400, 409, 413, 422}, got.status) {
				t.Errorf("status %d: %s", got.status, got.body)
			}
			checkRefusal(t, q, got)
			if after.Logbook.Len() != before.Logbook.Len() {
				t.Errorf("refused with %s, and the logbook grew", got.body)
			}
			return
		}
		var sent newEntry
		if err := json.Unmarshal(body, &sent); err != nil {
			t.Fatal(err)
		}
		written := read[line](t, got)
		e, ok := after.Logbook.Entry(chronometer.ID(written.ID))
		if !ok || after.Logbook.Len() != before.Logbook.Len()+1 {
			t.Fatalf("%s is not in the logbook", written.ID)
		}
		fact, err := chronometer.DecodeFact(chronometer.Kind(sent.Kind), sent.Fact)
		if err != nil {
			t.Fatalf("taken, and it is no fact: %v", err)
		}
		want, _ := json.Marshal(fact)
		kept, _ := json.Marshal(e.Fact)
		if !bytes.Equal(kept, want) || !sameJSON(t, string(written.Fact), string(want)) || e.By != sent.By {
			t.Errorf("sent %s, kept %s, answered %s", want, kept, written.Fact)
		}
	})
}
