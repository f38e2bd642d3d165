package api

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"timeball/internal/chronometer"
)

func newRecorder(h http.Handler, r *http.Request) *httptest.ResponseRecorder {
	rec := httptest.NewRecorder()
	h.ServeHTTP(rec, r)
	return rec
}

// TestRoutes holds the registered patterns against the document, both ways.
func TestRoutes(t *testing.T) {
	listed := map[string]bool{}
	names := map[string]bool{}
	doc := readDocument(t, document)
	if doc.Servers[0].URL != Root {
		t.Errorf("server %s, want %s", doc.Servers[0].URL, Root)
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			listed[method+" "+Root+path] = true
			if op.OperationID == "" || names[op.OperationID] || op.Summary == "" {
				t.Errorf("%s %s: operation %q has no name of its own or no summary", method, path, op.OperationID)
			}
			names[op.OperationID] = true
		}
	}
	registered := (&surface{}).routes()
	for pattern := range registered {
		if !listed[pattern] {
			t.Errorf("%s is not in the document", pattern)
		}
	}
	for pattern := range listed {
		if registered[pattern] == nil {
			t.Errorf("%s is in the document and nowhere else", pattern)
		}
	}
}

// component returns the name of the schema of the facts of a kind.
func component(k chronometer.Kind) string {
	name := "Fact"
	for _, word := range strings.Fields(string(k)) {
		name += strings.ToUpper(word[:1]) + word[1:]
	}
	return name
}

// TestFacts holds the schema of every kind of fact against the fields that the
// logbook itself asks for.
func TestFacts(t *testing.T) {
	schemas := readDocument(t, document).Components.Schemas
	jsonTypes := map[chronometer.FieldType]string{
		chronometer.Text: "string", chronometer.Number: "number", chronometer.Whole: "integer", chronometer.YesNo: "boolean",
		chronometer.Choice: "string", chronometer.Reading: "string",
	}
	for _, k := range chronometer.Kinds() {
		ref, ok := schemas[component(k)]
		if !ok {
			t.Errorf("no schema %s", component(k))
			continue
		}
		s := ref.Value
		if s.AdditionalProperties.Has == nil || *s.AdditionalProperties.Has {
			t.Errorf("%s takes fields that the logbook refuses", component(k))
		}
		var needed []string
		for _, f := range k.Fields() {
			if f.Needed {
				needed = append(needed, f.Name)
			}
			p, ok := s.Properties[f.Name]
			if !ok {
				t.Errorf("%s has no %s", component(k), f.Name)
				continue
			}
			if !p.Value.Type.Is(jsonTypes[f.Type]) {
				t.Errorf("%s.%s is a %v, want %s", component(k), f.Name, p.Value.Type, jsonTypes[f.Type])
			}
			if choices := texts(p.Value.Enum); !slices.Equal(choices, f.Choices) {
				t.Errorf("%s.%s has choices %q, want %q", component(k), f.Name, choices, f.Choices)
			}
			unit, _ := p.Value.Extensions["x-unit"].(string)
			if unit != f.Unit {
				t.Errorf("%s.%s is in %q, want %q", component(k), f.Name, unit, f.Unit)
			}
			if !strings.HasPrefix(p.Value.Description, f.Label) || !strings.HasSuffix(p.Value.Description, f.Hint) {
				t.Errorf("%s.%s is described as %q, want %q and %q", component(k), f.Name, p.Value.Description, f.Label, f.Hint)
			}
		}
		if n := len(k.Fields()) + unasked[k]; len(s.Properties) != n {
			t.Errorf("%s has %d fields, want %d", component(k), len(s.Properties), n)
		}
		if !slices.Equal(s.Required, needed) {
			t.Errorf("%s needs %q, want %q", component(k), s.Required, needed)
		}
	}
}

// unasked counts the fields that a program writes and no form asks for.
var unasked = map[chronometer.Kind]int{chronometer.KindCompared: 3, chronometer.KindEquation: 1, chronometer.KindListened: 15, chronometer.KindCertified: 1}

func texts(values []any) []string {
	var out []string
	for _, v := range values {
		out = append(out, v.(string))
	}
	return out
}

// TestChoices holds the enumerations of the document against those of the
// logbook.
func TestChoices(t *testing.T) {
	schemas := readDocument(t, document).Components.Schemas
	var kinds, writable []string
	for _, k := range chronometer.Kinds() {
		kinds = append(kinds, string(k))
		if k.OfInstrument() {
			writable = append(writable, string(k))
		}
	}
	paired := map[string]string{}
	for _, alternative := range schemas["KindWithFact"].Value.OneOf {
		p := alternative.Value.Properties
		kind, _ := p["kind"].Value.Const.(string)
		paired[kind] = strings.TrimPrefix(p["fact"].Ref, "#/components/schemas/")
	}
	for _, k := range chronometer.Kinds() {
		if paired[string(k)] != component(k) {
			t.Errorf("kind %q goes with %q", k, paired[string(k)])
		}
	}
	if len(paired) != len(kinds) {
		t.Errorf("%d kinds with facts, want %d", len(paired), len(kinds))
	}
	or := func(first string, rest []string) []string { return append([]string{first}, rest...) }
	property := func(schema, name string) *openapi3.Schema { return schemas[schema].Value.Properties[name].Value }
	heard := property("FactCompared", "heard").Properties
	for _, test := range []struct {
		what string
		got  *openapi3.Schema
		want []string
	}{
		{"Kind", schemas["Kind"].Value, kinds},
		{"NewEntry.kind", property("NewEntry", "kind"), writable},
		{"Action.kind", property("Action", "kind"), or("", kinds)},
		{"Instrument.make", property("Instrument", "make"), or("", chronometer.Make("").Choices())},
		{"Instrument.beat", property("Instrument", "beat"), or("", chronometer.Beat("").Choices())},
		{"Instrument.dial", property("Instrument", "dial"), or("", chronometer.Hours("").Choices())},
		{"Instrument.position", property("Instrument", "position"), or("", chronometer.Position("").Choices())},
		{"Instrument.motion", property("Instrument", "motion"), []string{"", string(chronometer.Going), string(chronometer.StoodStill), string(chronometer.BalanceHeld), string(chronometer.NotKnown)}},
		{"Instrument.station", property("Instrument", "station"), []string{"", string(chronometer.Bench), string(chronometer.Trial), string(chronometer.Carriage), string(chronometer.Home)}},
		{"Recording.type", property("Recording", "type"), []string{chronometer.WAV, chronometer.FLAC}},
		{"FactCompared.heard.taken", heard["taken"].Value, chronometer.Taken("").Choices()},
		{"Rating.position", property("Rating", "position"), or("", chronometer.Position("").Choices())},
		{"PositionRate.position", property("PositionRate", "position"), chronometer.Position("").Choices()},
	} {
		if got := texts(test.got.Enum); !slices.Equal(got, test.want) {
			t.Errorf("%s: %q, want %q", test.what, got, test.want)
		}
	}
}

// TestEverySchemaIsUsed finds schemas that nothing refers to.
func TestEverySchemaIsUsed(t *testing.T) {
	var tree map[string]any
	if err := json.Unmarshal(document, &tree); err != nil {
		t.Fatal(err)
	}
	for kind, all := range tree["components"].(map[string]any) {
		for name := range all.(map[string]any) {
			if !strings.Contains(string(document), `"#/components/`+kind+`/`+name+`"`) {
				t.Errorf("nothing refers to %s/%s", kind, name)
			}
		}
	}
}
