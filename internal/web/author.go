package web

import (
	"net/http"
	"net/url"
)

// authorCookie remembers who wrote last on this computer.
const authorCookie = "by"

// author returns who wrote last on this computer, or nothing.
func author(r *http.Request) string {
	c, err := r.Cookie(authorCookie)
	if err != nil {
		return ""
	}
	by, err := url.QueryUnescape(c.Value)
	if err != nil {
		return ""
	}
	return by
}

// remember keeps who wrote for a year.
func remember(w http.ResponseWriter, r *http.Request, by string) {
	http.SetCookie(w, &http.Cookie{
		Name: authorCookie, Value: url.QueryEscape(by), Path: "/", MaxAge: 365 * 24 * 3600,
		HttpOnly: true, SameSite: http.SameSiteLaxMode, Secure: r.TLS != nil,
	})
}
