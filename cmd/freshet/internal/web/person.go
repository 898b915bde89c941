package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
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

// personForm is somebody on the crew, or to be put on it, as typed.
type personForm struct {
	Key, Seen   string // of the spell on record; empty: a new one
	Name, Hours string
	Share       string // of paid hours that goes on jobs, in percent
	Cost        string // of a paid hour
	From, Until string
	Some        bool     // of the kinds of work alone
	Kinds       []choice // of work, those that he or she does chosen
	Wrong       string
	Was         []string // what a person's last change replaced
}

// newPerson is the form for somebody to be put on the crew.
func newPerson(ctx context.Context, db *store.Store) (f personForm, err error) {
	f.Hours = "40"
	f.Kinds, err = kindChoices(ctx, db, nil)
	return f, err
}

// kindChoices gives the shop's kinds of work, and whatever else is chosen.
func kindChoices(ctx context.Context, db *store.Store, chosen []string) (out []choice, err error) {
	kinds, err := db.Kinds(ctx)
	if err != nil {
		return nil, err
	}
	left := slices.Clone(chosen)
	for _, k := range kinds {
		if strings.TrimSpace(k.Name) == "" {
			continue
		}
		i := slices.Index(left, k.Name)
		out = append(out, choice{k.Name, k.Name, i >= 0})
		if i >= 0 {
			left = slices.Delete(left, i, i+1)
		}
	}
	slices.SortFunc(out, func(a, b choice) int { return strings.Compare(strings.ToLower(a.Words), strings.ToLower(b.Words)) })
	for _, word := range left {
		out = append(out, choice{word, word + " (not a kind of work in the records)", true})
	}
	return out, nil
}

// personFormOf fills the form with what is on record.
func personFormOf(ctx context.Context, db *store.Store, m store.CrewSpell) (f personForm, err error) {
	f = personForm{Key: m.Key, Seen: string(m.Version), Name: m.Name, Hours: number(ingest.Opt[float64]{V: m.WeeklyHours, Valid: true}), Share: percentText(m.Productivity),
		Cost: number(m.HourlyCost), From: dayText(m.From), Until: dayText(m.Until), Some: m.Skills != nil}
	if m.Before != nil {
		f.Was = changesOf(*m.Before, m.Person)
	}
	f.Kinds, err = kindChoices(ctx, db, m.Skills)
	return f, err
}

// percentText gives a share in percent, to a tenth.
func percentText(o ingest.Opt[float64]) string {
	if !o.Valid {
		return ""
	}
	return strconv.FormatFloat(float64(int(1000*o.V+.5))/10, 'f', -1, 64)
}

// changesOf says what a change makes of somebody on the crew.
func changesOf(from, to ingest.Person) []string {
	skills := func(p ingest.Person) string { return cmp.Or(strings.Join(p.Skills, ", "), "all kinds of work") }
	hours := func(p ingest.Person) string { return strconv.FormatFloat(p.WeeklyHours, 'f', -1, 64) }
	return unlike([][3]string{{"hours a week", hours(from), hours(to)}, {"can do", skills(from), skills(to)},
		{"percent of paid hours on jobs", percentText(from.Productivity), percentText(to.Productivity)}, {"pay an hour", number(from.HourlyCost), number(to.HourlyCost)},
		{"first day", dayWords(from.From), dayWords(to.From)}, {"last day", dayWords(from.Until), dayWords(to.Until)}})
}

// spellOf gives a spell of the crew, or says that it isn't there.
func spellOf(ctx context.Context, db *store.Store, key string) (store.CrewSpell, error) {
	m, ok, err := db.CrewSpell(ctx, key)
	if err == nil && !ok {
		err = problem{http.StatusNotFound, "This person isn't on the crew any more. Look at the list again."}
	}
	return m, err
}

// person shows somebody on the crew, to be changed.
func (s *Server) person(w http.ResponseWriter, r *http.Request) error {
	m, err := spellOf(r.Context(), s.shop(), r.FormValue("key"))
	if err != nil {
		return err
	}
	f, err := personFormOf(r.Context(), s.shop(), m)
	if err != nil {
		return err
	}
	return s.show(w, r, page{Template: "person", Title: f.Name, Data: f})
}

// readPerson reads the form. What is wrong with it stands in it.
func (s *Server) readPerson(r *http.Request, name string) (f personForm, p *ingest.Person, err error) {
	v := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	f = personForm{Key: r.PostFormValue("key"), Seen: v("seen"), Name: cmp.Or(name, v("name")), Hours: v("weekly_hours"), Share: v("productivity"), Cost: v("hourly_cost"),
		From: v("from"), Until: v("until"), Some: v("skills") == "some"}
	ticked := r.PostForm["skill"]
	if f.Kinds, err = kindChoices(r.Context(), s.Store, ticked); err != nil {
		return f, nil, err
	}
	skills := "all"
	if f.Some {
		skills = strings.Join(ticked, ";")
	}
	if f.Some && skills == "" {
		f.Wrong = "Tick the kinds of work that " + cmp.Or(f.Name, "this person") + " can do, or say: all kinds of work."
		return f, nil, nil
	}
	if f.Wrong = backwards(f.From, f.Until); f.Wrong != "" {
		return f, nil, nil
	}
	share := f.Share
	if n, err := strconv.ParseFloat(share, 64); err == nil && n > 1 {
		share += "%"
	}
	record, err := s.typed(r, ingest.Crew, [][2]string{{"name", f.Name}, {"weekly_hours", f.Hours}, {"productivity", share}, {"skills", skills},
		{"from", f.From}, {"until", f.Until}, {"hourly_cost", f.Cost}})
	if f.Wrong = mistyped(&err); f.Wrong != "" || err != nil {
		return f, nil, err
	}
	p = record.(*ingest.Person)
	f.Wrong, err = s.twice(r.Context(), p, f.Key)
	return f, p, err
}

// backwards says of two days as typed that the last is before the first.
func backwards(from, until string) string {
	f, err := forecast.ParseDate(from)
	u, wrong := forecast.ParseDate(until)
	if err != nil || wrong != nil || u >= f {
		return ""
	}
	return fmt.Sprintf("The last day, %s, is before the first, %s.", report.LongDay(u), report.LongDay(f))
}

// mistyped takes what a person typed wrong out of an error, to be said in the
// form.
func mistyped(err *error) string {
	var p problem
	if !errors.As(*err, &p) || p.status != http.StatusUnprocessableEntity {
		return ""
	}
	*err = nil
	return p.text
}

// twice says where somebody would be on the crew twice at one time: the hours
// would count double.
func (s *Server) twice(ctx context.Context, p *ingest.Person, own string) (string, error) {
	crew, err := s.Store.Crew(ctx)
	if err != nil {
		return "", err
	}
	const never = forecast.Date(1 << 30)
	until := func(p ingest.Person) forecast.Date {
		if p.Until.Valid {
			return p.Until.V
		}
		return never
	}
	for _, c := range crew {
		if ingest.Fold(c.Name) == ingest.Fold(p.Name) && c.Key() != own && p.From.V <= until(c) && c.From.V <= until(*p) {
			return fmt.Sprintf("%s is on the crew already%s. Change that, or give it a last day first.", c.Name, inWords(c)), nil
		}
	}
	return "", nil
}

// inWords says from when to when somebody is on the crew.
func inWords(p ingest.Person) (said string) {
	if p.From.Valid {
		said = " from " + report.LongDay(p.From.V)
	}
	if p.Until.Valid {
		said += " until " + report.LongDay(p.Until.V)
	}
	return said
}

// setPerson puts somebody on the crew, changes what is on record, takes the
// last such change back, or takes somebody off the crew or puts them back on.
func (s *Server) setPerson(w http.ResponseWriter, r *http.Request) error {
	ctx, key := r.Context(), r.PostFormValue("key")
	seen := store.Version(r.PostFormValue("seen"))
	step := r.PostFormValue("step")
	if step == "return" {
		gone, err := s.Store.OffCrew(ctx, mostTakenOut)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(gone, func(p ingest.Person) bool { return p.Key() == key })
		if i < 0 {
			return problem{http.StatusConflict, "The crew has changed since. Look at it again first."}
		}
		return s.keepPerson(w, r, key, nil, &gone[i], fmt.Sprintf("put %s back on the crew", gone[i].Name), "oncrew")
	}
	if key == "" {
		f, p, err := s.readPerson(r, "")
		if err != nil {
			return err
		}
		if f.Wrong != "" {
			return s.showPeople(w, r, offForm{}, f)
		}
		return s.keepPerson(w, r, p.Key(), &seen, p, fmt.Sprintf("put %s on the crew, %g hours a week", p.Name, p.WeeklyHours), "saved")
	}
	m, err := spellOf(ctx, s.Store, key)
	if err != nil {
		return err
	}
	switch step {
	case "leave":
		return s.keepPerson(w, r, key, &seen, nil, fmt.Sprintf("took %s off the crew", m.Name), "offcrew")
	case "before":
		if m.Before == nil {
			return problem{http.StatusConflict, "There is nothing to take back. Look at it again."}
		}
		return s.keepPerson(w, r, key, &seen, m.Before, fmt.Sprintf("changed %s on the crew: %s", m.Name, strings.Join(changesOf(m.Person, *m.Before), "; ")), "saved")
	}
	f, p, err := s.readPerson(r, m.Name)
	if err != nil {
		return err
	}
	changed := ""
	if f.Wrong == "" {
		if changed = strings.Join(changesOf(m.Person, *p), "; "); changed == "" {
			f.Wrong = "Nothing was changed: this is on record as you typed it."
		}
	}
	if f.Wrong != "" {
		return s.show(w, r, page{Template: "person", Title: f.Name, Data: f, Status: http.StatusUnprocessableEntity})
	}
	return s.keepPerson(w, r, key, &seen, p, fmt.Sprintf("changed %s on the crew: %s", m.Name, changed), "saved")
}

// keepPerson puts the record on record, nil for none, and says so.
func (s *Server) keepPerson(w http.ResponseWriter, r *http.Request, key string, seen *store.Version, p *ingest.Person, what, word string) error {
	var record ingest.Record
	name := "off the crew"
	if p != nil {
		record, name = p, p.Name+" on the crew"
	}
	if err := s.byHand(r, name, ingest.Crew, key, seen, record); err != nil {
		return err
	}
	if err := s.note(r, "%s", what); err != nil {
		return err
	}
	s.Anew()
	path := "/time-off"
	if r.PostFormValue("then") == "start" {
		path = "/"
	} else if r.PostFormValue("key") != "" && word == "saved" {
		http.Redirect(w, r, "/time-off/person?"+url.Values{"key": {p.Key()}, "said": {word}}.Encode(), http.StatusSeeOther)
		return nil
	}
	return s.back(w, r, path, word)
}
