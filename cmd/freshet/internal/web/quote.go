package web

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
)

// askQuotes is for what quotes are answered from.
var askQuotes = question[*desk.Counter]{"quotes", 1, false, func(ctx context.Context, d *desk.Desk, ask desk.Ask) (*desk.Counter, error) {
	return d.Counter(ctx, ask)
}}

// asked is the form of a quote, as it was sent.
type asked struct {
	Kind, Hours, Part, PartsDays, DropOff string
	Emergency, Held                       bool
}

func readAsked(r *http.Request) asked {
	return asked{Kind: r.FormValue("kind"), Hours: strings.TrimSpace(r.FormValue("hours")), Part: r.FormValue("part"),
		PartsDays: strings.TrimSpace(r.FormValue("parts_days")), Emergency: r.FormValue("emergency") != "",
		DropOff: r.FormValue("drop_off"), Held: r.FormValue("held") != ""}
}

// inquiry reads the form, put at an hour of the shop's clock, or says what is
// wrong with it.
func (a asked) inquiry(hour int) (desk.Inquiry, error) {
	q := desk.Inquiry{Kind: a.Kind, PartsDays: -1, Emergency: a.Emergency, Held: a.Held, Hour: hour}
	var err error
	if a.Hours != "" {
		if q.Hours, err = ingest.ParseHours(a.Hours); err != nil {
			return q, fmt.Errorf("hours: %w", err)
		}
	}
	switch a.Part {
	case "here":
		q.PartsDays = 0
	case "days":
		if q.PartsDays, err = strconv.ParseFloat(a.PartsDays, 64); err != nil || q.PartsDays < 0 {
			return q, fmt.Errorf("days until the part is there: need a number of 0 or more, have %q", a.PartsDays)
		}
	}
	if a.DropOff != "" {
		if q.DropOff, err = forecast.ParseDate(a.DropOff); err != nil {
			return q, fmt.Errorf("dropped off on: need a day, have %q", a.DropOff)
		}
	}
	return q, q.Check()
}

type quoteData struct {
	Asked  asked
	Kinds  []string
	Quote  *desk.Quote
	Wrong  string
	Recent []given
	None   string // why there are no quotes

	inquiry desk.Inquiry
	Today   forecast.Date
	Latest  forecast.Date // day that the rig may come
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
	if d.Today, err = s.today(r.Context()); err != nil {
		return d, err
	}
	d.Latest = d.Today + desk.Bookable
	if d.Asked.Kind == "" {
		return d, nil
	}
	hour, err := s.hour(r.Context())
	if err != nil {
		return d, err
	}
	d.inquiry, err = d.Asked.inquiry(hour)
	if err == nil {
		var v desk.Quote
		if v, err = c.Quote(d.inquiry); err == nil {
			d.Quote = &v
		}
	}
	if err != nil {
		d.Wrong = desk.Sentence(err)
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
	if d.Recent, err = outcomes(r.Context(), s.shop(), recent, d.Today); err != nil {
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
	kept := d.Quote.Kept(d.inquiry)
	kept.GivenAt, kept.RO = s.Now(), strings.TrimSpace(r.PostFormValue("ro"))
	if _, err := s.Store.KeepQuote(r.Context(), kept); err != nil {
		return err
	}
	return s.back(w, r, "/quote", "quoted")
}
