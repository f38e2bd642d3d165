package leaf

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-fonts/liberation/liberationserifbold"
	"codeberg.org/go-fonts/liberation/liberationserifitalic"
	"codeberg.org/go-fonts/liberation/liberationserifregular"
	"golang.org/x/text/unicode/norm"
)

// millimetres in a point of 1/72 inch.
const millimetres = 25.4 / 72

// Replacement is drawn for a letter that no face has.
const Replacement = '□'

// cut is what is read of a font file: where its letters are and how wide.
type cut struct {
	name   string // PostScript name
	font   []byte
	widths map[rune]float64 // thousandths of the size, as a PDF keeps them
}

// faces are read once, when a letter of theirs is first asked for.
var faces = [...]func() *cut{
	Serif:       sync.OnceValue(func() *cut { return read("LiberationSerif", liberationserifregular.TTF) }),
	SerifBold:   sync.OnceValue(func() *cut { return read("LiberationSerif-Bold", liberationserifbold.TTF) }),
	SerifItalic: sync.OnceValue(func() *cut { return read("LiberationSerif-Italic", liberationserifitalic.TTF) }),
	Sans:        sync.OnceValue(func() *cut { return read("LiberationSans", liberationsansregular.TTF) }),
	SansBold:    sync.OnceValue(func() *cut { return read("LiberationSans-Bold", liberationsansbold.TTF) }),
}

func (f Face) cut() *cut { return faces[f.known()]() }

func (f Face) known() Face {
	if f < 0 || int(f) >= len(faces) {
		return Serif
	}
	return f
}

// read returns the letters of a TrueType file and their widths: ISO/IEC
// 14496-22, tables head, hhea, hmtx and cmap with a subtable of format 4,
// which has the letters of the basic plane.
func read(name string, font []byte) *cut {
	c := &cut{name, font, map[rune]float64{}}
	u16 := func(at int) int { return int(binary.BigEndian.Uint16(font[at:])) }
	u32 := func(at int) int { return int(binary.BigEndian.Uint32(font[at:])) }
	tables := map[string]int{}
	for i := range u16(4) {
		at := 12 + 16*i
		tables[string(font[at:at+4])] = u32(at + 8)
	}
	em, metrics := float64(u16(tables["head"]+18)), u16(tables["hhea"]+34)
	width := func(glyph int) float64 {
		return math.Round(float64(u16(tables["hmtx"]+4*min(glyph, metrics-1))) * 1000 / em)
	}
	for i := range u16(tables["cmap"] + 2) {
		record := tables["cmap"] + 4 + 8*i
		at := tables["cmap"] + u32(record+4)
		if u16(record) != 3 || u16(record+2) != 1 || u16(at) != 4 {
			continue
		}
		n := u16(at+6) / 2
		for k := range n {
			ends, starts := at+14+2*k, at+16+2*n+2*k
			deltas, ranges := starts+2*n, starts+4*n
			for r := u16(starts); r <= u16(ends) && r < 0xffff; r++ {
				glyph := r
				if offset := u16(ranges); offset != 0 {
					if glyph = u16(ranges + offset + 2*(r-u16(starts))); glyph == 0 {
						continue
					}
				}
				if glyph = (glyph + u16(deltas)) & 0xffff; glyph != 0 {
					c.widths[rune(r)] = width(glyph)
				}
			}
		}
	}
	return c
}

// plain returns words as they can be set: composed letters, single spaces for
// what only moves the pen, and nothing for what has no form of its own.
func plain(words string) string {
	words = strings.ToValidUTF8(words, "\ufffd")
	if !norm.NFC.IsNormalString(words) {
		words = norm.NFC.String(words)
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\u202f' || r == '\u2009' || r == '\t' || r == '\n' || r == '\r' || r == '\v' || r == '\f':
			return ' '
		case r == '\u2011': // a hyphen that does not break
			return '-'
		case r == '\u00ad' || unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Variation_Selector, r):
			return -1
		}
		return r
	}, words)
}

// set returns words as face draws them: every letter it lacks replaced, and
// Hebrew turned to stand from right to left. Read is what was turned, as it is
// read, or nothing.
func set(words string, face Face) (drawn, read string) {
	c := face.cut()
	words = strings.Map(func(r rune) rune {
		if _, ok := c.widths[r]; !ok {
			return Replacement
		}
		return r
	}, plain(words))
	if strings.IndexFunc(words, hebrew) >= 0 {
		return turned(words), words
	}
	return words, ""
}

func hebrew(r rune) bool { return unicode.Is(unicode.Hebrew, r) }

// turned returns words with each stretch of Hebrew, and what joins it, in the
// order in which it stands on the line.
func turned(words string) string {
	letters := []rune(words)
	for i := 0; i < len(letters); i++ {
		if !hebrew(letters[i]) {
			continue
		}
		last := i
		for j := i; j < len(letters) && (hebrew(letters[j]) || !unicode.IsLetter(letters[j]) && !unicode.IsDigit(letters[j])); j++ {
			if hebrew(letters[j]) {
				last = j
			}
		}
		slices.Reverse(letters[i : last+1])
		i = last
	}
	return string(letters)
}

// missing returns the letters of words that face cannot draw, in order.
func missing(words string, face Face) []rune {
	var out []rune
	c := face.cut()
	for _, r := range plain(words) {
		if _, ok := c.widths[r]; !ok {
			out = append(out, r)
		}
	}
	return out
}

// Width returns how wide words are in a style, mm.
func Width(words string, s Style) float64 {
	drawn, _ := set(words, s.Face)
	return width(drawn, s)
}

func width(drawn string, s Style) float64 {
	c, w := s.Face.cut(), 0.0
	for _, r := range drawn {
		w += c.widths[r]
	}
	return w / 1000 * s.size() * millimetres
}

func (s Style) size() float64 {
	if s.Size <= 0 {
		return 10
	}
	return s.Size
}

// Line returns the distance from one line of the style to the next, mm.
func (s Style) Line() float64 { return 1.32 * s.size() * millimetres }

// Wrap returns words as lines no wider than widthMM. They break at spaces and
// at line breaks; a word that is wider than the line is broken within. Words
// without letters are one empty line.
func Wrap(words string, s Style, widthMM float64) []string {
	lines := folded(words, s, widthMM)
	for i, line := range lines {
		lines[i] = strings.TrimSuffix(line, joiner)
	}
	return lines
}

// joiner stands behind a line that ends within a word, so that the word is
// read as one: U+2060, word joiner, which has no width and is not drawn.
const joiner = "\u2060"

// folded returns the lines of Wrap, a joiner behind each that ends within a word.
func folded(words string, s Style, widthMM float64) []string {
	var lines []string
	for paragraph := range strings.SplitSeq(strings.ReplaceAll(words, "\r\n", "\n"), "\n") {
		lines = append(lines, wrap(plain(paragraph), s, widthMM)...)
	}
	return lines
}

// units are not parted from the number before them.
var units = []string{"s", "s/d", "°C", "min", "h", "mm", "g", "kg", "%"}

// pieces returns the words between which a line may break: a number keeps its
// unit and its ±.
func pieces(words string) []string {
	var out []string
	for _, word := range strings.FieldsFunc(words, func(r rune) bool { return r == ' ' }) {
		if n := len(out); n > 0 {
			before := out[n-1]
			figure := before[len(before)-1] >= '0' && before[len(before)-1] <= '9'
			if figure && slices.Contains(units, strings.TrimRight(word, ".,;:)")) || strings.HasPrefix(word, "±") && len(before) < 24 {
				out[n-1] = before + " " + word
				continue
			}
		}
		out = append(out, word)
	}
	return out
}

func wrap(words string, s Style, widthMM float64) []string {
	const slack = 1e-6 // so that what was measured fits where it was measured
	var lines []string
	line := ""
	for _, word := range pieces(words) {
		longer := word
		if line != "" {
			longer = line + " " + word
		}
		if Width(longer, s) <= widthMM+slack {
			line = longer
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line = word
		for Width(line, s) > widthMM+slack {
			head, tail := broken(line, s, widthMM+slack)
			if tail == "" {
				break
			}
			lines = append(lines, head+joiner)
			line = tail
		}
	}
	return append(lines, line)
}

// broken returns as much of a word as fits, at least one letter, and the rest;
// a break after a hyphen or a slash in the second half is preferred.
func broken(word string, s Style, widthMM float64) (head, tail string) {
	letters := []rune(word)
	n := 1
	for n < len(letters) && Width(string(letters[:n+1]), s) <= widthMM {
		n++
	}
	for k := n; k > n/2 && k > 1; k-- {
		if r := letters[k-1]; (r == '-' || r == '/') && k < len(letters) {
			n = k
			break
		}
	}
	return string(letters[:n]), string(letters[n:])
}

// Fitted returns words cut with an ellipsis to be no wider than widthMM.
func Fitted(words string, s Style, widthMM float64) string {
	words = plain(words)
	if Width(words, s) <= widthMM {
		return words
	}
	letters := []rune(words)
	for n := len(letters) - 1; n > 0; n-- {
		if short := strings.TrimRight(string(letters[:n]), " ,;:·") + "…"; Width(short, s) <= widthMM {
			return short
		}
	}
	return "…"
}

// Missing returns one sentence for each letter that is on a leaf and in no
// face, "the letter 漢 (U+6F22) is not in the face and is printed as □", in the
// order in which they stand.
func (d *Document) Missing() []string {
	var out []string
	seen := map[rune]bool{}
	for _, l := range d.Leaves {
		for _, r := range l.missing {
			if !seen[r] {
				seen[r] = true
				out = append(out, fmt.Sprintf("the letter %c (%U) is not in the face and is printed as %c", r, r, Replacement))
			}
		}
	}
	return out
}
