package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
	"freshet/report"
)

// records lists the files taken in and the rows that could not be.
func (s *Server) records(w http.ResponseWriter, r *http.Request) error {
	const most = 50
	batches, err := s.shop().Batches(r.Context(), most)
	if err != nil {
		return err
	}
	rejects, err := s.shop().Rejects(r.Context(), most)
	if err != nil {
		return err
	}
	data := struct {
		Batches []store.Batch
		Rejects []store.Rejected
		Newest  *store.Batch // that stands: the one that undo takes back
		Folder  string       // that is watched
		Files   []store.FolderFile
		Wrong   []store.Failure
		Handed  []store.HandedFile // to the group's workers
	}{Batches: batches, Rejects: rejects}
	if data.Folder, err = s.shop().Setting(r.Context(), week.SettingFolder, ""); err != nil {
		return err
	}
	if data.Files, err = s.shop().FolderFiles(r.Context()); err != nil {
		return err
	}
	data.Files = data.Files[:min(most, len(data.Files))]
	if data.Wrong, err = s.shop().Failures(r.Context()); err != nil {
		return err
	}
	if s.group != nil {
		if data.Handed, err = s.group.Group.HandedFiles(r.Context(), s.name, most); err != nil {
			return err
		}
	}
	if i := slices.IndexFunc(batches, func(b store.Batch) bool { return b.Undone.IsZero() }); i >= 0 {
		data.Newest = &batches[i]
	}
	return s.show(w, r, page{Template: "records", Title: "Records", Data: data})
}

// undo takes back the newest file. The form says which one its reader saw, so
// that a file that came in meanwhile isn't hit in its place.
func (s *Server) undo(w http.ResponseWriter, r *http.Request) error {
	batches, err := s.Store.Batches(r.Context(), 1000)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(batches, func(b store.Batch) bool { return b.Undone.IsZero() })
	if i < 0 || strconv.FormatInt(batches[i].ID, 10) != r.PostFormValue("batch") {
		return problem{http.StatusConflict, "The list of files has changed since. Look at it again first."}
	}
	b, err := s.Store.Undo(r.Context(), s.Now())
	if errors.Is(err, store.ErrNothingToUndo) {
		return problem{http.StatusConflict, "There is nothing to take back."}
	}
	if err != nil {
		return err
	}
	if err := s.note(r, "took %s back out: %s", b.File, report.Count(float64(b.Added+b.Updated), "row")); err != nil {
		return err
	}
	s.Anew()
	return s.back(w, r, "/records", "undone")
}

// rejected gives a file's rejected rows, to mend and hand in again.
func (s *Server) rejected(w http.ResponseWriter, r *http.Request) error {
	batches, err := s.shop().Batches(r.Context(), 1000)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(batches, func(b store.Batch) bool {
		return strconv.FormatInt(b.ID, 10) == r.PathValue("batch") && b.Rejected > 0
	})
	if i < 0 {
		return notFound
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", fmt.Sprintf("rejected-%d.csv", batches[i].ID)))
	_, err = s.shop().ExportRejects(r.Context(), batches[i], w)
	return err
}
