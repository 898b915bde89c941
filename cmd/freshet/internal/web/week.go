package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/report"
	"freshet/report/html"
)

// late is how many days without a record make an import late: a week, and the
// day on which it is usually done.
const late = 8

// thisWeek is the home page: what to know first, or, for a shop without
// records, the way to them.
func (s *Server) thisWeek(w http.ResponseWriter, r *http.Request) error {
	is, err := s.role(r)
	if err != nil {
		return err
	}
	rep, ok, err := s.latest(r.Context(), is)
	if err != nil {
		return err
	}
	if !ok {
		add, err := newPerson(r.Context(), s.shop())
		if err != nil {
			return err
		}
		return s.showStart(w, r, offForm{}, add)
	}
	data := struct {
		html.Page
		Owner   bool
		Late    int // days without a record, 0 if that is usual
		Reaches string
		Wrong   []store.Failure // steps of the week's work
	}{Page: rep, Owner: is == owner}
	if is == owner {
		if data.Wrong, err = s.shop().Failures(r.Context()); err != nil {
			return err
		}
	}
	if rep.DataUntil != nil {
		data.Reaches = report.LongDay(*rep.DataUntil)
		if today, err := s.today(r.Context()); err != nil {
			return err
		} else if days := int(today - *rep.DataUntil); days > late && !s.showsDemo() {
			data.Late = days
		}
	}
	return s.show(w, r, page{Template: "week", Title: "This week", Data: data, Charts: true})
}

// today gives the day in the shop's time zone.
func (s *Server) today(ctx context.Context) (forecast.Date, error) {
	return today(ctx, s.shop(), s.Now())
}

// hour gives the hour of the shop's clock.
func (s *Server) hour(ctx context.Context) (int, error) {
	if s.Pretends {
		return 0, nil // that day begins now
	}
	loc, err := (&desk.Desk{Store: s.shop()}).Zone(ctx)
	return s.Now().In(loc).Hour(), err
}

func today(ctx context.Context, db *store.Store, now time.Time) (forecast.Date, error) {
	loc, err := (&desk.Desk{Store: db}).Zone(ctx)
	if err != nil {
		return 0, err
	}
	return forecast.DateOf(now.In(loc)), nil
}

// showStart leads an empty shop to its first report, with what was typed.
func (s *Server) showStart(w http.ResponseWriter, r *http.Request, form offForm, add personForm) error {
	ctx := r.Context()
	db := s.shop()
	is, err := s.role(r)
	if err != nil {
		return err
	}
	data := struct {
		shopForm
		Owner, Named, Records, Busy, MakesDemo bool
		Crew                                   []ingest.Person
		Off                                    int
		NewOff                                 offForm
		Person                                 personForm
	}{NewOff: form, Person: add, Owner: is == owner, Busy: s.busy(), MakesDemo: s.makesDemo()}
	if data.shopForm, err = readShop(ctx, db); err != nil {
		return err
	}
	data.Named = data.Name != ""
	batches, err := db.Batches(ctx, 1000)
	if err != nil {
		return err
	}
	for _, b := range batches {
		data.Records = data.Records || b.Kind == ingest.DropOffs && b.Undone.IsZero()
	}
	if data.Crew, err = db.Crew(ctx); err != nil {
		return err
	}
	off, err := db.Absences(ctx)
	if err != nil {
		return err
	}
	data.Off = len(off)
	return s.show(w, r, page{Template: "start", Title: "Welcome", Data: data, Status: refused(form, add)})
}

// busy tells whether something is being made that a page waits for, or a file
// being taken in, after which it will be.
func (s *Server) busy() bool {
	if s.Working() || s.takings.Load() > 0 {
		return true
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.demo.making
}

// file gives the report as one file to keep or to pass on.
func (s *Server) file(w http.ResponseWriter, r *http.Request) error {
	rep, ok, err := s.latest(r.Context(), owner)
	if err != nil {
		return err
	}
	if !ok {
		return notFound
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", "weekly-report-"+rep.AsOf.String()+".html"))
	return html.Write(w, rep.Report)
}

// report shows the whole report as it will go out next, and the letters that
// went out.
func (s *Server) report(w http.ResponseWriter, r *http.Request) error {
	rep, ok, err := s.latest(r.Context(), owner)
	if err != nil {
		return err
	}
	data := struct {
		Known   bool
		Report  html.Page
		Letters []sentLetter
		Paused  bool
	}{Known: ok}
	if data.Letters, data.Paused, err = s.letters(r); err != nil {
		return err
	}
	data.Report = rep
	return s.show(w, r, page{Template: "letter", Title: "Report", Data: data, Charts: ok})
}
