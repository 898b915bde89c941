// Package html renders a report as one self-contained page that opens offline,
// prints, and reads on a phone.
//
// Text goes through html/template alone; charts are option JSON in an inert
// element that the embedded script reads. Nothing is loaded from anywhere.
//
// To use it: Write a report as a file of its own, or take NewPage and Parts into
// a page that has more around it.
package html

import (
	"embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"freshet/forecast"
	"freshet/report"
	"freshet/report/chart"
)

//go:embed assets templates/*.html
var files embed.FS

// Asset gives an embedded style or script by its name: style.css, draw.js,
// echarts.common.min.js. It panics if there is none of that name.
func Asset(name string) []byte {
	b, err := files.ReadFile("assets/" + name)
	if err != nil {
		panic(err)
	}
	return b
}

// Unbroken keeps numbers and their percent signs on one line.
func Unbroken(text string) string { return strings.ReplaceAll(text, " %", "\u00a0%") }

// Functions are those that the templates use; pages that show parts of a
// report use them too.
var Functions = template.FuncMap{
	"day":         report.Day,
	"longday":     report.LongDay,
	"dayfrom":     report.DayFrom,
	"weekday":     report.WeekDay,
	"weekdayfrom": report.WeekDayFrom,
	"whole":       report.Whole,
	"count":       report.Count,
	"float":       func(n int) float64 { return float64(n) },
	"between":     report.Range,
	"title":       report.Title,
	"percent":     func(v float64) string { return Unbroken(report.Whole(100*v) + " %") },
	"unbroken":    Unbroken,
	"of": func(v *float64) string {
		if v == nil {
			return "–"
		}
		return report.Whole(*v)
	},
	"hours1": func(v *float64) string {
		if v == nil {
			return "–"
		}
		return fmt.Sprintf("%.1f", *v)
	},
	"money": func(v *float64) string { return report.Dollars(*v) },
	"known": func(s forecast.Spread) bool { return s.Known() },
	"chart": func(id string, all []chart.Chart) *chart.Chart {
		for i := range all {
			if all[i].ID == id {
				return &all[i]
			}
		}
		return nil
	},
}

// Parts holds the templates of a report's body: the template "report" takes a
// Page.
var Parts = template.Must(template.New("").Funcs(Functions).ParseFS(files, "templates/report.html"))

var whole = template.Must(template.Must(Parts.Clone()).ParseFS(files, "templates/file.html"))

// Page is what the template "report" takes.
type Page struct {
	report.Report
	Charts []chart.Chart
}

// NewPage draws the report's charts.
func NewPage(r report.Report) (Page, error) {
	charts, err := chart.All(r)
	return Page{r, charts}, err
}

// Write writes the report as one file, its style and scripts within.
func Write(w io.Writer, r report.Report) error {
	p, err := NewPage(r)
	if err != nil {
		return err
	}
	return whole.ExecuteTemplate(w, "file", struct {
		Page
		Style          template.CSS
		Library, Drawn template.JS
	}{p, template.CSS(Asset("style.css")), template.JS(Asset("echarts.common.min.js")), template.JS(Asset("draw.js"))})
}
