package web

import (
	"context"
	"database/sql"
	"net/http"
	"strconv"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/ingest/store"
)

// askQuotes is for what quotes are answered from.
var askQuotes = question[*desk.Counter]{"quotes", 1, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (*desk.Counter, error) {
	return d.Counter(ctx, ask)
}}

// asked is the form of a quote, as it was sent.
type asked struct {
	Kind, Hours, Part, PartsDays string
	Emergency                    bool
}

func readAsked(r *http.Request) asked {
	return asked{Kind: r.FormValue("kind"), Hours: strings.TrimSpace(r.FormValue("hours")), Part: r.FormValue("part"),
		PartsDays: strings.TrimSpace(r.FormValue("parts_days")), Emergency: r.FormValue("emergency") != ""}
}

// inquiry reads the form, or says what is wrong with it.
func (a asked) inquiry() (desk.Inquiry, error) {
	q := desk.Inquiry{Kind: a.Kind, PartsDays: -1, Emergency: a.Emergency}
	var err error
	if a.Hours != "" {
		if q.Hours, err = strconv.ParseFloat(strings.Replace(a.Hours, ",", ".", 1), 64); err != nil {
			return q, mistake("Hours: need a number such as 4 or 2.5.")
		}
	}
	switch a.Part {
	case "here":
		q.PartsDays = 0
	case "days":
		if q.PartsDays, err = strconv.ParseFloat(a.PartsDays, 64); err != nil || q.PartsDays < 0 {
			return q, mistake("Days until the part is there: need a number of 0 or more.")
		}
	}
	return q, q.Check()
}

// mistake is what somebody got wrong in a form, in the words that the page
// shows.
type mistake string

func (m mistake) Error() string { return string(m) }

type quoteData struct {
	Asked  asked
	Kinds  []string
	Quote  *desk.Quote
	Wrong  string
	Recent []given
	None   string // why there are no quotes
}

func (s *Server) quoteData(r *http.Request) (d quoteData, err error) {
	d.Asked = readAsked(r)
	c, err := answer(r.Context(), s, askQuotes)
	if said, ok := need(err); ok {
		d.None = said
		return d, nil
	}
	if err != nil {
		return d, err
	}
	d.Kinds = c.Kinds()
	if d.Asked.Kind == "" {
		return d, nil
	}
	q, err := d.Asked.inquiry()
	if err == nil {
		var v desk.Quote
		if v, err = c.Quote(q); err == nil {
			d.Quote = &v
		}
	}
	if err != nil {
		d.Wrong = err.Error()
	}
	return d, nil
}

// quote is the counter's page: a few fields, and the answer beside them.
func (s *Server) quote(w http.ResponseWriter, r *http.Request) error {
	d, err := s.quoteData(r)
	if err != nil {
		return err
	}
	const most = 12
	recent, err := s.shop().Quotes(r.Context(), most)
	if err != nil {
		return err
	}
	today, err := s.today(r.Context())
	if err != nil {
		return err
	}
	if d.Recent, err = outcomes(r.Context(), s.shop(), recent, today); err != nil {
		return err
	}
	return s.show(w, r, page{Template: "quote", Title: "Quote", Data: d})
}

// quoteAnswer is the answer alone, for while somebody types.
func (s *Server) quoteAnswer(w http.ResponseWriter, r *http.Request) error {
	d, err := s.quoteData(r)
	if err != nil {
		return err
	}
	return s.show(w, r, page{Template: "answer", Title: "Quote", Data: d})
}

// keepQuote keeps the quote that its reader saw.
func (s *Server) keepQuote(w http.ResponseWriter, r *http.Request) error {
	d, err := s.quoteData(r)
	if err != nil {
		return err
	}
	if d.Quote == nil {
		return problem{http.StatusBadRequest, "There is no quote to keep: " + d.Wrong}
	}
	q, err := d.Asked.inquiry()
	if err != nil {
		return problem{http.StatusBadRequest, err.Error()}
	}
	v := d.Quote
	if _, err := s.Store.KeepQuote(r.Context(), store.Quote{GivenAt: s.Now(), AsOf: v.AsOf, Kind: v.Kind, Hours: sql.Null[float64]{V: q.Hours, Valid: q.Hours > 0},
		PartsDays: sql.Null[float64]{V: q.PartsDays, Valid: q.PartsDays >= 0}, Emergency: q.Emergency,
		P50: v.Ready.P50, P80: v.Ready.P80, P90: v.Ready.P90, RO: strings.TrimSpace(r.PostFormValue("ro"))}); err != nil {
		return err
	}
	return s.back(w, r, "/quote", "quoted")
}

// madeOf says in plain words what days of a quote are for.
func madeOf(what string) string {
	switch what {
	case "queue":
		return "waiting in line"
	case "labor":
		return "the work itself"
	case "parts":
		return "waiting for parts"
	case "growth":
		return "work found once it is opened"
	}
	return what
}
