package web

import (
	"errors"
	"net/http"
	"strconv"

	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"
)

// sentLetter is a letter as the page shows it.
type sentLetter struct {
	store.Letter
	Stands  string // in words
	Trouble bool   // a person should look at it
}

// stands says how it is with a letter.
func stands(l store.Letter) sentLetter {
	v := sentLetter{Letter: l}
	switch l.State {
	case store.Waiting:
		v.Stands = "waits to be sent"
		if l.Said != "" {
			v.Stands, v.Trouble = "will be tried again: "+l.Said, true
		}
		if l.Copies > 0 {
			v.Stands = "may have arrived, and goes out once more: " + l.Said
		}
	case store.Claimed, store.Sending:
		v.Stands = "is being sent"
	case store.Sent:
		v.Stands = "was taken by the mail server"
		if l.Copies > 1 {
			v.Stands = "was taken by the mail server, and may have arrived twice"
		}
	case store.Unknown:
		v.Stands, v.Trouble = "may have arrived, twice even: "+l.Said, true
	case store.Refused:
		v.Stands, v.Trouble = "was refused for good: "+l.Said, true
	case store.Skipped:
		v.Stands = "was not sent: a newer one took its place"
	}
	return v
}

// letters gives the newest letters, and whether letters are paused.
func (s *Server) letters(r *http.Request) (out []sentLetter, paused bool, err error) {
	const most = 20
	all, err := s.shop().Letters(r.Context(), most)
	if err != nil {
		return nil, false, err
	}
	for _, l := range all {
		out = append(out, stands(l))
	}
	p, err := s.shop().Setting(r.Context(), week.SettingPaused, "")
	return out, p != "", err
}

// letterAgain has a letter go out once more.
func (s *Server) letterAgain(w http.ResponseWriter, r *http.Request) error {
	if paused, err := s.Store.Setting(r.Context(), week.SettingPaused, ""); err != nil {
		return err
	} else if paused != "" {
		return problem{http.StatusConflict, "Letters are paused. Send letters again first, then this one."}
	}
	id, err := strconv.ParseInt(r.PostFormValue("letter"), 10, 64)
	if err != nil {
		return problem{http.StatusBadRequest, "Say which letter."}
	}
	if err := s.Store.LetterAgain(r.Context(), id, s.Now()); errors.As(err, new(*store.NoLetter)) {
		return problem{http.StatusNotFound, "There is no such letter."}
	} else if err != nil {
		return err
	}
	if err := s.note(r, "sent letter %d once more", id); err != nil {
		return err
	}
	return s.back(w, r, "/report", "again")
}

// pauseLetters stops letters from going out, or lets them again.
func (s *Server) pauseLetters(w http.ResponseWriter, r *http.Request) error {
	paused, word, what := "yes", "paused", "paused the letters"
	if r.PostFormValue("paused") != "yes" {
		paused, word, what = "", "resume", "had letters sent again"
	}
	if err := s.Store.Set(r.Context(), week.SettingPaused, paused); err != nil {
		return err
	}
	if err := s.note(r, "%s", what); err != nil {
		return err
	}
	return s.back(w, r, "/report", word)
}
