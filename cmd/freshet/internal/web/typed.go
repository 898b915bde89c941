package web

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"net/http"
	"strings"

	"freshet/ingest"
	"freshet/ingest/store"
)

// typed reads what was typed in a form, by field, as a file's row is read: what
// doesn't do in a file doesn't do here.
func (s *Server) typed(r *http.Request, kind ingest.RowKind, fields [][2]string) (ingest.Record, error) {
	var b bytes.Buffer
	names, row := make([]string, len(fields)), make([]string, len(fields))
	for i, f := range fields {
		names[i], row[i] = f[0], strings.TrimSpace(f[1])
	}
	out := csv.NewWriter(&b)
	out.Write(names)
	out.Write(row)
	out.Flush()
	latest, err := s.latestDay(r.Context())
	if err != nil {
		return nil, err
	}
	refuse := func(why string) error {
		return problem{http.StatusUnprocessableEntity, "That could not be taken: " + why}
	}
	sheet, err := ingest.OpenText("form", &b, ingest.Text{Delimiter: ','})
	if err != nil {
		return nil, refuse(sayImport(err))
	}
	rows, err := sheet.Read(ingest.Propose(sheet.Headers, sheet.Sample, kind), latest)
	if err != nil {
		return nil, refuse(sayImport(err))
	}
	switch ok := rows.Next(); {
	case rows.Err() != nil:
		return nil, refuse(sayImport(rows.Err()))
	case !ok:
		return nil, refuse("nothing was typed.")
	}
	if e := rows.Reject(); e != nil {
		return nil, refuse(fmt.Sprintf("%s %q %s.", strings.ToLower(cmp.Or(fieldWords[e.Column], "this")), e.Value, e.Reason))
	}
	return rows.Record(), nil
}

// byHand puts a record on record by a person's word, or takes it out; see
// [store.Store.ByHand].
func (s *Server) byHand(r *http.Request, name string, kind ingest.RowKind, key string, seen *store.Version, record ingest.Record) error {
	_, err := s.Store.ByHand(r.Context(), name, kind, key, seen, record, s.Now())
	if errors.Is(err, store.ErrOther) || errors.Is(err, store.ErrThere) {
		return problem{http.StatusConflict, "This was changed meanwhile. Look at it again first."}
	}
	return err
}
