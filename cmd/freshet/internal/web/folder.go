package web

import (
	"net/http"
	"strings"

	"freshet/cmd/freshet/internal/week"
)

// setFolder keeps which folder is watched for new exports.
func (s *Server) setFolder(w http.ResponseWriter, r *http.Request) error {
	name := strings.Trim(r.PostFormValue("folder"), " \t\"")
	full, err := week.CheckFolder(name)
	if err != nil {
		return problem{http.StatusUnprocessableEntity, "This can't be watched: " + err.Error() + "."}
	}
	if err := s.Store.Set(r.Context(), week.SettingFolder, full); err != nil {
		return err
	}
	if err := s.note(r, "set the watched folder to %q", full); err != nil {
		return err
	}
	return s.back(w, r, "/settings", "saved")
}
