package web

import (
	"encoding/json"
	"net/http"
	"strings"
)

// told is the answer to a form that a script has sent.
type told struct {
	OK       bool     `json:"ok"`
	Href     string   `json:"href,omitempty"`  // the page to go to
	Words    string   `json:"words,omitempty"` // what was written
	Problems []string `json:"problems,omitempty"`
}

// byScript reports whether a script asks, which is answered in JSON.
func byScript(r *http.Request) bool {
	return strings.HasPrefix(r.Header.Get("Accept"), "application/json")
}

// tell answers a script.
func tell(w http.ResponseWriter, status int, body any) error {
	text, err := json.Marshal(body)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write(append(text, '\n')) // whoever asked has gone
	return nil
}

// wrote answers a form that was carried out: a script with what was written, a
// reader with the page to go to.
func wrote(w http.ResponseWriter, r *http.Request, href, words string) error {
	if byScript(r) {
		return tell(w, http.StatusOK, told{OK: true, Href: href, Words: words})
	}
	return see(w, r, href)
}
