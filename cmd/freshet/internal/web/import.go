package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
	"unicode"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/week"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

// handedIn is a file on its way in: it waits for a word on its columns, is
// being taken in, or has been.
type handedIn struct {
	id     string
	file   *os.File
	hand   store.HandIn
	at     time.Time
	rows   atomic.Int64
	stop   context.CancelFunc
	taking bool
	ended  bool
	taken  store.Taken
	err    error
}

// Limits on files on their way in.
const (
	mostHandedIn = 8
	handedInFor  = time.Hour
)

func (h *handedIn) drop() {
	if h.stop != nil {
		h.stop()
	}
	h.file.Close()
	os.Remove(h.file.Name())
}

// handIn keeps an uploaded file in the system's folder for such until it is
// taken in, and goes on to the page on its columns.
func (s *Server) handIn(w http.ResponseWriter, r *http.Request) error {
	up, header, err := r.FormFile("file")
	if err != nil {
		return problem{http.StatusBadRequest, "Choose a file first."}
	}
	defer up.Close()
	if header.Size == 0 {
		return problem{http.StatusBadRequest, "This file is empty."}
	}
	zone, err := (&desk.Desk{Store: s.Store}).Zone(r.Context())
	if err != nil {
		return err
	}
	f, err := os.CreateTemp("", "freshet-file-")
	if err != nil {
		return err
	}
	h := &handedIn{file: f, at: s.Now(), hand: store.HandIn{Name: plainName(header.Filename), File: f, Size: header.Size, Zone: zone}}
	if _, err := io.Copy(f, up); err != nil {
		h.drop()
		return err
	}
	var id [16]byte
	rand.Read(id[:])
	h.id = hex.EncodeToString(id[:])
	if !s.makeRoom(h) {
		h.drop()
		return problem{http.StatusTooManyRequests, "Too many files are on their way in. Finish or cancel one first."}
	}
	http.Redirect(w, r, "/import/"+h.id, http.StatusSeeOther)
	return nil
}

// makeRoom puts a file among those on their way in, unless these are too many.
// Files that nobody came back to for an hour go, and of those that are in
// already, whose pages still say so, the oldest.
func (s *Server) makeRoom(h *handedIn) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	var ended []*handedIn
	for id, old := range s.handedIn {
		switch {
		case s.Now().Sub(old.at) > handedInFor && (!old.taking || old.ended):
			old.drop()
			delete(s.handedIn, id)
		case old.ended:
			ended = append(ended, old)
		}
	}
	slices.SortFunc(ended, func(a, b *handedIn) int { return a.at.Compare(b.at) })
	for ; len(s.handedIn) >= mostHandedIn && len(ended) > 0; ended = ended[1:] {
		delete(s.handedIn, ended[0].id)
	}
	if len(s.handedIn) >= mostHandedIn {
		return false
	}
	s.handedIn[h.id] = h
	return true
}

// plainName gives a file's name without folders and what can't be printed.
func plainName(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	name = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, name)
	const most = 120
	if runes := []rune(name); len(runes) > most {
		name = string(runes[:most])
	}
	return cmp.Or(name, "file")
}

func (s *Server) handed(r *http.Request) (*handedIn, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	h, ok := s.handedIn[r.PathValue("id")]
	if !ok {
		return nil, problem{http.StatusNotFound, "This file isn't here any more. Choose it once again."}
	}
	return h, nil
}

// latestDay is the last day on which anything on record can have happened.
func (s *Server) latestDay(ctx context.Context) (forecast.Date, error) {
	today, err := s.today(ctx)
	return today + 1, err
}

// fieldWords say in plain words what a field holds; those without say it
// themselves.
var fieldWords = map[string]string{
	"ro_number": "Repair order number", "dropped_off": "Day dropped off", "kind": "Kind of job", "line": "Job line number",
	"unit": "Unit (the rig)", "quoted_hours": "Quoted hours", "clocked_hours": "Clocked hours", "billed_hours": "Billed hours",
	"parts_wait_days": "Days waiting for parts", "emergency": "Emergency (yes or no)", "deferrable": "Can wait (yes or no)",
	"comeback_of": "Comeback of order number", "promised": "Day promised", "ready": "Day ready", "picked_up": "Day picked up",
	"status": "Status", "note": "Note", "name": "Name", "weekly_hours": "Hours a week", "productivity": "Share of hours on jobs",
	"skills": "Job kinds they do", "from": "From", "until": "Until", "hourly_cost": "Cost an hour", "effect": "Effect",
}

type choice struct {
	Value, Words string
	Chosen       bool
}

// columnForm is one column of the file on the page.
type columnForm struct {
	ingest.Proposal
	N       int
	Choices []choice
}

// mapping shows what would become of a file, for a person to confirm; or how
// far it is; or what became of it.
func (s *Server) mapping(w http.ResponseWriter, r *http.Request) error {
	h, err := s.handed(r)
	if err != nil {
		return err
	}
	return s.showMapping(w, r, h, "")
}

func (s *Server) showMapping(w http.ResponseWriter, r *http.Request, h *handedIn, wrong string) error {
	s.mu.Lock()
	taking, ended, taken, failure := h.taking, h.ended, h.taken, h.err
	hand := h.hand
	s.mu.Unlock()
	data := struct {
		ID, Name, Wrong string
		Taking          bool
		Rows            int64
		Taken           *store.Taken
		Failure         string
		Preview         store.Preview
		Columns         []columnForm
		Kinds           []choice
	}{ID: h.id, Name: hand.Name, Wrong: wrong, Taking: taking && !ended, Rows: h.rows.Load()}
	switch {
	case ended && failure != nil:
		data.Failure = sayImport(failure)
	case ended:
		data.Taken = &taken
	case !taking:
		latest, err := s.latestDay(r.Context())
		if err != nil {
			return err
		}
		if data.Preview, err = s.Store.Preview(r.Context(), hand, latest); err != nil {
			data.Failure = sayImport(err)
			break
		}
		for i, c := range data.Preview.Columns {
			f := columnForm{Proposal: c, N: i, Choices: []choice{{ingest.Ignore, "Leave this column alone", c.Field == ""}}}
			for _, name := range data.Preview.Kind.Fields() {
				f.Choices = append(f.Choices, choice{name, cmp.Or(fieldWords[name], name), name == c.Field})
			}
			data.Columns = append(data.Columns, f)
		}
		for _, k := range ingest.RowKinds() {
			data.Kinds = append(data.Kinds, choice{string(k), kindWords[k], k == data.Preview.Kind})
		}
	}
	status := 0
	if wrong != "" {
		status = http.StatusUnprocessableEntity
	}
	return s.show(w, r, page{Template: "import", Title: "A file comes in", Data: data, Status: status})
}

var kindWords = map[ingest.RowKind]string{
	ingest.DropOffs: "Drop-offs or repair orders, a line a job", ingest.Crew: "The crew, a line a person",
	ingest.TimeOff: "Time off and closed days", ingest.Events: "Events, such as rallies and storms",
}

// sayImport says an import's failure to a person.
func sayImport(err error) string {
	if errors.Is(err, context.Canceled) {
		return "You stopped it. Nothing was changed."
	}
	return week.Plain(err)
}

// confirm takes a file in with the columns as the form says. With "again" it
// looks at the file anew as rows of another kind, or at another sheet.
func (s *Server) confirm(w http.ResponseWriter, r *http.Request) error {
	h, err := s.handed(r)
	if err != nil {
		return err
	}
	ctx := r.Context()
	latest, err := s.latestDay(ctx)
	if err != nil {
		return err
	}
	s.mu.Lock()
	if h.taking {
		s.mu.Unlock()
		http.Redirect(w, r, "/import/"+h.id, http.StatusSeeOther)
		return nil
	}
	hand := h.hand
	s.mu.Unlock()
	if r.PostFormValue("again") != "" {
		hand = store.HandIn{Name: hand.Name, File: hand.File, Size: hand.Size, Zone: hand.Zone, Sheet: r.PostFormValue("sheet")}
		if hand.As, err = ingest.ParseRowKind(r.PostFormValue("as")); err != nil {
			return problem{http.StatusBadRequest, "Say what the rows are."}
		}
		s.mu.Lock()
		h.hand = hand
		s.mu.Unlock()
		http.Redirect(w, r, "/import/"+h.id, http.StatusSeeOther)
		return nil
	}
	p, err := s.Store.Preview(ctx, hand, latest)
	if err != nil {
		return s.showMapping(w, r, h, sayImport(err))
	}
	hand.As, hand.Sheet, hand.Columns = p.Kind, p.Sheet, nil
	holds := map[string]string{}
	for i, c := range p.Columns {
		field := cmp.Or(r.PostFormValue("column."+strconv.Itoa(i)), ingest.Ignore)
		if other, twice := holds[field]; twice && field != ingest.Ignore {
			return s.showMapping(w, r, h, fmt.Sprintf("The columns %q and %q can't both be: %s.", other, c.Header, cmp.Or(fieldWords[field], field)))
		}
		holds[field] = c.Header
		hand.Columns = append(hand.Columns, ingest.Column{Header: c.Header, Field: field})
	}
	if d := r.PostFormValue("dates"); d != "" {
		if hand.Dates, err = ingest.ParseDateOrder(d); err != nil {
			return problem{http.StatusBadRequest, "Say which number of a date is the day."}
		}
	}
	// What is still missing or ambiguous is asked before anything is taken in.
	if p, err = s.Store.Preview(ctx, hand, latest); err != nil {
		return s.showMapping(w, r, h, sayImport(err))
	} else if !p.Ready {
		s.mu.Lock()
		h.hand = hand
		s.mu.Unlock()
		var need []string
		for _, m := range p.Missing {
			need = append(need, cmp.Or(fieldWords[m], m))
		}
		if len(need) > 0 {
			return s.showMapping(w, r, h, "Still needed: "+strings.Join(need, ", ")+". Say which column holds it.")
		}
		return s.showMapping(w, r, h, "Say below which number of a date is the day.")
	}
	who, err := s.who(r)
	if err != nil {
		return err
	}
	s.mu.Lock()
	if !h.taking {
		h.hand, h.taking = hand, true
		var taking context.Context
		taking, h.stop = context.WithCancel(context.WithoutCancel(ctx))
		go s.takeIn(taking, h, hand, latest, who)
	}
	s.mu.Unlock()
	http.Redirect(w, r, "/import/"+h.id, http.StatusSeeOther)
	return nil
}

// takeIn takes a file in, tells how far it is, and has the report made anew.
func (s *Server) takeIn(ctx context.Context, h *handedIn, hand store.HandIn, latest forecast.Date, who string) {
	taken, err := s.Store.TakeIn(ctx, hand, latest, s.Now(), func(n int) { h.rows.Store(int64(n)) })
	if err == nil {
		err = s.Store.Note(context.WithoutCancel(ctx), store.Change{At: s.Now(), Who: who,
			What: fmt.Sprintf("took in %s: %d added, %d updated, %d rejected", hand.Name, taken.Added, taken.Updated, taken.Rejected)})
		s.Anew()
	}
	h.drop() // may wait for the disk, which no page should
	s.mu.Lock()
	defer s.mu.Unlock()
	h.taken, h.err, h.ended = taken, err, true
}

func (s *Server) progress(w http.ResponseWriter, r *http.Request) error {
	h, err := s.handed(r)
	if err != nil {
		return err
	}
	s.mu.Lock()
	ended := h.ended
	s.mu.Unlock()
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if ended {
		w.Header().Set("HX-Refresh", "true")
	}
	fmt.Fprintf(w, "%d rows so far", h.rows.Load())
	return nil
}

// cancel stops a file on its way in; the database stays as it was.
func (s *Server) cancel(w http.ResponseWriter, r *http.Request) error {
	h, err := s.handed(r)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if h.taking {
		h.stop()
		http.Redirect(w, r, "/import/"+h.id, http.StatusSeeOther)
		return nil
	}
	h.drop()
	delete(s.handedIn, h.id)
	http.Redirect(w, r, "/records", http.StatusSeeOther)
	return nil
}
