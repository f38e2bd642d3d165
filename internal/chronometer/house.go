package chronometer

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Paper is a size of paper.
type Paper string

// The sizes of paper.
const (
	PaperA4     Paper = "A4"
	PaperLetter Paper = "Letter"
)

// Choices returns the sizes of paper.
func (Paper) Choices() []string { return []string{string(PaperA4), string(PaperLetter)} }

// House is the particulars of the workshop, as they stand at the head of its
// papers.
type House struct {
	Name         string  `json:"name" label:"Workshop" need:"yes"`
	Place        string  `json:"place,omitempty" label:"Place" hint:"port or town"`
	Keeper       string  `json:"keeper,omitempty" label:"Keeper" hint:"who signs certificates"`
	Contact      string  `json:"contact,omitempty" label:"How to reach it" hint:"address, telephone, e-mail; separate lines by semicolons"`
	Paper        Paper   `json:"paper,omitempty" label:"Paper" hint:"empty: A4"`
	ServiceYears float64 `json:"service_years,omitempty" label:"Years between services" hint:"empty: 4; some say 3 to 5"`
}

// Kind returns KindHouse.
func (House) Kind() Kind { return KindHouse }

// Words returns the name and the place.
func (h House) Words() string { return phrase(h.Name, h.Place, h.Keeper) }
func (h House) check() error {
	return first(need("name", h.Name, "write the name of the workshop"), short("place", h.Place), short("keeper", h.Keeper), short("contact", h.Contact),
		oneOf("paper", h.Paper, Paper("").Choices()), within("service_years", h.ServiceYears, 0, 100, "years"))
}

// usualServiceYears is how long oil is trusted. Chronometers of the navies were
// cleaned every three to five years (Annalen der Hydrographie 12 (1884); three
// years is the custom as remembered, no source).
const usualServiceYears = 4

// ServiceEvery returns the years between services.
func (h House) ServiceEvery() float64 {
	if h.ServiceYears > 0 {
		return h.ServiceYears
	}
	return usualServiceYears
}

// Lines returns how to reach the workshop, line by line.
func (h House) Lines() []string {
	var lines []string
	for part := range strings.SplitSeq(h.Contact, ";") {
		if part = strings.TrimSpace(part); part != "" {
			lines = append(lines, part)
		}
	}
	return lines
}

// zone returns an error unless name is a time zone of the IANA database.
func zone(name string) error {
	if name == "" {
		return nil
	}
	if _, err := time.LoadLocation(name); err != nil || name == "Local" {
		return fmt.Errorf("zone %.40q is no time zone; write it as continent/town, such as Europe/Lisbon, or leave it empty for UTC", name)
	}
	return nil
}

// hourOfDay returns an error unless s is hh:mm or empty.
func hourOfDay(field, s string) error {
	if s == "" {
		return nil
	}
	hour, minute, ok := strings.Cut(s, ":")
	h, err1 := strconv.Atoi(hour)
	m, err2 := strconv.Atoi(minute)
	if !ok || err1 != nil || err2 != nil || h < 0 || h > 23 || m < 0 || m > 59 || len(minute) != 2 {
		return fmt.Errorf("%s %.20q is no hour; write hh:mm, such as 08:30", field, s)
	}
	return nil
}
