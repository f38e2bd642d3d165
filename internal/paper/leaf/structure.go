package leaf

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
)

// tree is the structure of a document as its pages are written.
type tree struct {
	document *node
	nodes    map[*element]*node
	pages    [][]*node // of each page, whose the marked content of each number is
}

// node is an element and what is in it, in order.
type node struct {
	of     *element
	within *node
	kids   []kid
	number int // of its object
}

// kid is an element within another, or marked content of a page.
type kid struct {
	node     *node
	page, id int
}

func newTree() *tree { return &tree{document: &node{}, nodes: map[*element]*node{}} }

// turn begins the next page.
func (t *tree) turn() { t.pages = append(t.pages, nil) }

// add puts an element at the end of the one it is in, when it is first seen.
func (t *tree) add(e *element) *node {
	switch n := t.nodes[e]; {
	case e == nil:
		return t.document
	case n != nil:
		return n
	case e.artifact():
		return nil
	}
	n := &node{of: e, within: t.add(e.parent)}
	n.within.kids = append(n.within.kids, kid{node: n})
	t.nodes[e] = n
	return n
}

// mark returns the number of the next marked content of a page, which belongs
// to an element.
func (t *tree) mark(e *element) int {
	n, page := t.add(e), len(t.pages)-1
	id := len(t.pages[page])
	t.pages[page] = append(t.pages[page], n)
	n.kids = append(n.kids, kid{page: page, id: id})
	return id
}

// prune leaves out what is empty, but no cell of a table.
func (n *node) prune() (empty bool) {
	n.kids = slices.DeleteFunc(n.kids, func(k kid) bool { return k.node != nil && k.node.prune() })
	return len(n.kids) == 0 && (n.of == nil || !n.of.isCell())
}

// all returns the node and what is in it, in order.
func (n *node) all() []*node {
	out := []*node{n}
	for _, k := range n.kids {
		if k.node != nil {
			out = append(out, k.node.all()...)
		}
	}
	return out
}

// ends is the end of a file as the library writes it.
var ends = regexp.MustCompile(`trailer\n<<\n/Size (\d+)\n/Root (\d+) 0 R\n/Info (\d+) 0 R\n>>\nstartxref\n(\d+)\n%%EOF\n?$`)

// kids are the objects of the pages as the library lists them.
var kids = regexp.MustCompile(`/Kids \[((?:\d+ 0 R )*)\]`)

// errUnlike is what is said of a file that is not as the library wrote it when
// this was written.
var errUnlike = errors.New("the file is not as the library wrote it; its version has changed")

// into returns the file with the structure in it: the pages name their place in
// the parent tree, the catalog the structure tree, and a cross-reference
// stream takes the place of the table, so that the elements can be kept
// together and compressed (ISO 32000-1, 7.5.7 and 7.5.8).
func (t *tree) into(file []byte, size Size) ([]byte, error) {
	end := ends.FindSubmatch(file)
	if end == nil {
		return nil, fmt.Errorf("the end: %w", errUnlike)
	}
	var known [4]int
	for i := range known {
		known[i], _ = strconv.Atoi(string(end[i+1])) // digits, as the expression has it
	}
	count, catalog, info, table := known[0], known[1], known[2], known[3]
	objects, err := split(file, count, table)
	if err != nil {
		return nil, err
	}
	pages, err := pagesOf(objects[1].body)
	if err != nil {
		return nil, err
	}
	t.document.prune()
	elements := t.elements(count, pages, size)
	root, streamAt := count, count+len(elements)
	for i, page := range pages {
		keys := "/Tabs /S"
		if i < len(t.pages) && len(t.pages[i]) > 0 {
			keys = fmt.Sprintf("/StructParents %d\n", i) + keys
		}
		if page >= count || objects[page].extend(keys, ">>\nendobj\n") != nil {
			return nil, fmt.Errorf("page %d: %w", i+1, errUnlike)
		}
	}
	if catalog >= count || objects[catalog].extend(fmt.Sprintf("/MarkInfo << /Marked true >>\n/StructTreeRoot %d 0 R\n/ViewerPreferences << /DisplayDocTitle true >>", root), "\n>>\nendobj\n") != nil {
		return nil, fmt.Errorf("the catalog: %w", errUnlike)
	}

	var out bytes.Buffer
	out.WriteString("%PDF-1.7")
	out.Write(file[len("%PDF-1.7"):objects.first()])
	entries := make([]byte, 0, entrySize*(streamAt+2))
	entries = entry(entries, 0, 0, 0xffff)
	slices.SortFunc(objects, func(a, b object) int { return a.at - b.at })
	places := make([]int, count)
	for _, o := range objects[1:] {
		places[o.number] = out.Len()
		out.Write(o.body)
	}
	for _, at := range places[1:] {
		entries = entry(entries, 1, at, 0)
	}
	for i := range elements {
		entries = entry(entries, 2, streamAt, i)
	}
	entries = entry(entries, 1, out.Len(), 0)
	var heads, bodies strings.Builder
	for i, e := range elements {
		fmt.Fprintf(&heads, "%d %d ", root+i, bodies.Len())
		bodies.WriteString(e + "\n")
	}
	if err := stream(&out, streamAt, fmt.Sprintf("/Type /ObjStm /N %d /First %d", len(elements), heads.Len()), []byte(heads.String()+bodies.String())); err != nil {
		return nil, err
	}
	at := out.Len()
	entries = entry(entries, 1, at, 0)
	if err := stream(&out, streamAt+1, fmt.Sprintf("/Type /XRef /Size %d /W [1 4 4] /Root %d 0 R /Info %d 0 R", streamAt+2, catalog, info), entries); err != nil {
		return nil, err
	}
	fmt.Fprintf(&out, "startxref\n%d\n%%%%EOF\n", at)
	return out.Bytes(), nil
}

// entrySize is the length of an entry of a cross-reference stream: its kind and
// two numbers.
const entrySize = 1 + 4 + 4

func entry(to []byte, kind byte, a, b int) []byte {
	to = binary.BigEndian.AppendUint32(append(to, kind), uint32(a))
	return binary.BigEndian.AppendUint32(to, uint32(b))
}

// stream writes a compressed stream as an object.
func stream(to *bytes.Buffer, number int, keys string, content []byte) error {
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write(content); err != nil {
		return err
	}
	if err := z.Close(); err != nil {
		return err
	}
	fmt.Fprintf(to, "%d 0 obj\n<<%s /Filter /FlateDecode /Length %d>>\nstream\n%s\nendstream\nendobj\n", number, keys, packed.Len(), packed.Bytes())
	return nil
}

// object is an object of the file with all that stands before the next.
type object struct {
	number, at int
	body       []byte
}

// objectList is the objects of a file; the first, which is free, is empty.
type objectList []object

// first returns where the first object begins.
func (o objectList) first() int {
	at := o[1].at
	for _, b := range o[1:] {
		at = min(at, b.at)
	}
	return at
}

// extend puts keys at the end of a dictionary.
func (o *object) extend(keys, end string) error {
	head, found := bytes.CutSuffix(o.body, []byte(end))
	if !found {
		return errUnlike
	}
	o.body = slices.Concat(head, []byte("\n"+keys+end))
	return nil
}

// split returns the objects of a file by their numbers, as its cross-reference
// table has them.
func split(file []byte, count, table int) (objectList, error) {
	head := fmt.Sprintf("xref\n0 %d\n0000000000 65535 f \n", count)
	if count < 2 || table >= len(file) || !bytes.HasPrefix(file[table:], []byte(head)) || len(file) < table+len(head)+20*(count-1) {
		return nil, fmt.Errorf("the cross-reference table: %w", errUnlike)
	}
	objects := make(objectList, count)
	places := []int{table}
	for i := 1; i < count; i++ {
		line := file[table+len(head)+20*(i-1):]
		at, err := strconv.Atoi(string(line[:10]))
		if err != nil || at >= table || !bytes.HasPrefix(file[at:], fmt.Appendf(nil, "%d 0 obj\n", i)) {
			return nil, fmt.Errorf("object %d: %w", i, errUnlike)
		}
		objects[i] = object{number: i, at: at}
		places = append(places, at)
	}
	slices.Sort(places)
	for i := 1; i < count; i++ {
		next, _ := slices.BinarySearch(places, objects[i].at+1)
		objects[i].body = file[objects[i].at:places[next]]
	}
	return objects, nil
}

// pagesOf returns the numbers of the pages from the object that lists them.
func pagesOf(list []byte) ([]int, error) {
	found := kids.FindSubmatch(list)
	if found == nil {
		return nil, fmt.Errorf("the list of pages: %w", errUnlike)
	}
	var pages []int
	for ref := range strings.SplitSeq(strings.TrimSuffix(string(found[1]), " 0 R "), " 0 R ") {
		if page, err := strconv.Atoi(ref); err == nil {
			pages = append(pages, page)
		}
	}
	return pages, nil
}

// elements returns the objects of the structure, the first with the number
// from: the root of the tree, the document, its elements, and for each page
// whose its marked content is.
func (t *tree) elements(from int, pages []int, size Size) []string {
	nodes := t.document.all()
	for i, n := range nodes {
		n.number = from + 1 + i
	}
	out := []string{""}
	for _, n := range nodes {
		parent := from
		if n.within != nil {
			parent = n.within.number
		}
		out = append(out, n.object(parent, pages, size))
	}
	var numbers strings.Builder
	for i, marked := range t.pages {
		if len(marked) == 0 {
			continue
		}
		fmt.Fprintf(&numbers, "%d %d 0 R ", i, from+len(out))
		var list strings.Builder
		for _, n := range marked {
			fmt.Fprintf(&list, "%d 0 R ", n.number)
		}
		out = append(out, "["+strings.TrimSuffix(list.String(), " ")+"]")
	}
	out[0] = fmt.Sprintf("<</Type/StructTreeRoot/K %d 0 R/ParentTree<</Nums[%s]>>/ParentTreeNextKey %d>>",
		from+1, strings.TrimSuffix(numbers.String(), " "), len(t.pages))
	return out
}

// object returns an element as it stands in the file.
func (n *node) object(parent int, pages []int, size Size) string {
	kind, keys := "Document", ""
	if n.of != nil {
		kind = n.of.kind()
		switch a := tags[n.of.tag].attributes; {
		case n.of.tag == tagFigure:
			const k = 1 / millimetres
			b := n.of.box
			keys = fmt.Sprintf("/Alt%s/A<</O/Layout/Placement/Block/BBox[%.2f %.2f %.2f %.2f]>>", textString(n.of.said),
				b.x*k, (size.Height-b.y-b.h)*k, (b.x+b.w)*k, (size.Height-b.y)*k)
		case n.of.tag == tagTurned:
			keys = "/ActualText" + textString(n.of.said)
		case a != "":
			keys = "/A<<" + a + ">>"
		}
	}
	page, list := -1, []string{}
	for _, k := range n.kids {
		switch {
		case k.node != nil:
			list = append(list, fmt.Sprintf("%d 0 R", k.node.number))
		case page < 0 || page == k.page:
			page = k.page
			list = append(list, strconv.Itoa(k.id))
		default:
			list = append(list, fmt.Sprintf("<</Type/MCR/Pg %d 0 R/MCID %d>>", pages[k.page], k.id))
		}
	}
	if page >= 0 {
		keys += fmt.Sprintf("/Pg %d 0 R", pages[page])
	}
	if len(list) > 0 {
		keys += "/K[" + strings.Join(list, " ") + "]"
	}
	return fmt.Sprintf("<</Type/StructElem/S/%s/P %d 0 R%s>>", kind, parent, keys)
}

// textString returns words as a text string of a PDF, in UTF-16: ISO 32000-1,
// 7.9.2.2.
func textString(words string) string {
	var b strings.Builder
	b.WriteString("<FEFF")
	for _, u := range utf16.Encode([]rune(words)) {
		fmt.Fprintf(&b, "%04X", u)
	}
	b.WriteString(">")
	return b.String()
}
