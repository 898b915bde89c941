package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"freshet/ingest/store"
)

// grouping is how a shop's words for jobs are grouped.
type grouping struct {
	Kinds       []store.Kind
	Suggestions []store.Suggestion
	Last        string // words of the last change, which can be taken back, or ""
}

// Apart tells whether some kind has words that can be counted apart.
func (g grouping) Apart() bool {
	return slices.ContainsFunc(g.Kinds, func(k store.Kind) bool { return len(k.Words) > 1 })
}

func kindsOf(ctx context.Context, db *store.Store) (g grouping, err error) {
	if g.Kinds, err = db.Kinds(ctx); err != nil {
		return g, err
	}
	if g.Suggestions, err = db.Suggest(ctx); err != nil {
		return g, err
	}
	last, _, err := db.LastKinds(ctx)
	g.Last = strings.Join(last.Words, ", ")
	return g, err
}

// kinds shows how the shop's words for jobs are grouped, and what may belong
// together.
func (s *Server) kinds(w http.ResponseWriter, r *http.Request) error {
	data, err := counted(r.Context(), s, "kinds", kindsOf)
	if err != nil {
		return err
	}
	return s.show(w, r, page{Template: "kinds", Title: "Kinds of jobs", Data: data})
}

// setKinds merges, renames or splits kinds, or takes the last such step back.
// The records keep the words that were imported.
func (s *Server) setKinds(w http.ResponseWriter, r *http.Request) error {
	ctx, kind, into := r.Context(), r.PostFormValue("kind"), strings.TrimSpace(r.PostFormValue("into"))
	all, err := s.Store.Kinds(ctx)
	if err != nil {
		return err
	}
	has := func(name string) bool {
		return slices.ContainsFunc(all, func(k store.Kind) bool { return k.Name == name })
	}
	step := r.PostFormValue("step")
	if step == "ticked" {
		return s.mergeTicked(w, r, has)
	}
	if step != "undo" && !has(kind) {
		return problem{http.StatusUnprocessableEntity, fmt.Sprintf("There is no kind %q. Look at the list again.", kind)}
	}
	var what string
	switch {
	case step == "join" && into == "":
		return problem{http.StatusUnprocessableEntity, "Type the kind that it should be called or counted with."}
	case step == "join" && into == kind:
		return problem{http.StatusUnprocessableEntity, "It is called that already."}
	case step == "join" && has(into):
		what, err = fmt.Sprintf("counted the kind %s with %s", kind, into), s.Store.Merge(ctx, []string{kind}, into, s.Now())
	case step == "join":
		what, err = fmt.Sprintf("renamed the kind %s to %s", kind, into), s.Store.Rename(ctx, kind, into, s.Now())
	case step == "split":
		what, err = fmt.Sprintf("counted the words of %s apart", kind), s.Store.Split(ctx, kind, s.Now())
	case step == "undo":
		var back store.KindStep
		if back, err = s.Store.UndoKinds(ctx, s.Now()); errors.Is(err, store.ErrNoKindsToUndo) {
			return problem{http.StatusConflict, "There is no change of kinds to take back."}
		}
		what = fmt.Sprintf("took a change of kinds back (%s)", strings.Join(back.Words, ", "))
	default:
		return problem{http.StatusBadRequest, "Say what to do with the kind."}
	}
	if err != nil {
		return err
	}
	if err := s.note(r, "%s", what); err != nil {
		return err
	}
	s.Anew()
	return s.back(w, r, "/kinds", "saved")
}

// mergeTicked counts each of the suggested pairs that were ticked as one, and
// leaves those whose kinds aren't there any more.
func (s *Server) mergeTicked(w http.ResponseWriter, r *http.Request, has func(string) bool) error {
	pairs := r.PostForm["pair"]
	if len(pairs) == 0 {
		return problem{http.StatusUnprocessableEntity, "Tick those that mean the same."}
	}
	gone := map[string]string{} // kinds by what they were put into
	for _, pair := range pairs {
		kind, into, _ := strings.Cut(pair, "\t")
		for gone[into] != "" {
			into = gone[into]
		}
		if !has(kind) || !has(into) || gone[kind] != "" || kind == into {
			continue
		}
		if err := s.Store.Merge(r.Context(), []string{kind}, into, s.Now()); err != nil {
			return err
		}
		gone[kind] = into
		if err := s.note(r, "counted the kind %s with %s", kind, into); err != nil {
			return err
		}
	}
	s.Anew()
	return s.back(w, r, "/kinds", "saved")
}
