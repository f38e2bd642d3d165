package web

import (
	"net/http"
	"time"

	"timeball/internal/reference"
	"timeball/internal/workshop"
)

// ShowRoom answers with the page of a room as it was found.
func ShowRoom(w http.ResponseWriter, room workshop.Room, now time.Time) {
	tell := func() time.Time { return now }
	newSite(workshop.New(nil, reference.Plain(tell)), tell, Options{Demo: true}).showRoom(w, room)
}
