package trials

import (
	"fmt"
	"strconv"
	"strings"

	"timeball/internal/adjust"
	"timeball/internal/trial/programme"
	"timeball/internal/web/wording"
)

// Programme is a programme as pages show it.
type Programme struct {
	Key, Name, About, Source string
	Href                     string
	Length                   string // "23 days in seven periods"
	Own                      bool
	Wrist                    bool   // a standard for wrist chronometers
	Fault                    string // why it cannot be used, a sentence
	Text                     string
	Chosen                   bool
	Rules                    []string // how it is read, in sentences
	Asked                    []Asked
	Criteria                 []Criterion
}

// Asked is one period of a programme.
type Asked struct {
	Number         int
	Name           string
	Days           int
	Temp, Position string
	Wind           string
	Apart          bool
}

// NewProgramme returns a choice as pages show it.
func NewProgramme(c adjust.Choice) Programme {
	p := Read(c.Programme)
	p.Key, p.Own, p.Href = c.Key, c.Own != "", "/programmes/"+escape(c.Key)
	p.Wrist = !p.Own && strings.HasPrefix(c.Programme.Slug(), "iso-3159")
	if c.Fault != "" {
		p.Fault = wording.Sentence(Faulty(c.Fault))
	}
	return p
}

// Read returns a programme in words.
func Read(q programme.Programme) Programme {
	p := Programme{Name: q.Name, About: q.About, Source: q.Source, Text: q.Text}
	p.Length = wording.Counted(q.Days(), "day", "days") + " in " + wording.Counted(len(q.Periods), "period", "periods")
	p.Rules = rules(q)
	for n, period := range q.Periods {
		a := Asked{Number: n + 1, Name: period.Name, Days: period.Days, Position: period.Position, Apart: period.Apart, Temp: "as the room is"}
		if period.TempC != nil {
			a.Temp = asked(*period.TempC)
		}
		if period.Position == "" {
			a.Position = "as it lies"
		}
		if period.WindEveryH > 0 {
			a.Wind = "every " + plain(period.WindEveryH) + " h"
		} else {
			a.Wind = "daily"
		}
		p.Asked = append(p.Asked, a)
	}
	for _, c := range q.Criteria {
		row := Criterion{Name: c.Name, About: c.About, Limits: Limits(c), Why: computed(c)}
		p.Criteria = append(p.Criteria, row)
	}
	return p
}

// rules returns how a programme is read, in sentences.
func rules(p programme.Programme) []string {
	var all []string
	if p.SettlingH > 0 {
		all = append(all, fmt.Sprintf("It is wound and lies in place %s h before the first reading, to settle.", plain(p.SettlingH)))
	}
	within := p.WithinH
	if within <= 0 {
		within = 1
	}
	all = append(all, fmt.Sprintf("A reading counts within %s h of the hour of the first one.", plain(within)))
	if p.WithinC > 0 {
		all = append(all, fmt.Sprintf("A day counts if its mean temperature is within %s °C of what is asked.", plain(p.WithinC)))
	}
	return all
}

// computed says how a criterion is computed: its measure and what it takes.
func computed(c programme.Criterion) string {
	words := string(c.Of)
	if c.Of == programme.Combined {
		var terms []string
		for _, t := range c.Terms {
			if t.Factor == 1 {
				terms = append(terms, t.Name)
			} else {
				terms = append(terms, plain(t.Factor)+" × "+t.Name)
			}
		}
		return words + " " + wording.Joined(terms) + ", without their signs"
	}
	if len(c.Periods) > 0 {
		words += ", " + numbered(c.Periods)
	}
	if len(c.Less) > 0 {
		words += " less " + numbered(c.Less)
	}
	if c.SumDays > 0 {
		words += fmt.Sprintf(", of %d days each", c.SumDays)
	}
	return words
}

func numbered(periods []int) string {
	var all []string
	for _, n := range periods {
		all = append(all, strconv.Itoa(n))
	}
	if len(all) == 1 {
		return "period " + all[0]
	}
	return "periods " + wording.Joined(all)
}

// Faulty returns what is wrong with the text of a programme, without the names
// that tell programs what it is.
func Faulty(words string) string {
	_, after, found := strings.Cut(words, programme.ErrProgramme.Error()+": ")
	if found {
		return after
	}
	return words
}

// LineOf returns the line that a fault names, and false if it names none.
func LineOf(words, text string) (number int, line string, ok bool) {
	after, found := strings.CutPrefix(Faulty(words), "line ")
	if !found {
		return 0, "", false
	}
	digits := after[:len(after)-len(strings.TrimLeft(after, "0123456789"))]
	n, err := strconv.Atoi(digits)
	lines := strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n")
	if err != nil || n < 1 || n > len(lines) {
		return 0, "", false
	}
	return n, strings.TrimSpace(lines[n-1]), true
}

// Copy returns the text of a programme under another name, to be written as the
// workshop's own.
func Copy(p programme.Programme) string {
	lines := strings.Split(p.Text, "\n")
	for n, line := range lines {
		if strings.HasPrefix(line, "name:") {
			lines[n] = "name: " + quoted(p.Name+", our own")
			break
		}
	}
	return strings.Join(lines, "\n")
}

// quoted returns a name as YAML takes it.
func quoted(name string) string {
	if strings.ContainsAny(name, ":#\"'{}[]&*!|>%@`\\") {
		return strconv.Quote(name)
	}
	return name
}
