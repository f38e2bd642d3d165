package carriage

import (
	"bytes"
	"embed"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"
)

//go:embed steps/*.yaml
var files embed.FS

// condition names facets and the values of which each must have one.
type condition map[string][]string

func (c condition) holds(facets map[string]string) bool {
	for name, values := range c {
		if !slices.Contains(values, facets[name]) {
			return false
		}
	}
	return true
}

// sentence is said when its condition holds.
type sentence struct {
	When condition `yaml:"when"`
	Say  string    `yaml:"say"`
}

// UnmarshalYAML reads a plain text, or a mapping of when and say.
func (s *sentence) UnmarshalYAML(n *yaml.Node) error {
	if n.Kind == yaml.ScalarNode {
		return n.Decode(&s.Say)
	}
	for i := 0; i < len(n.Content); i += 2 {
		if key := n.Content[i].Value; key != "when" && key != "say" {
			return fmt.Errorf("line %d: a sentence has no field %.40q; write when and say", n.Line, key)
		}
	}
	type plain sentence
	return n.Decode((*plain)(s))
}

// written is a step as the file has it, for all instruments at once.
type written struct {
	ID         ID         `yaml:"id"`
	Phase      Phase      `yaml:"phase"`
	Title      string     `yaml:"title"`
	When       condition  `yaml:"when"`
	Do         []sentence `yaml:"do"`
	Needs      []sentence `yaml:"needs"`
	After      []ID       `yaml:"after"`
	Pre        state      `yaml:"pre"`
	Post       state      `yaml:"post"`
	Harm       string     `yaml:"harm"`
	Check      []sentence `yaml:"check"`
	Record     Kind       `yaml:"record"`
	Write      []sentence `yaml:"write"`
	Basis      string     `yaml:"basis"`
	Cautions   []sentence `yaml:"cautions"`
	Drawing    Drawing    `yaml:"drawing"`
	Photograph bool       `yaml:"photograph"`
}

// read returns the steps of the files, in their order.
var read = sync.OnceValues(func() ([]written, error) {
	var all []written
	for _, phase := range Phases() {
		name := "steps/" + string(phase) + ".yaml"
		text, err := files.ReadFile(name)
		if err != nil {
			return nil, err
		}
		d := yaml.NewDecoder(bytes.NewReader(text))
		d.KnownFields(true)
		var some []written
		if err := d.Decode(&some); err != nil && !errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		all = append(all, some...)
	}
	return all, nil
})

// of returns the step for an instrument; after is left as written.
func (w written) of(f Fittings, facets map[string]string) Step {
	fill := strings.NewReplacer(
		"{going}", number(f.GoingH), "{least}", number(f.GoingH*leastOfWind), "{most}", number(f.GoingH*mostOfWind),
		"{weight}", number(f.WeightKG),
	)
	chosen := func(from []sentence) []string {
		var said []string
		for _, s := range from {
			if s.When.holds(facets) {
				if strings.Contains(s.Say, "{") {
					s.Say = fill.Replace(s.Say)
				}
				said = append(said, s.Say)
			}
		}
		return said
	}
	drawing := w.Drawing
	if facets["form"] == "watch" && drawing != InnerBox {
		drawing = "" // the others show a bowl
	}
	return Step{
		ID: w.ID, Phase: w.Phase, Title: w.Title, Do: chosen(w.Do), Needs: append(chosen(w.Needs), w.Pre.needed()...), After: w.After,
		Leaves: w.Post.left(), Harm: w.Harm, Check: strings.Join(chosen(w.Check), " "), Record: w.Record, Write: strings.Join(chosen(w.Write), " "),
		Basis: w.Basis, Cautions: chosen(w.Cautions), Drawing: drawing, Photograph: w.Photograph, pre: w.Pre, post: w.Post,
	}
}

// The middle state of wind: 24 to 48 h since winding of a two-day instrument
// that goes 56 h, and in proportion for others (common practice, no source).
const (
	leastOfWind = 24.0 / 56
	mostOfWind  = 48.0 / 56
)

func number(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }
