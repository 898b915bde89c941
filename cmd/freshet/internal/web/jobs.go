package web

import (
	"cmp"
	"context"
	"fmt"
	"freshet/cmd/freshet/internal/desk"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/report"
)

// openFor is how far back an unfinished job still counts as open: older ones
// were most likely finished and never closed on paper.
const openFor = 365

// ages are the groups of open jobs.
var ages = []struct {
	upTo forecast.Date // days
	name string
}{{6, "Less than a week"}, {13, "1 to 2 weeks"}, {27, "2 to 4 weeks"}, {openFor, "4 weeks or more"}}

type aged struct {
	Name string
	Jobs []openJob
}

type openJob struct {
	store.Job
	Days   int
	Late   bool // its promised day has passed
	Likely *desk.Likely
	Slips  bool // it is likely to be ready later than promised
}

// jobs shows open work by age and by what it waits for.
func (s *Server) jobs(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	today, err := s.today(ctx)
	if err != nil {
		return err
	}
	open, err := s.shop().Open(ctx, today-openFor, today+1)
	if err != nil {
		return err
	}
	type waits struct {
		For   string
		Jobs  int
		Hours float64 // quoted
	}
	is, err := s.role(r)
	if err != nil {
		return err
	}
	data := struct {
		Groups []aged
		Waits  []waits
		Jobs   int
		Likely bool // it is known when they are likely to be ready
		Today  forecast.Date
		Owner  bool // may change a job
		Order  string
		Found  []store.Job // of the order that was looked for
		Out    []store.JobLine
	}{Jobs: len(open), Today: today, Owner: is == owner, Order: strings.TrimSpace(r.FormValue("order"))}
	if data.Owner {
		if data.Out, err = s.shop().JobsTakenOut(ctx, mostTakenOut); err != nil {
			return err
		}
	}
	if data.Order != "" && data.Owner {
		if data.Found, err = s.shop().Orders(ctx, data.Order); err != nil {
			return err
		}
	}
	likely, err := s.likely(ctx)
	if err != nil {
		return err
	}
	data.Likely = len(likely) > 0
	by := map[string]*waits{}
	for _, g := range ages {
		data.Groups = append(data.Groups, aged{Name: g.name})
	}
	for _, j := range open {
		days := today - j.DroppedOff
		i := slices.IndexFunc(ages, func(a struct {
			upTo forecast.Date
			name string
		}) bool {
			return days <= a.upTo
		})
		o := openJob{Job: j, Days: int(days), Late: j.Promised.Valid && j.Promised.V < today}
		if l, ok := likely[j.Key]; ok {
			o.Likely, o.Slips = &l, j.Promised.Valid && l.P80 > j.Promised.V
		}
		data.Groups[i].Jobs = append(data.Groups[i].Jobs, o)
		status := cmp.Or(strings.TrimSpace(j.Status), "not said")
		if by[status] == nil {
			by[status] = &waits{For: status}
		}
		by[status].Jobs++
		by[status].Hours += j.Quoted.V
	}
	for _, v := range by {
		data.Waits = append(data.Waits, *v)
	}
	slices.SortFunc(data.Waits, func(a, b waits) int { return cmp.Or(b.Jobs-a.Jobs, strings.Compare(a.For, b.For)) })
	slices.Reverse(data.Groups) // the oldest first: they are the ones to look at
	return s.show(w, r, page{Template: "jobs", Title: "Jobs", Data: data})
}

// likely says when the jobs in the shop are likely to be ready; nothing where
// the records can't tell.
func (s *Server) likely(ctx context.Context) (map[string]desk.Likely, error) {
	c, err := answer(ctx, s, askQuotes)
	if _, lacks := need(err); lacks {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	hour, err := s.hour(ctx)
	if err != nil {
		return nil, err
	}
	return c.Likely(hour)
}

// lineForm is a job line as its form shows it.
type lineForm struct {
	store.JobLine
	Likely                               *desk.Likely // while it is in the shop
	Today                                forecast.Date
	Kind, Quoted, Ready, Status, PartDue string
	Was                                  []string // what a person's last change replaced
	Kinds                                []string
}

// partDue gives the day that a job's part is due, or came.
func partDue(d ingest.DropOff) ingest.Opt[forecast.Date] {
	return ingest.Opt[forecast.Date]{V: d.DroppedOff + forecast.Date(d.PartsWaitDays.V), Valid: d.PartsWaitDays.Valid}
}

func number(o ingest.Opt[float64]) string {
	if !o.Valid {
		return ""
	}
	return strconv.FormatFloat(o.V, 'f', -1, 64)
}

// dayText writes a day as a date field has it, dayWords as people do; both
// nothing where there is none.
func dayText(o ingest.Opt[forecast.Date]) string {
	if !o.Valid {
		return ""
	}
	return o.V.String()
}

func dayWords(o ingest.Opt[forecast.Date]) string {
	if !o.Valid {
		return ""
	}
	return report.LongDay(o.V)
}

// differences says what a change makes of a job line.
func differences(from, to ingest.DropOff) []string {
	return unlike([][3]string{{"kind of job", from.Kind, to.Kind}, {"quoted hours", number(from.QuotedHours), number(to.QuotedHours)}, {"status", from.Status, to.Status},
		{"day ready", dayWords(from.Ready), dayWords(to.Ready)}, {"part due", dayWords(partDue(from)), dayWords(partDue(to))}})
}

// unlike says of things, each with what it was and what it becomes, which change
// and how.
func unlike(things [][3]string) (out []string) {
	for _, x := range things {
		if x[1] != x[2] {
			out = append(out, fmt.Sprintf("%s from %s to %s", x[0], cmp.Or(x[1], "nothing"), cmp.Or(x[2], "nothing")))
		}
	}
	return out
}

func lineOf(ctx context.Context, db *store.Store, key string) (store.JobLine, error) {
	l, ok, err := db.JobLine(ctx, key)
	if err == nil && !ok {
		err = problem{http.StatusNotFound, "This job isn't on record any more. Look at the list again."}
	}
	return l, err
}

// jobLine shows one job, to be changed.
func (s *Server) jobLine(w http.ResponseWriter, r *http.Request) error {
	l, err := lineOf(r.Context(), s.shop(), r.FormValue("key"))
	if err != nil {
		return err
	}
	data := lineForm{JobLine: l, Kind: l.Kind, Quoted: number(l.QuotedHours), Ready: dayText(l.Ready), Status: l.Status, PartDue: dayText(partDue(l.DropOff))}
	if data.Today, err = s.today(r.Context()); err != nil {
		return err
	}
	likely, err := s.likely(r.Context())
	if err != nil {
		return err
	}
	if by, ok := likely[l.Key]; ok {
		data.Likely = &by
	}
	if l.Before != nil {
		data.Was = differences(*l.Before, l.DropOff)
	}
	kinds, err := counted(r.Context(), s, "kinds", kindsOf)
	if err != nil {
		return err
	}
	for _, k := range kinds.Kinds {
		for _, word := range k.Words {
			if word.Word != "" {
				data.Kinds = append(data.Kinds, word.Word)
			}
		}
	}
	return s.show(w, r, page{Template: "jobline", Title: "Repair order " + l.RO, Data: data})
}

// setJobLine changes one job by the owner's word; takes the last such word
// back, which is a change too; takes a job out that never was; or puts it back.
func (s *Server) setJobLine(w http.ResponseWriter, r *http.Request) error {
	f := r.PostFormValue
	if f("step") == "in" {
		return s.putJobBack(w, r, f("key"))
	}
	l, err := lineOf(r.Context(), s.Store, f("key"))
	if err != nil {
		return err
	}
	seen := store.Version(f("seen"))
	if f("step") == "out" {
		return s.jobChanged(w, r, l, &seen, nil, "jobout", fmt.Sprintf("took repair order %s, %s, off the records", l.RO, cmp.Or(l.Kind, "kind not said")))
	}
	var to ingest.DropOff
	switch {
	case f("step") != "back":
		if to, err = s.changed(r, l.DropOff); err != nil {
			return err
		}
	case l.Before == nil:
		return problem{http.StatusConflict, "There is nothing to take back. Look at the job again."}
	default:
		to = *l.Before
	}
	what := differences(l.DropOff, to)
	if len(what) == 0 {
		return problem{http.StatusUnprocessableEntity, "Nothing was changed: the job is on record as you typed it."}
	}
	return s.jobChanged(w, r, l, &seen, &to, "saved", fmt.Sprintf("changed repair order %s: %s", l.RO, strings.Join(what, "; ")))
}

// putJobBack puts a job back that was taken out.
func (s *Server) putJobBack(w http.ResponseWriter, r *http.Request, key string) error {
	out, err := s.Store.JobsTakenOut(r.Context(), mostTakenOut)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(out, func(l store.JobLine) bool { return l.Key == key })
	if i < 0 {
		return problem{http.StatusConflict, "This job isn't among those taken out any more. Look at the list again."}
	}
	l := out[i]
	gone := store.Version("")
	return s.jobChanged(w, r, l, &gone, &l.DropOff, "jobin", "put repair order "+l.RO+" back on the records")
}

// jobChanged has a job say something else, or nothing if to is nil, and says so.
func (s *Server) jobChanged(w http.ResponseWriter, r *http.Request, l store.JobLine, seen *store.Version, to *ingest.DropOff, said, did string) error {
	var record ingest.Record
	if to != nil {
		record = to
	}
	if err := s.byHand(r, "repair order "+l.RO, ingest.DropOffs, l.Key, seen, record); err != nil {
		return err
	}
	if err := s.note(r, "%s", did); err != nil {
		return err
	}
	s.Anew()
	path := "/jobs?" + url.Values{"said": {said}}.Encode()
	if to != nil {
		path = "/jobs/line?" + url.Values{"key": {l.Key}, "said": {said}}.Encode()
	}
	http.Redirect(w, r, path, http.StatusSeeOther)
	return nil
}

// changed gives a job line as the form has it.
func (s *Server) changed(r *http.Request, d ingest.DropOff) (ingest.DropOff, error) {
	f := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	wait := number(d.PartsWaitDays)
	if due := f("part_due"); due != dayText(partDue(d)) {
		wait = ""
		if due != "" {
			day, err := forecast.ParseDate(due)
			if err != nil || day < d.DroppedOff {
				return d, problem{http.StatusUnprocessableEntity, "Part due: need a day on or after the drop-off on " + report.LongDay(d.DroppedOff) + "."}
			}
			wait = strconv.Itoa(int(day - d.DroppedOff))
		}
	}
	record, err := s.typed(r, ingest.DropOffs, [][2]string{{"ro_number", d.RO}, {"dropped_off", d.DroppedOff.String()},
		{"kind", f("kind")}, {"quoted_hours", f("quoted_hours")}, {"status", f("status")}, {"ready", f("ready")}, {"parts_wait_days", wait}})
	if err != nil {
		return d, err
	}
	to := record.(*ingest.DropOff)
	d.Kind, d.QuotedHours, d.Status, d.Ready, d.PartsWaitDays = to.Kind, to.QuotedHours, to.Status, to.Ready, to.PartsWaitDays
	return d, nil
}
