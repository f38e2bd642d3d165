package web

import (
	"net/http"
	"time"

	"timeball/internal/workshop"
)

// ShowRoom answers with the page of a room as it was found.
func ShowRoom(w http.ResponseWriter, room workshop.Room, now time.Time) {
	newSite(nil, func() time.Time { return now }, Options{Demo: true}).showRoom(w, room)
}
