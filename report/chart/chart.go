// Package chart turns a report's numbers into go-echarts options, as JSON for
// the embedded script to draw.
//
// It uses the library's typed options and nothing else of it: its own page
// renderers run imported text as code and load scripts from elsewhere. Every
// number is checked to be finite first, since one NaN empties a chart without a
// word. The same numbers stand in a table beside each chart.
//
// To use it: All gives a report's charts, each with its options and its words.
package chart

import (
	"encoding/json"
	"fmt"
	"math"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"

	"freshet/forecast"
	"freshet/report"
)

// Chart is one drawing: an id unique on its page, the options as JSON, and the
// same in words.
type Chart struct {
	ID      string
	Options json.RawMessage
	Text    string
}

// Colors are ours: melt water for what is expected, ember for the crew, stone
// for the usual, ink for what came. They keep apart in light and dark, and in
// the greys of a printer by line style.
const (
	water = "#1b7f8c"
	ember = "#c7621e"
	stone = "#8a8577"
	ink   = "#3f5a73"
)

// All gives a report's charts.
func All(r report.Report) ([]Chart, error) {
	var out []Chart
	for _, draw := range []func(report.Report) (Chart, bool, error){hours, season} {
		c, ok, err := draw(r)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, c)
		}
	}
	return out, nil
}

// hours draws the expected hours with their range against the crew's.
func hours(r report.Report) (Chart, bool, error) {
	whole := r.Weeks
	if len(whole) > 0 && whole[0].Rest {
		whole = whole[1:] // a rest of a week beside whole ones would mislead
	}
	if len(whole) == 0 || !whole[0].Hours.Known() {
		return Chart{}, false, nil
	}
	var weeks []string
	var low, wide, mid, crew []opts.LineData
	for _, w := range whole {
		weeks = append(weeks, week(w.Monday))
		low = append(low, value(w.Hours.P10))
		wide = append(wide, value(w.Hours.P90-w.Hours.P10))
		mid = append(mid, value(w.Hours.Mean))
		if w.Crew != nil {
			crew = append(crew, value(w.Crew.Available))
		}
	}
	c := line("hours a week", weeks)
	band(c, low, wide)
	c.AddSeries("expected", mid, solid(water))
	legend := []string{"8 in 10 weeks fall here", "expected"}
	if crew != nil {
		c.AddSeries("the crew has", crew, charts.WithLineChartOpts(opts.LineChart{Step: "middle", ShowSymbol: opts.Bool(false)}),
			charts.WithLineStyleOpts(opts.LineStyle{Color: ember, Width: 3, Type: "dashed"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: ember}))
		legend = append(legend, "the crew has")
	}
	first, last := whole[0], whole[len(whole)-1]
	return finish(c, "hours", legend, fmt.Sprintf("Line chart of expected hours of work by week from %s to %s with their range, against the crew's hours. The table of weeks below holds the same numbers.",
		report.Day(first.Monday), report.Day(last.Monday)))
}

// season draws this year's weeks against the usual ones.
func season(r report.Report) (Chart, bool, error) {
	usualKnown := false
	var weeks []string
	var low, wide, mid, usual []opts.LineData
	var actual []opts.BarData
	for _, p := range r.Season {
		weeks = append(weeks, week(p.Monday))
		low = append(low, value(p.Expected.P10))
		wide = append(wide, value(p.Expected.P90-p.Expected.P10))
		mid = append(mid, value(p.Expected.Mean))
		usual = append(usual, pointer(p.Usual))
		actual = append(actual, opts.BarData{Value: pointer(p.Actual).Value})
		usualKnown = usualKnown || p.Usual != nil
	}
	if len(weeks) == 0 {
		return Chart{}, false, nil
	}
	c := line("drop-offs a week", weeks)
	band(c, low, wide)
	c.AddSeries("expected", mid, solid(water))
	legend := []string{"came in", "expected", "8 in 10 weeks fall here"}
	if usualKnown {
		c.AddSeries("usual for the time of year", usual, charts.WithLineChartOpts(opts.LineChart{ShowSymbol: opts.Bool(false), Smooth: opts.Bool(true)}),
			charts.WithLineStyleOpts(opts.LineStyle{Color: stone, Width: 2, Type: "dotted"}), charts.WithItemStyleOpts(opts.ItemStyle{Color: stone}))
		legend = append(legend, "usual for the time of year")
	}
	bars := charts.NewBar()
	bars.AddSeries("came in", actual, charts.WithItemStyleOpts(opts.ItemStyle{Color: ink, Opacity: opts.Float(.75)}))
	c.Overlap(bars)
	return finish(c, "season", legend, fmt.Sprintf("Bars of drop-offs by week from %s on, the expected ones with their range, and a line of what is usual for the time of year. The table under the chart holds the same numbers.",
		report.Day(r.Season[0].Monday)))
}

func line(unit string, weeks []string) *charts.Line {
	c := charts.NewLine()
	c.SetGlobalOptions(
		charts.WithAnimation(false),
		charts.WithTooltipOpts(opts.Tooltip{Show: opts.Bool(true), Trigger: "axis"}),
		charts.WithGridOpts(opts.Grid{Left: "46", Right: "16", Top: "64", Bottom: "48"}),
		charts.WithXAxisOpts(opts.XAxis{Type: "category", AxisLabel: &opts.AxisLabel{HideOverlap: opts.Bool(true)}}),
		charts.WithYAxisOpts(opts.YAxis{Name: unit, Min: 0, NameLocation: "end", AxisLabel: &opts.AxisLabel{}}),
	)
	c.SetXAxis(weeks)
	return c
}

// band draws a range as a clear line with a shaded one stacked on it.
func band(c *charts.Line, low, wide []opts.LineData) {
	flat := charts.WithLineChartOpts(opts.LineChart{Stack: "range", ShowSymbol: opts.Bool(false)})
	clear := charts.WithLineStyleOpts(opts.LineStyle{Opacity: opts.Float(0)})
	c.AddSeries("low", low, flat, clear, charts.WithItemStyleOpts(opts.ItemStyle{Color: water, Opacity: opts.Float(0)}))
	c.AddSeries("8 in 10 weeks fall here", wide, flat, clear, charts.WithItemStyleOpts(opts.ItemStyle{Color: water, Opacity: opts.Float(.35)}),
		charts.WithAreaStyleOpts(opts.AreaStyle{Color: water, Opacity: opts.Float(.22)}))
}

// solid styles a series as a plain line of one color.
func solid(color string) charts.SeriesOpts {
	return func(s *charts.SingleSeries) {
		charts.WithLineChartOpts(opts.LineChart{ShowSymbol: opts.Bool(false)})(s)
		charts.WithLineStyleOpts(opts.LineStyle{Color: color, Width: 3})(s)
		charts.WithItemStyleOpts(opts.ItemStyle{Color: color})(s)
	}
}

func finish(c *charts.Line, id string, legend []string, text string) (Chart, bool, error) {
	c.SetGlobalOptions(charts.WithLegendOpts(opts.Legend{Show: opts.Bool(true), Data: legend, Top: "0", Left: "0", Type: "plain", Icon: "roundRect"}),
		charts.WithAriaOpts(&opts.Aria{Enabled: opts.Bool(true)}))
	c.Validate()
	j, err := json.Marshal(c.JSON())
	if err != nil {
		return Chart{}, false, fmt.Errorf("report: chart %s: %w", id, err)
	}
	return Chart{ID: id, Options: j, Text: text}, true, nil
}

func week(d forecast.Date) string { return d.Time().Format("Jan 2") }

// value leaves out what isn't a number.
func value(v float64) opts.LineData {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return opts.LineData{Value: nil}
	}
	return opts.LineData{Value: math.Round(10*v) / 10}
}

func pointer(v *float64) opts.LineData {
	if v == nil {
		return opts.LineData{Value: nil}
	}
	return value(*v)
}
