package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
	"freshet/cmd/freshet/internal/week"
	"freshet/cmd/freshet/internal/weekly"
	"freshet/ingest/store"
	"freshet/report"
)

// shopForm is the shop as its form shows it.
type shopForm struct {
	Name, Zone, Bays string
	Days             []openDay
}

type openDay struct {
	Name  string
	Key   string
	Share float64 // of a usual day, 0: closed
}

func readShop(ctx context.Context, db *store.Store) (f shopForm, err error) {
	var week string
	for _, x := range []struct {
		name, usual string
		into        *string
	}{{desk.SettingName, "", &f.Name}, {desk.SettingZone, "", &f.Zone}, {desk.SettingBays, "0", &f.Bays}, {desk.SettingOpen, desk.UsualWeek, &week}} {
		if *x.into, err = db.Setting(ctx, x.name, x.usual); err != nil {
			return f, err
		}
	}
	shares, err := desk.ParseWeek(week)
	if err != nil {
		return f, err
	}
	for i := range 7 {
		d := time.Weekday((i + 1) % 7) // weeks begin on Monday
		f.Days = append(f.Days, openDay{d.String(), strings.ToLower(d.String()[:3]), shares[d]})
	}
	return f, nil
}

// mailForm is one of the letter's settings as its form shows it.
type mailForm struct {
	fieldText
	Name, Value string
	Choices     []choice // where it is one of these
}

func (s *Server) settings(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	db := s.shop()
	data := struct {
		shopForm
		Limits         []limitGroup
		Mail           []mailForm
		Attach         string // the attachment's words
		Attached       bool
		WeekDays       []choice // of the week, on which the letter is due
		At             string   // HH:MM
		Odd            bool     // the schedule is more than a day and a time
		Owner, Counter bool     // have a passphrase
		Network        bool
		Hosts          string
		Backup         string // how old the last good one is
		Database       string
		Folder         string // that is watched for exports
		Changes        []store.Change
		Least          int
	}{Database: db.Path(), Least: leastCharacters}
	var err error
	if data.shopForm, err = readShop(ctx, db); err != nil {
		return err
	}
	if data.Folder, err = db.Setting(ctx, week.SettingFolder, ""); err != nil {
		return err
	}
	policy, set, err := (&desk.Desk{Store: db}).Policy(ctx)
	if err != nil {
		return err
	}
	data.Limits = limitFields(func(l desk.Limit) (string, bool) { return l.Text(policy), set[l.Name] })
	for _, m := range post.Settings {
		v, err := db.Setting(ctx, m.Key(), m.Usual)
		if err != nil {
			return err
		}
		f := mailForm{fieldText: mailTexts[m.Name], Name: m.Name, Value: v}
		switch m.Name {
		case "attach":
			data.Attach, data.Attached = f.Label, v == "yes"
			continue
		case "security":
			for _, c := range secrecies {
				c.Chosen = c.Value == v
				f.Choices = append(f.Choices, c)
			}
		}
		data.Mail = append(data.Mail, f)
	}
	text, err := db.Setting(ctx, post.SettingSchedule, weekly.Usual)
	if err != nil {
		return err
	}
	due, ok := weekly.ReadSlot(text)
	data.Odd, data.At = !ok, due.Time
	for i := range 7 {
		d := time.Weekday((i + 1) % 7)
		data.WeekDays = append(data.WeekDays, choice{strconv.Itoa(int(d)), d.String(), ok && int(d) == due.Day})
	}
	for as, has := range map[role]*bool{owner: &data.Owner, counter: &data.Counter} {
		hash, _, err := s.Store.Passphrase(ctx, as.String())
		if err != nil {
			return err
		}
		*has = hash != ""
	}
	on, err := s.Store.Setting(ctx, SettingNetwork, "")
	if err != nil {
		return err
	}
	data.Network = on != ""
	if data.Hosts, err = s.Store.Setting(ctx, settingHosts, ""); err != nil {
		return err
	}
	at, err := db.Setting(ctx, store.SettingBackup, "")
	if err != nil {
		return err
	}
	if t, err := time.Parse(time.RFC3339, at); err == nil {
		data.Backup = age(s.Now().Sub(t))
	}
	if data.Changes, err = s.Store.Changes(ctx, 30); err != nil {
		return err
	}
	return s.show(w, r, page{Template: "settings", Title: "Settings", Data: data})
}

// age says a span as people do.
func age(d time.Duration) string {
	switch hours := math.Floor(d.Hours()); {
	case hours < 1:
		return "less than an hour"
	case hours < 48:
		return report.Count(hours, "hour")
	default:
		return report.Count(math.Floor(hours/24), "day")
	}
}

// setShop keeps the shop's name, time zone, week and bays.
func (s *Server) setShop(w http.ResponseWriter, r *http.Request) error {
	f := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	name, zone, bays := f("name"), f("zone"), f("bays")
	if bays == "" {
		bays = "0"
	}
	if _, err := time.LoadLocation(zone); err != nil || zone == "" {
		return problem{http.StatusUnprocessableEntity, fmt.Sprintf("%q is no time zone that is known here. Choose one from the list, such as America/Denver.", zone)}
	}
	if _, err := desk.ParseBays(bays); err != nil {
		return problem{http.StatusUnprocessableEntity, "Bays: " + err.Error() + "."}
	}
	var days []string
	for i := range 7 {
		key := strings.ToLower(time.Weekday((i + 1) % 7).String()[:3])
		switch v := f("open." + key); v {
		case "", "0":
		case "1":
			days = append(days, key)
		default:
			days = append(days, key+"="+v)
		}
	}
	week := strings.Join(days, " ")
	if _, err := desk.ParseWeek(week); err != nil {
		return problem{http.StatusUnprocessableEntity, "The shop has to be open on at least one day."}
	}
	for _, kv := range [][2]string{{desk.SettingName, name}, {desk.SettingZone, zone}, {desk.SettingBays, bays}, {desk.SettingOpen, week}} {
		if err := s.Store.Set(r.Context(), kv[0], kv[1]); err != nil {
			return err
		}
	}
	if err := s.note(r, "set the shop: %s, %s, open %s, bays %s", name, zone, week, bays); err != nil {
		return err
	}
	s.Anew()
	if f("then") == "start" {
		return s.back(w, r, "/", "saved")
	}
	return s.back(w, r, "/settings", "saved")
}

// setLimits keeps the owner's costs and limits that were changed, once all are
// seen to be good.
func (s *Server) setLimits(w http.ResponseWriter, r *http.Request) error {
	d := &desk.Desk{Store: s.Store}
	policy, _, err := d.Policy(r.Context())
	if err != nil {
		return err
	}
	type value struct {
		of   desk.Limit
		v    float64
		text string
	}
	var changed []value
	for _, l := range desk.Limits() {
		text := strings.TrimSpace(r.PostFormValue(l.Name))
		if text == "" {
			continue
		}
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || l.Check(v) != nil {
			return problem{http.StatusUnprocessableEntity, fmt.Sprintf("%s: need %s %s, have %q.", limitTexts[l.Name].Label, l.Needs(), limitTexts[l.Name].Unit, text)}
		}
		if v != l.Of(policy) {
			changed = append(changed, value{l, v, text})
		}
	}
	for _, c := range changed {
		if err := d.SetLimit(r.Context(), c.of, c.v); err != nil {
			return err
		}
		if err := s.note(r, "set “%s” to %s %s", limitTexts[c.of.Name].Label, c.text, limitTexts[c.of.Name].Unit); err != nil {
			return err
		}
	}
	s.Anew()
	return s.back(w, r, "/settings", "saved")
}

// setMail keeps when the letter is due, where it goes and by which server.
func (s *Server) setMail(w http.ResponseWriter, r *http.Request) error {
	f := func(name string) string { return strings.TrimSpace(r.PostFormValue(name)) }
	type value struct{ key, usual, label, text string }
	var all []value
	if f("day") != "" { // else the schedule stays as it is
		day, err := strconv.Atoi(f("day"))
		text := weekly.Slot{Day: day, Time: f("time")}.Schedule()
		if _, wrong := weekly.Parse(text); err != nil || wrong != nil || text == "" {
			return problem{http.StatusUnprocessableEntity, "Say on which day of the week, and at what time, the letter is due."}
		}
		all = append(all, value{post.SettingSchedule, weekly.Usual, "when the letter is due", text})
	}
	for _, m := range post.Settings {
		text := f(m.Name)
		if m.Name == "attach" && text == "" {
			text = "no"
		}
		have, err := s.Store.Setting(r.Context(), m.Key(), m.Usual)
		if err != nil {
			return err
		}
		if text == have {
			continue
		}
		if text, err = m.Kept(text); err != nil {
			return problem{http.StatusUnprocessableEntity, mailTexts[m.Name].Label + ": " + strings.TrimPrefix(err.Error(), "--"+m.Name+": ") + "."}
		}
		all = append(all, value{m.Key(), m.Usual, "the letter's “" + mailTexts[m.Name].Label + "”", text})
	}
	since, err := s.Store.Setting(r.Context(), post.SettingSince, "")
	if err != nil {
		return err
	}
	if since == "" {
		if err := s.Store.Set(r.Context(), post.SettingSince, s.Now().UTC().Format(time.RFC3339)); err != nil {
			return err
		}
	}
	for _, v := range all {
		have, err := s.Store.Setting(r.Context(), v.key, v.usual)
		if err != nil {
			return err
		}
		if v.text == have {
			continue
		}
		if err := s.Store.Set(r.Context(), v.key, v.text); err != nil {
			return err
		}
		said := v.text
		if due, ok := weekly.ReadSlot(v.text); ok && v.key == post.SettingSchedule {
			said = due.String()
		}
		if err := s.note(r, "set %s to %s", v.label, cmp.Or(said, "nothing")); err != nil {
			return err
		}
	}
	return s.back(w, r, "/settings", "saved")
}

func (s *Server) testMail(w http.ResponseWriter, r *http.Request) error {
	switch err := s.Test(r.Context()); {
	case errors.Is(err, post.ErrNotSet):
		return problem{http.StatusUnprocessableEntity, "Say and save first where the letter goes, whom it comes from, and by which mail server."}
	case errors.Is(err, post.ErrNoPassword):
		return problem{http.StatusUnprocessableEntity, "The mail server wants a password: say and save first which file it stands in."}
	case err != nil:
		return problem{http.StatusBadGateway, "The test letter did not go out: " + week.Plain(err) + "."}
	}
	return s.back(w, r, "/settings", "mailed")
}
