package web

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/ingest/store"
	"freshet/report"
)

// given is a quote that was given, and how it turned out.
type given struct {
	store.Quote
	Outcome string
	Late    bool
}

// outcomes sets quotes against the repair orders that they became.
func outcomes(ctx context.Context, db *store.Store, quotes []store.Quote, today forecast.Date) ([]given, error) {
	var numbers []string
	for _, q := range quotes {
		if q.RO != "" {
			numbers = append(numbers, q.RO)
		}
	}
	lines, err := db.Orders(ctx, numbers...)
	if err != nil {
		return nil, err
	}
	out := make([]given, len(quotes))
	for i, q := range quotes {
		out[i] = given{Quote: q}
		var ready forecast.Date // of the order's last line
		found, open := false, false
		for _, l := range lines {
			if l.RO == q.RO && q.RO != "" {
				found, open, ready = true, open || !l.Ready.Valid, max(ready, l.Ready.V)
			}
		}
		say := func(late forecast.Date, onTime, over string) {
			if out[i].Outcome = onTime; late > 0 {
				out[i].Outcome, out[i].Late = fmt.Sprintf(over, report.Count(float64(late), "day")), true
			}
		}
		switch {
		case q.RO == "":
			out[i].Outcome = "no repair order was named"
		case !found:
			out[i].Outcome = "not among the records yet"
		case open:
			say(today-q.P80, "not ready yet", "not ready yet, %s over")
		default:
			say(ready-q.P80, "ready "+report.DayFrom(ready, today)+", in time", "ready "+report.DayFrom(ready, today)+", %s late")
		}
	}
	return out, nil
}

// slip shows a quote that was given, to print and hand over.
func (s *Server) slip(w http.ResponseWriter, r *http.Request) error {
	all, err := s.shop().Quotes(r.Context(), mostSlips)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(all, func(q store.Quote) bool { return strconv.FormatInt(q.ID, 10) == r.PathValue("id") })
	if i < 0 {
		return notFound
	}
	data := struct {
		store.Quote
		PartThere forecast.Date
		Cautions  []string
	}{all[i], all[i].AsOf + forecast.Date(math.Ceil(all[i].PartsDays.V)), []string{capacity.CustomerCaution}}
	if capacity.SafetyCritical(data.Kind) {
		data.Cautions = append(data.Cautions, capacity.SafetyCaution)
	}
	return s.show(w, r, page{Template: "slip", Title: "Quote", Data: data})
}

// mostSlips is how far back quotes can be printed again.
const mostSlips = 1000
