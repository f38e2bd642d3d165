package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"
)

// mostJSON and mostBook bound a body, in bytes: an entry has a dozen fields of
// at most 20 kB, and ten years of daily comparisons make less than 1 MB.
const (
	mostJSON = 1 << 20
	mostBook = 32 << 20
)

// The types of body.
const (
	jsonType = "application/json"
	csvType  = "text/csv"
)

// bounded checks the type of the body and bounds its length.
func bounded(w http.ResponseWriter, r *http.Request, want string, most int64) error {
	media, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if charset := params["charset"]; err != nil || media != want || charset != "" && !strings.EqualFold(charset, "utf-8") {
		return fmt.Errorf("%w than %s in UTF-8; send it so and say it in Content-Type", errType, want)
	}
	if coding := r.Header.Get("Content-Encoding"); coding != "" && !strings.EqualFold(coding, "identity") {
		return fmt.Errorf("%w: Content-Encoding %.40q is not taken; send it plain", errType, coding)
	}
	if r.ContentLength > most {
		return &http.MaxBytesError{Limit: most}
	}
	r.Body = http.MaxBytesReader(w, r.Body, most)
	return nil
}

// decode reads the body, one JSON object, into what; a field that what does
// not have is refused.
func decode(w http.ResponseWriter, r *http.Request, what any) error {
	if err := bounded(w, r, jsonType, mostJSON); err != nil {
		return err
	}
	text, err := io.ReadAll(r.Body)
	if err != nil {
		return fmt.Errorf("%w: %w; send it again", errNotJSON, err)
	}
	if !utf8.Valid(text) {
		return fmt.Errorf("%w: it holds letters that are not UTF-8; write it in UTF-8", errNotJSON)
	}
	if text = bytes.TrimSpace(text); len(text) == 0 || text[0] != '{' {
		return fmt.Errorf("%w: it does not begin with {; send one JSON object", errNotJSON)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(what); err != nil {
		return fmt.Errorf("%w: %s; see %s/openapi.json for the fields", errNotJSON, whyNot(err), Root)
	}
	if _, err := d.Token(); err != io.EOF {
		return fmt.Errorf("%w: there is text after the object; send one JSON object", errNotJSON)
	}
	return nil
}

// whyNot says what is wrong with a JSON object.
func whyNot(err error) string {
	if wrong := new(json.UnmarshalTypeError); errors.As(err, &wrong) {
		return fmt.Sprintf("field %s cannot be a %s", wrong.Field, wrong.Value)
	}
	if wrong := new(json.SyntaxError); errors.As(err, &wrong) {
		return fmt.Sprintf("it is no JSON at byte %d: %s", wrong.Offset, wrong)
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// questions returns the parameters of the query; one that is not among those
// taken is refused, and only the list may be given more than once.
func questions(r *http.Request, list string, taken ...string) (url.Values, error) {
	q, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return nil, fmt.Errorf("%w: %w; write it percent-encoded", errQuestion, err)
	}
	for name, values := range q {
		switch {
		case name == list && list != "":
		case !slices.Contains(taken, name):
			return nil, fmt.Errorf("%w: parameter %.40q is not known here; %s", errQuestion, name, offered(list, taken))
		case len(values) > 1:
			return nil, fmt.Errorf("%w: parameter %s is given %d times; give it once", errQuestion, name, len(values))
		}
	}
	return q, nil
}

// offered says which parameters an address takes.
func offered(list string, taken []string) string {
	if list != "" {
		taken = append([]string{list}, taken...)
	}
	if len(taken) == 0 {
		return "this address takes none"
	}
	return "this address takes " + strings.Join(taken, ", ")
}
