package web

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"time"
)

//go:embed page/*.html
var pageFiles embed.FS

//go:embed all:static
var staticFiles embed.FS

// pages is a template for each page, by its name.
type pages map[string]*template.Template

// pageNames are the pages; each has a file of its name that defines "main".
var pageNames = []string{"room", "instrument", "kinds", "write", "import", "owners", "owner", "refusal", "compare", "start", "round", "standard", "observers"}

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
	return frame{Title: title, Here: here, Now: s.now().UTC(), Demo: s.demo, Assets: s.assets.folder, Standing: s.workshop.Standard().Read().Standing()}
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

// assets are the style sheet, the scripts and the mark, served under the sum
// of their bytes so that a browser may keep them for good.
type assets struct {
	folder string
	files  map[string][]byte
	sum    string
}

func readAssets() assets {
	a := assets{files: map[string][]byte{}}
	all := sha256.New()
	names, err := fs.Glob(staticFiles, "static/*")
	if err != nil {
		panic(err)
	}
	for _, name := range names {
		text, err := staticFiles.ReadFile(name)
		if err != nil {
			panic(err)
		}
		a.files[path.Base(name)] = text
		fmt.Fprintf(all, "%s %d\n%s", name, len(text), text)
	}
	a.sum = hex.EncodeToString(all.Sum(nil))[:16]
	a.folder = "/static/" + a.sum
	return a
}

// mediaTypes are those of the assets, which must not hang on the computer.
var mediaTypes = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}

func (s *site) asset(w http.ResponseWriter, r *http.Request) error {
	text, ok := s.assets.files[r.PathValue("name")]
	if !ok || r.PathValue("sum") != s.assets.sum {
		return errNowhere
	}
	w.Header().Set("Content-Type", mediaTypes[path.Ext(r.PathValue("name"))])
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(text)
	return nil
}
