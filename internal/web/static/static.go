// Package static is the style sheets, the scripts and the mark of the pages,
// served under the sum of their bytes so that a browser may keep them for good.
package static

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"path"
)

//go:embed *.css *.js *.svg
var embedded embed.FS

// Files are what the pages are served with.
type Files struct {
	Folder string // address under which they are served
	sum    string
	files  map[string][]byte
}

// mediaTypes are those of the files, which must not hang on the computer.
var mediaTypes = map[string]string{".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml"}

// Read returns the files of this program.
func Read() Files {
	f := Files{files: map[string][]byte{}}
	all := sha256.New()
	names, err := fs.Glob(embedded, "*")
	if err != nil {
		panic(err)
	}
	for _, name := range names {
		text, err := embedded.ReadFile(name)
		if err != nil {
			panic(err)
		}
		f.files[name] = text
		fmt.Fprintf(all, "%s %d\n%s", name, len(text), text)
	}
	f.sum = hex.EncodeToString(all.Sum(nil))[:16]
	f.Folder = "/static/" + f.sum
	return f
}

// Serve answers with the file of a name under a sum, or reports that there is
// none; nothing is written then.
func (f Files) Serve(w http.ResponseWriter, sum, name string) bool {
	text, ok := f.files[name]
	if !ok || sum != f.sum {
		return false
	}
	w.Header().Set("Content-Type", mediaTypes[path.Ext(name)])
	w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	_, _ = w.Write(text) // whoever asked has gone
	return true
}
