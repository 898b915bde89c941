package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/http"
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
	"freshet/report"
)

// handIn keeps an uploaded file until it is taken in, and goes on to the page on
// its columns.
func (s *Server) handIn(w http.ResponseWriter, r *http.Request) error {
	up, header, err := r.FormFile("file")
	if err != nil {
		return problem{http.StatusBadRequest, "Choose a file first."}
	}
	defer up.Close()
	if header.Size == 0 {
		return problem{http.StatusBadRequest, "This file is empty."}
	}
	if most := s.arrivals.most(); header.Size > most {
		return problem{http.StatusRequestEntityTooLarge, fmt.Sprintf("This file has %d MB, and the pages take %d. Take its newest years alone, or ask whoever runs freshet here to import it.", (header.Size+1<<20-1)>>20, most>>20)}
	}
	a := arrival{ID: newID(), Name: plainName(header.Filename), At: s.Now()}
	if ok, err := s.arrivals.add(r.Context(), a, up); err != nil {
		return err
	} else if !ok {
		return problem{http.StatusTooManyRequests, "Too many files are on their way in. Finish or cancel one first."}
	}
	http.Redirect(w, r, "/import/"+a.ID, http.StatusSeeOther)
	return nil
}

// handed gives a file with what was said of it, to be closed.
func (s *Server) handed(ctx context.Context, a arrival, means meant) (store.HandIn, content, error) {
	zone, err := (&desk.Desk{Store: s.Store}).Zone(ctx)
	if err != nil {
		return store.HandIn{}, nil, err
	}
	file, size, err := s.arrivals.open(ctx, a.ID)
	return store.HandIn{Name: a.Name, File: file, Size: size, Zone: zone, As: means.As, Sheet: means.Sheet, Columns: means.Columns, Dates: means.Dates}, file, err
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
	a, err := s.arrivals.get(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	return s.showMapping(w, r, a, "")
}

func (s *Server) showMapping(w http.ResponseWriter, r *http.Request, a arrival, wrong string) error {
	data := struct {
		ID, Name, Wrong string
		Taking          bool
		Rows            int
		Taken           *account
		Failure         string
		Preview         store.Preview
		Columns         []columnForm
		Kinds           []choice
	}{ID: a.ID, Name: a.Name, Wrong: wrong, Taking: a.taking(s.Now()), Rows: int(a.Rows), Taken: a.Account, Failure: a.Failure}
	if !a.Ended && !data.Taking {
		latest, err := s.latestDay(r.Context())
		if err != nil {
			return err
		}
		hand, file, err := s.handed(r.Context(), a, a.Means)
		if err != nil {
			return err
		}
		defer file.Close()
		if data.Preview, err = s.Store.Preview(r.Context(), hand, latest); err != nil {
			data.Failure = sayImport(err)
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
	ctx := r.Context()
	a, err := s.arrivals.get(ctx, r.PathValue("id"))
	if err != nil {
		return err
	}
	latest, err := s.latestDay(ctx)
	if err != nil {
		return err
	}
	at := "/import/" + a.ID
	if a.Ended || a.taking(s.Now()) {
		http.Redirect(w, r, at, http.StatusSeeOther)
		return nil
	}
	if r.PostFormValue("again") != "" {
		means := meant{Sheet: r.PostFormValue("sheet")}
		if means.As, err = ingest.ParseRowKind(r.PostFormValue("as")); err != nil {
			return problem{http.StatusBadRequest, "Say what the rows are."}
		}
		if _, err := s.arrivals.change(ctx, a.ID, func(a *arrival) error { a.Means = means; return nil }); err != nil {
			return err
		}
		http.Redirect(w, r, at, http.StatusSeeOther)
		return nil
	}
	hand, file, err := s.handed(ctx, a, a.Means)
	if err != nil {
		return err
	}
	defer file.Close()
	p, err := s.Store.Preview(ctx, hand, latest)
	if err != nil {
		return s.showMapping(w, r, a, sayImport(err))
	}
	hand.As, hand.Sheet, hand.Columns = p.Kind, p.Sheet, nil
	holds := map[string]string{}
	for i, c := range p.Columns {
		field := cmp.Or(r.PostFormValue("column."+strconv.Itoa(i)), ingest.Ignore)
		if other, twice := holds[field]; twice && field != ingest.Ignore {
			return s.showMapping(w, r, a, fmt.Sprintf("The columns %q and %q can't both be: %s.", other, c.Header, cmp.Or(fieldWords[field], field)))
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
		return s.showMapping(w, r, a, sayImport(err))
	}
	means := meant{hand.As, hand.Sheet, hand.Columns, hand.Dates}
	if !p.Ready {
		if a, err = s.arrivals.change(ctx, a.ID, func(a *arrival) error { a.Means = means; return nil }); err != nil {
			return err
		}
		var need []string
		for _, m := range p.Missing {
			need = append(need, cmp.Or(fieldWords[m], m))
		}
		if len(need) > 0 {
			return s.showMapping(w, r, a, "Still needed: "+strings.Join(need, ", ")+". Say which column holds it.")
		}
		return s.showMapping(w, r, a, "Say below which number of a date is the day.")
	}
	who, err := s.who(r)
	if err != nil {
		return err
	}
	mine := false // not where somebody else was quicker
	if a, err = s.arrivals.change(ctx, a.ID, func(a *arrival) error {
		if mine = !a.Ended && !a.taking(s.Now()); mine {
			a.Means, a.Taking, a.Stop, a.Alive = means, true, false, s.Now()
		}
		return nil
	}); err != nil {
		return err
	}
	if mine {
		s.takings.Add(1)
		go s.takeIn(a, latest, who)
	}
	http.Redirect(w, r, at, http.StatusSeeOther)
	return nil
}

// tells is how often it is told how far a file is, and asked whether to stop.
const tells = 100 * time.Millisecond

// takeIn takes a file in, tells how far it is, and has the report made anew.
func (s *Server) takeIn(a arrival, latest forecast.Date, who string) {
	defer s.takings.Add(-1)
	ctx, stop := context.WithCancel(s.life)
	defer stop()
	var rows atomic.Int64
	told := make(chan struct{})
	go func() {
		defer close(told)
		for every := time.NewTicker(tells); ; {
			select {
			case <-ctx.Done():
				return
			case <-every.C:
			}
			now, err := s.arrivals.change(ctx, a.ID, func(a *arrival) error {
				a.Rows, a.Alive = rows.Load(), s.Now()
				return nil
			})
			if errors.As(err, new(problem)) || now.Stop {
				stop()
			}
		}
	}()
	taken, err := s.takenIn(ctx, a, latest, who, &rows)
	stop()
	<-told
	if s.life.Err() != nil && err != nil {
		return // this process ends: another may be asked
	}
	if _, err := s.arrivals.change(context.WithoutCancel(ctx), a.ID, func(a *arrival) error {
		a.Rows, a.Ended = rows.Load(), true
		if err != nil {
			a.Failure = sayImport(err)
		} else {
			a.Account = accountOf(taken)
		}
		return nil
	}); err != nil {
		s.Log.Error("what became of a file can't be kept", "error", fmt.Sprintf("%T", err))
	}
}

func (s *Server) takenIn(ctx context.Context, a arrival, latest forecast.Date, who string, rows *atomic.Int64) (store.Taken, error) {
	hand, file, err := s.handed(ctx, a, a.Means)
	if err != nil {
		return store.Taken{}, err
	}
	defer file.Close()
	taken, err := s.Store.TakeIn(ctx, hand, latest, s.Now(), func(n int) { rows.Store(int64(n)) })
	if err != nil {
		return taken, err
	}
	err = s.Store.Note(context.WithoutCancel(ctx), store.Change{At: s.Now(), Who: who,
		What: fmt.Sprintf("took in %s: %d added, %d updated, %d rejected", hand.Name, taken.Added, taken.Updated, taken.Rejected)})
	s.Anew()
	return taken, err
}

func (s *Server) progress(w http.ResponseWriter, r *http.Request) error {
	a, err := s.arrivals.get(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	if !a.taking(s.Now()) {
		w.Header().Set("HX-Refresh", "true")
	}
	fmt.Fprint(w, report.Count(float64(a.Rows), "row"), " so far")
	return nil
}

// cancel stops a file on its way in; the database stays as it was.
func (s *Server) cancel(w http.ResponseWriter, r *http.Request) error {
	ctx, id := r.Context(), r.PathValue("id")
	a, err := s.arrivals.change(ctx, id, func(a *arrival) error { a.Stop = true; return nil })
	if err != nil {
		return err
	}
	if a.Ended || a.taking(s.Now()) {
		http.Redirect(w, r, "/import/"+id, http.StatusSeeOther)
		return nil
	}
	if err := s.arrivals.remove(ctx, id); err != nil {
		return err
	}
	http.Redirect(w, r, "/records", http.StatusSeeOther)
	return nil
}
