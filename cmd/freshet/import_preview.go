package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"freshet/forecast"
	"freshet/ingest/store"
)

// preview shows what would become of files.
func (a *app) preview(ctx context.Context, db *store.Store, files []string, how importing, loc *time.Location, tomorrow forecast.Date) error {
	shown := []store.Preview{}
	for _, name := range files {
		h, err := how.handIn(name, loc)
		if err != nil {
			return err
		}
		f, err := openFile(name, &h)
		if err != nil {
			return err
		}
		p, err := db.Preview(ctx, h, tomorrow)
		f.Close()
		if err != nil {
			return advise(err)
		}
		shown = append(shown, p)
	}
	if a.json {
		return a.writeJSON(map[string]any{"schema": 1, "files": shown})
	}
	for _, p := range shown {
		a.showPreview(p)
	}
	return nil
}

func (a *app) showPreview(p store.Preview) {
	fmt.Fprintf(a.out, "%s: would be taken for %s; headers in line %d\n", p.Name, p.Kind, p.HeaderLine)
	w := tabwriter.NewWriter(a.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  column\tholds\thow sure\twhy\tfor example")
	for _, c := range p.Columns {
		holds, sure := c.Field, fmt.Sprintf("%.0f %%", 100*c.Confidence)
		switch {
		case c.Guessed:
			holds += "?"
		case holds == "":
			holds, sure = "(left alone)", ""
		}
		fmt.Fprintf(w, "  %s\t%s\t%s\t%s\t%s\n", c.Header, holds, sure, c.Why, strings.Join(c.Samples, " | "))
	}
	w.Flush()
	if len(p.Missing) > 0 {
		fmt.Fprintf(a.out, "No column for: %s. Say which with --map \"Their Name=field\".\n", strings.Join(p.Missing, ", "))
	}
	for _, said := range p.Lacks() {
		fmt.Fprintln(a.out, said)
	}
	if p.Dates != nil {
		fmt.Fprintf(a.out, "The dates of %s may be day/month or month/day (%s): say --dates mdy for month first, --dates dmy for day first.\n", p.Dates.Column, strings.Join(p.Examples, ", "))
	}
	switch {
	case p.Ready && p.Remembered:
		fmt.Fprintln(a.out, "Confirmed before for such headers: import it as it is. Nothing was taken in yet.")
	case p.Ready:
		fmt.Fprintln(a.out, "Import it as it is. Nothing was taken in yet.")
	default:
		fmt.Fprintln(a.out, "A ? is a guess: --accept-guesses takes them all, --map \"Their Name=field\" says otherwise. Nothing was taken in yet.")
	}
}
