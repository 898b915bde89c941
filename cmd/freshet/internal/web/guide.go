package web

import (
	"net/http"

	"freshet/report/guide"
)

// guide shows how to read the numbers, and where they come from.
func (s *Server) guide(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, page{Template: "guide", Title: "How to read this", Data: guide.All()})
}
