package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"net/http"
	"time"
)

//go:embed page/*.html
var pageFiles embed.FS

// pages is a template for each page, by its name.
type pages map[string]*template.Template

// pageNames are the pages; each has a file of its name that defines "main".
var pageNames = []string{"room", "instrument", "kinds", "write", "import", "owners", "owner", "refusal", "compare", "listen", "start", "round", "standard", "observers",
	"trial", "programmes", "programme", "regulate", "journey", "job", "papers", "workshop", "verify", "together"}

func parsePages() pages {
	shared := template.Must(template.New("").ParseFS(pageFiles, "page/frame.html", "page/fields.html", "page/figure.html", "page/tapping.html"))
	all := pages{}
	for _, name := range pageNames {
		all[name] = template.Must(template.Must(shared.Clone()).ParseFS(pageFiles, "page/"+name+".html"))
	}
	return all
}

// frame is what stands around every page.
type frame struct {
	Title    string
	Here     string // the place in the navigation
	Now      time.Time
	Demo     bool
	Assets   string // folder of the style sheet and the scripts
	Refresh  int    // s after which the page asks again; 0: never
	Doubt    bool   // the page shows ±
	Standing string // how well UTC is known
}

func (s *site) frame(title, here string) frame {
	return frame{Title: title, Here: here, Now: s.now().UTC(), Demo: s.demo, Assets: s.assets.Folder, Standing: s.workshop.Standard().Read().Standing()}
}

// Clock returns the time of day for the head of the page.
func (f frame) Clock() string { return f.Now.Format("15:04:05") }

// Instant returns the time in RFC 3339 for the script of the clock.
func (f frame) Instant() string { return f.Now.Format(time.RFC3339) }

// show answers with a page, whole or not at all.
func (s *site) show(w http.ResponseWriter, status int, name string, page any) {
	var b bytes.Buffer
	if err := s.pages[name].ExecuteTemplate(&b, "frame", page); err != nil {
		panic(fmt.Errorf("page %s: %w", name, err))
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, _ = w.Write(b.Bytes())
}

// see answers a form that was carried out by sending the reader to a page.
func see(w http.ResponseWriter, r *http.Request, to string) error {
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

func (s *site) asset(w http.ResponseWriter, r *http.Request) error {
	if !s.assets.Serve(w, r.PathValue("sum"), r.PathValue("name")) {
		return errNowhere
	}
	return nil
}
