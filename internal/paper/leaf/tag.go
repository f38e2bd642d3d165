package leaf

// Tag is what a part of a document is in its structure: a standard structure
// type of ISO 32000-1, 14.8.4, or an artifact, 14.8.2.2, which is what stands
// on a page and is not read as part of the document.
type Tag int

// The tags. Words that stand in none are a paragraph; lines and areas outside
// a figure are artifacts.
const (
	TagParagraph  Tag = iota
	TagTitle          // H1
	TagHeading        // H2
	TagList           // L, of items
	TagNumbered       // L, of items that are numbered
	TagItem           // LI, of a label and a body
	TagLabel          // Lbl: the dash, the number or the name of an item
	TagBody           // LBody: the words of an item
	TagTable          // Table, of rows
	TagRow            // TR, of cells
	TagColumnHead     // TH that names its column
	TagRowHead        // TH that names its row
	TagCell           // TD
	TagHeader         // an artifact: what stands at the head of a page
	TagFooter         // an artifact: what stands at its foot
	tagFigure         // Figure
	tagTurned         // Span of words that run from right to left
	tagRepeated       // an artifact: the heading of a table on the leaves after its first
	tagLayout         // an artifact: rules and ornament
)

// tags are the type of each tag, its attributes, and whether words stand in it
// without a paragraph.
var tags = [...]struct {
	kind, attributes string
	words            bool
}{
	TagParagraph:  {"P", "", true},
	TagTitle:      {"H1", "", true},
	TagHeading:    {"H2", "", true},
	TagList:       {"L", "", false},
	TagNumbered:   {"L", "/O/List/ListNumbering/Decimal", false},
	TagItem:       {"LI", "", false},
	TagLabel:      {"Lbl", "", true},
	TagBody:       {"LBody", "", true},
	TagTable:      {"Table", "", false},
	TagRow:        {"TR", "", false},
	TagColumnHead: {"TH", "/O/Table/Scope/Column", true},
	TagRowHead:    {"TH", "/O/Table/Scope/Row", true},
	TagCell:       {"TD", "", true},
	TagHeader:     {artifact, "/Type/Pagination/Subtype/Header", true},
	TagFooter:     {artifact, "/Type/Pagination/Subtype/Footer", true},
	tagFigure:     {"Figure", "", true},
	tagTurned:     {"Span", "", true},
	tagRepeated:   {artifact, "/Type/Pagination", true},
	tagLayout:     {artifact, "/Type/Layout", true},
}

const artifact = "Artifact"

// element is one element of the structure of a document.
type element struct {
	tag    Tag
	parent *element  // nil for one that stands in the document itself
	said   string    // for a figure or turned words: what is read in their place
	box    rectangle // of a figure, mm
}

func (e *element) kind() string    { return tags[e.tag].kind }
func (e *element) artifact() bool  { return e.kind() == artifact }
func (e *element) hasWords() bool  { return tags[e.tag].words }
func (e *element) isCell() bool    { return e.tag >= TagColumnHead && e.tag <= TagCell }
func (e *element) isDrawing() bool { return e.artifact() || e.tag == tagFigure }

// ornament is where rules stand that are in no figure.
var ornament = &element{tag: tagLayout}

// place is the element that is being filled; the leaves of a document share
// one, for an element can go on from leaf to leaf.
type place struct{ in *element }

func (l *Leaf) at() *place {
	if l.place == nil {
		l.place = &place{}
	}
	return l.place
}

// In makes what set puts on a leaf of the document a part of its structure.
// Parts stand in each other as In is called in set; their order is that in
// which they are begun.
func (l *Leaf) In(t Tag, set func()) { l.into(l.element(t), set) }

// In makes what set puts on leaves a part of the structure of the document.
func (f *Flow) In(t Tag, set func()) { f.leaf.In(t, set) }

// element begins an element within the one that is being filled.
func (l *Leaf) element(t Tag) *element { return l.begin(&element{tag: t}) }

func (l *Leaf) begin(e *element) *element {
	if e.tag < 0 || int(e.tag) >= len(tags) {
		e.tag = TagParagraph
	}
	in := l.at().in
	switch {
	case in != nil && in.artifact(): // nothing in it is of the structure
		return in
	case !e.artifact():
		e.parent = in
		l.items = append(l.items, item{part: e})
	}
	return e
}

// into fills an element.
func (l *Leaf) into(e *element, set func()) {
	p := l.at()
	before := p.in
	p.in = e
	set()
	p.in = before
}

// paragraph sets words into the element that is being filled, or into a
// paragraph if it does not take words.
func (l *Leaf) paragraph(set func()) {
	if in := l.at().in; in != nil && in.hasWords() {
		set()
		return
	}
	l.In(TagParagraph, set)
}
