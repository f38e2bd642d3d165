package programme

import (
	"embed"
	"fmt"
	"strings"
)

//go:embed shipped/*.yaml
var shipped embed.FS

// order is that in which a page offers the programmes.
var order = []string{"three-temperatures", "weekly-sums", "ten-day-symmetrical", "iso-3159", "iso-3159-small"}

// Shipped returns the programmes that come with the program. Each says in its
// Text where it comes from and what is the workshop's own to set.
func Shipped() []Programme {
	all := make([]Programme, len(order))
	for i, slug := range order {
		text, err := shipped.ReadFile("shipped/" + slug + ".yaml")
		if err != nil {
			panic("programme: " + err.Error())
		}
		if all[i], err = Read(text); err != nil {
			panic(fmt.Sprintf("programme: %s.yaml: %v", slug, err))
		}
	}
	return all
}

// Find returns the shipped programme of a name, whatever its capitals and
// with hyphens for spaces or not, or false.
func Find(name string) (Programme, bool) {
	for _, p := range Shipped() {
		if p.Slug() == slug(name) {
			return p, true
		}
	}
	return Programme{}, false
}

// Slug returns the name in small letters with hyphens for spaces, as it is
// written on a command line.
func (p Programme) Slug() string { return slug(p.Name) }

func slug(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r == ' ' || r == '-' || r == '_' }), "-")
}
