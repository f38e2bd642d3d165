package programme

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// maxProgramme is the most a programme's text may have, bytes.
const maxProgramme = 64 << 10

// Read returns the programme that a text in YAML holds. An error
// wraps ErrProgramme and names line, field and what to write; nothing is half
// read.
func Read(text []byte) (Programme, error) {
	in := reading{lines: map[string]int{}}
	p, f := in.programme(text)
	if f == nil {
		f = p.fault()
	}
	if f == nil {
		return p, nil
	}
	line := in.lineOf(f.at)
	switch {
	case line == 0:
		return Programme{}, fmt.Errorf("%w: %w", ErrProgramme, f)
	case f.at == "":
		return Programme{}, fmt.Errorf("%w: line %d: %s", ErrProgramme, line, f.why)
	}
	return Programme{}, fmt.Errorf("%w: line %d, %s: %s", ErrProgramme, line, f.at, f.why)
}

// reading keeps the line of every field.
type reading struct{ lines map[string]int }

// lineOf returns the line of a field, or of what it would stand in.
func (in *reading) lineOf(at string) int {
	for {
		if line, ok := in.lines[at]; ok {
			return line
		}
		cut := strings.LastIndexByte(at, ' ')
		if cut < 0 {
			return in.lines[""]
		}
		at = at[:cut]
	}
}

func (in *reading) programme(text []byte) (Programme, *fault) {
	switch {
	case len(text) > maxProgramme:
		return Programme{}, bad("", "the text is larger than %d kB, so it is no programme; write periods and criteria only", maxProgramme>>10)
	case !utf8.Valid(text) || bytes.IndexByte(text, 0) >= 0:
		return Programme{}, bad("", "the text holds letters that are not UTF-8; write it again as plain text in UTF-8")
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	var doc yaml.Node
	if err := d.Decode(&doc); err == io.EOF {
		return Programme{}, bad("", "the text is empty; write name, periods and criteria")
	} else if err != nil {
		return Programme{}, bad("", "%s; mend the text so that it is YAML", strings.TrimPrefix(err.Error(), "yaml: "))
	}
	var more yaml.Node
	if err := d.Decode(&more); err != io.EOF {
		return Programme{}, bad("", "there is more than one programme in the text; write each in a file of its own")
	}
	if len(doc.Content) != 1 {
		return Programme{}, bad("", "the text is empty; write name, periods and criteria")
	}
	p := Programme{Text: string(text)}
	f := in.fields("", doc.Content[0], map[string]field{
		"name": in.text(&p.Name), "about": in.text(&p.About), "source": in.text(&p.Source),
		"settling_h": in.number(&p.SettlingH), "within_h": in.number(&p.WithinH), "within_c": in.number(&p.WithinC),
		"periods":  in.list("period", maxPeriods, func(at string, n *yaml.Node) *fault { return in.period(at, n, &p) }),
		"criteria": in.list("criterion", maxCriteria, func(at string, n *yaml.Node) *fault { return in.criterion(at, n, &p) }),
	})
	return p, f
}

func (in *reading) period(at string, n *yaml.Node, p *Programme) *fault {
	var q Period
	f := in.fields(at, n, map[string]field{
		"name": in.text(&q.Name), "days": in.whole(&q.Days), "temp_c": in.some(&q.TempC), "wind_every_h": in.number(&q.WindEveryH), "apart": in.yes(&q.Apart),
		"position": func(at string, n *yaml.Node) *fault {
			var text string
			if f := in.text(&text)(at, n); f != nil {
				return f
			}
			var err error
			if q.Position, err = Position(text); err != nil {
				return bad(at, "%s", err.Error())
			}
			return nil
		},
	})
	p.Periods = append(p.Periods, q)
	return f
}

func (in *reading) criterion(at string, n *yaml.Node, p *Programme) *fault {
	var c Criterion
	var of string
	f := in.fields(at, n, map[string]field{
		"name": in.text(&c.Name), "about": in.text(&c.About), "of": in.text(&of), "periods": in.numbers(&c.Periods), "less": in.numbers(&c.Less),
		"sum_days": in.whole(&c.SumDays), "from": in.some(&c.From), "to": in.some(&c.To), "unit": in.text(&c.Unit),
		"terms": in.list(at+" term", maxTerms, func(at string, n *yaml.Node) *fault {
			t := Term{Factor: 1}
			f := in.fields(at, n, map[string]field{"times": in.number(&t.Factor), "name": in.text(&t.Name)})
			c.Terms = append(c.Terms, t)
			return f
		}),
		"classes": in.list(at+" class", maxClasses, func(at string, n *yaml.Node) *fault {
			class := Class{Most: -1}
			f := in.fields(at, n, map[string]field{"name": in.text(&class.Name), "most": in.number(&class.Most)})
			if f == nil && class.Most == -1 {
				f = bad(at+" most", "there is none; write the most that the class allows")
			}
			c.Classes = append(c.Classes, class)
			return f
		}),
	})
	c.Of = Measure(strings.ToLower(strings.Join(strings.Fields(of), " ")))
	if c.Unit == "" {
		c.Unit = p.unitOf(c)
	}
	p.Criteria = append(p.Criteria, c)
	return f
}

// unitOf returns the unit of a criterion that names none: that of its measure,
// or of its first term.
func (p *Programme) unitOf(c Criterion) string {
	if c.Of == Combined && len(c.Terms) > 0 {
		for _, o := range p.Criteria {
			if o.Name == c.Terms[0].Name {
				return o.Unit
			}
		}
	}
	return c.Of.Unit()
}

// field reads the value of a field.
type field func(at string, n *yaml.Node) *fault

// fields reads a mapping of known fields.
func (in *reading) fields(at string, n *yaml.Node, known map[string]field) *fault {
	in.lines[at] = n.Line
	if f := plain(at, n); f != nil {
		return f
	}
	var names []string
	for name := range known {
		names = append(names, name)
	}
	slices.Sort(names)
	if n.Kind != yaml.MappingNode {
		return bad(at, "%s stands where fields are wanted; write some of: %s, each with a colon", what(n), strings.Join(names, ", "))
	}
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		key, value := n.Content[i], n.Content[i+1]
		own := strings.TrimSpace(at + " " + key.Value)
		read, ok := known[key.Value]
		switch {
		case key.Kind != yaml.ScalarNode || key.Anchor != "" || !ok:
			in.lines[at] = key.Line
			return bad(at, "the field %.40q is not known%s; write one of: %s", key.Value, Perhaps(key.Value, names), strings.Join(names, ", "))
		case seen[key.Value]:
			in.lines[own] = key.Line
			return bad(own, "it stands twice; write it once")
		}
		seen[key.Value] = true
		in.lines[own] = key.Line
		if f := plain(own, value); f != nil {
			in.lines[own] = value.Line
			return f
		}
		if f := read(own, value); f != nil {
			return f
		}
	}
	return nil
}

// plain refuses what a programme has no need of.
func plain(at string, n *yaml.Node) *fault {
	if n.Kind == yaml.AliasNode || n.Anchor != "" {
		return bad(at, "a programme has no anchors and aliases; write the values out")
	}
	return nil
}

// what says in words what a node is.
func what(n *yaml.Node) string {
	switch {
	case n.Kind == yaml.MappingNode:
		return "a group of fields"
	case n.Kind == yaml.SequenceNode:
		return "a list"
	case n.Value == "":
		return "nothing"
	}
	return fmt.Sprintf("%.40q", n.Value)
}

func (in *reading) list(each string, most int, read field) field {
	return func(at string, n *yaml.Node) *fault {
		if n.Kind != yaml.SequenceNode {
			return bad(at, "%s stands where a list is wanted; begin each of its rows with a hyphen", what(n))
		}
		if len(n.Content) > most {
			return bad(at, "there are %d; write at most %d", len(n.Content), most)
		}
		for i, row := range n.Content {
			own := fmt.Sprintf("%s %d", each, i+1)
			in.lines[own] = row.Line
			if f := read(own, row); f != nil {
				return f
			}
		}
		return nil
	}
}

func (in *reading) text(to *string) field {
	return func(at string, n *yaml.Node) *fault {
		if n.Kind != yaml.ScalarNode {
			return bad(at, "%s stands where words are wanted; write them in one row", what(n))
		}
		*to = strings.TrimSpace(n.Value)
		return nil
	}
}

func (in *reading) number(to *float64) field {
	return func(at string, n *yaml.Node) *fault {
		v, err := strconv.ParseFloat(n.Value, 64)
		switch {
		case n.Kind != yaml.ScalarNode:
			return bad(at, "%s stands where a number is wanted; write one, such as 20 or -2.5", what(n))
		case n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
			return bad(at, "%s is in quotation marks and so is text; write the number without them", what(n))
		case err != nil || !isFinite(v) || strings.ContainsAny(n.Value, "xX_pP"):
			return bad(at, "%s is no number; write one with a decimal point, such as 20 or -2.5", what(n))
		}
		*to = v
		return nil
	}
}

func (in *reading) some(to **float64) field {
	return func(at string, n *yaml.Node) *fault {
		var v float64
		if f := in.number(&v)(at, n); f != nil {
			return f
		}
		*to = &v
		return nil
	}
}

func (in *reading) whole(to *int) field {
	return func(at string, n *yaml.Node) *fault {
		v, err := strconv.Atoi(n.Value)
		if n.Kind != yaml.ScalarNode || n.Style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0 || err != nil {
			return bad(at, "%s is no whole number; write one, such as 5", what(n))
		}
		*to = v
		return nil
	}
}

func (in *reading) numbers(to *[]int) field {
	return func(at string, n *yaml.Node) *fault {
		if n.Kind != yaml.SequenceNode {
			return bad(at, "%s stands where a list is wanted; write the numbers of periods, such as [1, 2]", what(n))
		}
		if len(n.Content) > maxPeriods {
			return bad(at, "there are %d; write at most %d", len(n.Content), maxPeriods)
		}
		for _, row := range n.Content {
			var v int
			if f := firstOf(plain(at, row), in.whole(&v)(at, row)); f != nil {
				in.lines[at] = row.Line
				return f
			}
			*to = append(*to, v)
		}
		return nil
	}
}

func (in *reading) yes(to *bool) field {
	return func(at string, n *yaml.Node) *fault {
		switch strings.ToLower(n.Value) {
		case "yes", "true":
			*to = true
		case "no", "false":
			*to = false
		default:
			return bad(at, "%s is neither yes nor no; write one of them", what(n))
		}
		return nil
	}
}
