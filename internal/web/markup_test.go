package web_test

import (
	"encoding/xml"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
)

// element is a piece of a page; text is an element without a name.
type element struct {
	name  string
	attrs map[string]string
	text  string
	under []*element
}

// parsed reads a page; every element but the void ones must be closed.
func parsed(t testing.TB, page string) *element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	root := &element{}
	open := []*element{root}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("the page cannot be read: %v\n%.2000s", err, page)
		}
		top := open[len(open)-1]
		switch x := token.(type) {
		case xml.StartElement:
			e := &element{name: x.Name.Local, attrs: map[string]string{}}
			for _, a := range x.Attr {
				e.attrs[a.Name.Local] = a.Value
			}
			top.under = append(top.under, e)
			open = append(open, e)
		case xml.EndElement:
			if x.Name.Local != top.name {
				t.Fatalf("</%s> closes <%s>", x.Name.Local, top.name)
			}
			open = open[:len(open)-1]
		case xml.CharData:
			top.under = append(top.under, &element{text: string(x)})
		}
	}
	return root
}

// words returns the text of e, with single blanks.
func (e *element) words() string { return strings.Join(strings.Fields(e.raw()), " ") }

func (e *element) raw() string {
	text := e.text
	for _, u := range e.under {
		text += u.raw()
	}
	return text
}

// all returns the elements that match a selector of names, #ids, .classes and
// [attribute=value], with blanks between one and what is under it.
func (e *element) all(selector string) []*element {
	first, rest, more := strings.Cut(selector, " ")
	var found []*element
	for _, u := range e.under {
		if u.matches(first) {
			if !more {
				found = append(found, u)
			} else {
				found = append(found, u.all(rest)...)
			}
		}
		for _, deeper := range u.all(selector) {
			if !slices.Contains(found, deeper) {
				found = append(found, deeper)
			}
		}
	}
	return found
}

func (e *element) one(t testing.TB, selector string) *element {
	t.Helper()
	found := e.all(selector)
	if len(found) != 1 {
		t.Fatalf("%d elements match %q, want one", len(found), selector)
	}
	return found[0]
}

func (e *element) matches(part string) bool {
	if e.name == "" {
		return false
	}
	if before, attr, ok := strings.Cut(part, "["); ok {
		name, want, valued := strings.Cut(strings.TrimSuffix(attr, "]"), "=")
		got, has := e.attrs[name]
		if !has || valued && got != want {
			return false
		}
		part = before
	}
	if before, id, ok := strings.Cut(part, "#"); ok {
		if e.attrs["id"] != id {
			return false
		}
		part = before
	}
	name, classes, _ := strings.Cut(part, ".")
	if name != "" && name != e.name {
		return false
	}
	for class := range strings.SplitSeq(classes, ".") {
		if class != "" && !slices.Contains(strings.Fields(e.attrs["class"]), class) {
			return false
		}
	}
	return true
}
