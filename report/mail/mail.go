// Package mail writes the weekly report as a letter that mail programs show:
// plain text, and HTML of tables with inline styles, without scripts, its
// charts as pictures.
//
// It writes the parts and sends nothing: post puts them into a message. Text
// goes through html/template alone.
//
// To use it: Write a Letter of this week's report and the one before, in the
// owner's edition or the counter's, which has neither money nor hiring.
package mail

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	texttemplate "text/template"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
	"freshet/report/html"
)

//go:embed templates/*
var files embed.FS

// Edition says for whom a letter is.
type Edition string

// The editions. The counter's has no money and no decisions but those on work
// and customers.
const (
	Owner   Edition = "owner"
	Counter Edition = "counter"
)

// Letter is the parts of a message.
type Letter struct {
	Subject  string
	Text     string
	HTML     string
	Pictures []Picture // to which the HTML refers as cid: and their names
}

// content is what the templates take.
type content struct {
	report.Report
	Since    []string
	Due      []report.Advice // decisions of the next weeks
	Later    string          // how many come after those
	Pictures []Picture
}

// soon is how far ahead a letter looks for decisions, in days.
const soon = 8 * forecast.Week

var (
	inHTML = template.Must(template.New("letter.html").Funcs(html.Functions).Funcs(template.FuncMap{"cid": cid, "brief": brief}).ParseFS(files, "templates/letter.html"))
	inText = texttemplate.Must(texttemplate.New("letter.txt").Funcs(texttemplate.FuncMap(html.Functions)).Funcs(texttemplate.FuncMap{"percent": percent}).ParseFS(files, "templates/letter.txt"))
)

// percent writes a share in plain text, in which a space is a space.
func percent(v float64) string { return report.Whole(100*v) + " %" }

// cid is a picture's address within the message: the only kind of address in a
// letter that isn't the template's own, and made of a name of ours.
func cid(p Picture) template.URL { return template.URL("cid:" + p.Name) }

// brief writes a day in as little room as a phone's screen has for it.
func brief(d forecast.Date) string { return d.Time().Format("Jan 2") }

// Write writes a report's letter. before, if not nil, is the report of a week
// earlier, which this one is set against.
func Write(r report.Report, before *report.Report, e Edition) (Letter, error) {
	if e == Counter {
		r = atTheCounter(r)
	}
	c := content{Report: r}
	for _, a := range r.Decisions() {
		if a.DecideBy <= r.AsOf+soon {
			c.Due = append(c.Due, a)
		}
	}
	if later := len(r.Decisions()) - len(c.Due); later > 0 && len(c.Due) > 0 {
		c.Later = fmt.Sprintf("%s more after %s: the pages show them all.", report.Count(float64(later), "decision"), report.Day(r.AsOf+soon))
	}
	if before != nil {
		b := *before
		if e == Counter {
			b = atTheCounter(b)
		}
		c.Since = r.Since(b)
	}
	if due := r.Quotes.String(); due != "" {
		c.Since = append(c.Since, due)
	}
	var err error
	if c.Pictures, err = pictures(r); err != nil {
		return Letter{}, err
	}
	l := Letter{Subject: subject(r), Pictures: c.Pictures}
	var b bytes.Buffer
	if err := inHTML.Execute(&b, c); err != nil {
		return Letter{}, fmt.Errorf("report: letter: %w", err)
	}
	l.HTML = b.String()
	b.Reset()
	if err := inText.Execute(&b, c); err != nil {
		return Letter{}, fmt.Errorf("report: letter: %w", err)
	}
	l.Text = b.String()
	return l, nil
}

// subject says the most in a line.
func subject(r report.Report) string {
	s := fmt.Sprintf("%s: the week of %s", r.Shop, report.Day(r.AsOf.Monday()))
	if len(r.Weeks) > 0 {
		s += fmt.Sprintf(", about %s", report.Count(r.ThisWeek.DropOffs.Mean, "drop-off"))
		if h := r.ThisWeek.Hours; h.Known() {
			s += fmt.Sprintf(" and %s hours of work", report.Whole(h.Mean))
		}
	}
	return s
}

// atTheCounter leaves out what is the owner's alone.
func atTheCounter(r report.Report) report.Report {
	f := r.Facts
	f.Advice = nil
	for _, a := range r.Advice {
		if a.Do == capacity.MoveWork || a.Do == capacity.FillLull {
			a.Cost = nil
			f.Advice = append(f.Advice, a)
		}
	}
	out := report.Build(f)
	out.Failed = nil // the owner's to see to
	return out
}
