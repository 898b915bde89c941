package mail

import (
	"bytes"
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"freshet/forecast"
	"freshet/report"
)

// Picture is a chart as PNG, at twice the size at which it is shown.
type Picture struct {
	Name          string // of the file, by which the letter refers to it
	PNG           []byte
	Width, Height int // pixels, as shown
	Alt           string
}

// The pages' colors, on white: mail programs that darken a letter leave its
// pictures alone.
var (
	water = color.NRGBA{0x1b, 0x7f, 0x8c, 255}
	wash  = color.NRGBA{0x1b, 0x7f, 0x8c, 52}
	ember = color.NRGBA{0xc7, 0x62, 0x1e, 255}
	stone = color.NRGBA{0x8a, 0x85, 0x77, 255}
	ink   = color.NRGBA{0x3f, 0x5a, 0x73, 215}
	text  = color.NRGBA{0x2d, 0x2a, 0x23, 255}
	rule  = color.NRGBA{0xe2, 0xdc, 0xcd, 255}
)

const (
	width, height = 600, 300 // pixels, as shown
	dpi           = 192
	points        = 72.0 / 96 // of a pixel as shown
)

// pictures draws a report's charts, those for which it has numbers.
func pictures(r report.Report) ([]Picture, error) {
	var out []Picture
	for _, of := range []struct {
		name string
		draw func(report.Report) (*plot.Plot, string)
	}{{"hours", hours}, {"season", season}} {
		p, alt := of.draw(r)
		if p == nil {
			continue
		}
		png, err := render(p)
		if err != nil {
			return nil, fmt.Errorf("report: picture of %s: %w", of.name, err)
		}
		out = append(out, Picture{Name: of.name + ".png", PNG: png, Width: width, Height: height, Alt: alt})
	}
	return out, nil
}

func hours(r report.Report) (*plot.Plot, string) {
	weeks := r.Weeks
	if len(weeks) > 0 && weeks[0].Rest {
		weeks = weeks[1:] // a rest of a week beside whole ones would mislead
	}
	if len(weeks) == 0 || !weeks[0].Hours.Known() {
		return nil, ""
	}
	var low, high, mean, crew []float64
	for _, w := range weeks {
		low, high, mean = append(low, w.Hours.P10), append(high, w.Hours.P90), append(mean, w.Hours.Mean)
		if w.Crew != nil {
			crew = append(crew, w.Crew.Available)
		}
	}
	p := page("hours a week", weeks[0].Monday, len(weeks), low, high, mean, crew)
	addBand(p, low, high, "8 in 10 weeks fall here")
	addLine(p, mean, "expected", water, 2.2, nil)
	alt := fmt.Sprintf("Expected hours of work by week from %s to %s: from %s to %s hours.", report.Day(weeks[0].Monday), report.Day(weeks[len(weeks)-1].Monday),
		report.Whole(least(mean)), report.Whole(most(mean)))
	if len(crew) == len(weeks) {
		addSteps(p, crew, "the crew has", ember)
		alt += fmt.Sprintf(" The crew has %s to %s hours a week.", report.Whole(least(crew)), report.Whole(most(crew)))
	}
	return p, alt
}

func season(r report.Report) (*plot.Plot, string) {
	if len(r.Season) == 0 {
		return nil, ""
	}
	var low, high, mean, usual, came []float64
	for _, s := range r.Season {
		low, high, mean = append(low, s.Expected.P10), append(high, s.Expected.P90), append(mean, s.Expected.Mean)
		usual, came = append(usual, orNaN(s.Usual)), append(came, orNaN(s.Actual))
	}
	p := page("drop-offs a week", r.Season[0].Monday, len(r.Season), low, high, usual, came)
	addBars(p, came, "came in")
	addBand(p, low, high, "8 in 10 weeks fall here")
	addLine(p, mean, "expected", water, 2.2, nil)
	addLine(p, usual, "usual for the time of year", stone, 1.8, []vg.Length{2, 2.5})
	alt := fmt.Sprintf("Drop-offs by week from %s on, what came in and what is expected, beside what is usual for the time of year.", report.Day(r.Season[0].Monday))
	return p, alt
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// least and most are of the finite values.
func least(v []float64) float64 {
	out := math.Inf(1)
	for _, x := range v {
		if finite(x) {
			out = min(out, x)
		}
	}
	return out
}

func most(v []float64) float64 {
	out := 0.0
	for _, x := range v {
		if finite(x) {
			out = max(out, x)
		}
	}
	return out
}

// page is an empty plot of n weeks, high enough for all values.
func page(unit string, first forecast.Date, n int, values ...[]float64) *plot.Plot {
	p := plot.New()
	sans := font.Font{Typeface: "Liberation", Variant: "Sans"}
	style := func(s *draw.TextStyle, size vg.Length) {
		s.Font, s.Color = sans, text
		s.Font.Size = size
	}
	style(&p.X.Tick.Label, 12)
	style(&p.Y.Tick.Label, 12)
	style(&p.Y.Label.TextStyle, 12)
	style(&p.Legend.TextStyle, 12)
	p.BackgroundColor = color.White
	p.Y.Label.Text = unit
	p.Legend.Top, p.Legend.Left = true, true
	p.Legend.Padding, p.Legend.ThumbnailWidth = 3, 18
	p.X.LineStyle.Color, p.Y.LineStyle.Color = rule, rule
	p.X.Tick.LineStyle.Color, p.Y.Tick.LineStyle.Color = rule, rule

	top := 1.0
	for _, v := range values {
		top = max(top, most(v))
	}
	step := niceStep(top)
	p.X.Min, p.X.Max, p.Y.Min = -.5, float64(n)-.5, 0
	p.Y.Max = 1.5*top + .01 // room for the legend above the lines
	var rows plot.ConstantTicks
	for v := 0.0; v <= top+step/2; v += step {
		rows = append(rows, plot.Tick{Value: v, Label: report.Whole(v)})
	}
	p.Y.Tick.Marker = rows
	grid := plotter.NewGrid()
	grid.Vertical.Color = nil
	grid.Horizontal.Color, grid.Horizontal.Width = rule, .6
	p.Add(grid)
	p.X.Tick.Marker = weekTicks(first, n)
	return p
}

// weekTicks marks single weeks where they are few, and else the first week of
// each month.
func weekTicks(first forecast.Date, n int) plot.ConstantTicks {
	var ticks plot.ConstantTicks
	const few = 16
	for i := range n {
		d := first + forecast.Date(forecast.Week*i)
		switch {
		case n <= few && i%2 == 0:
			ticks = append(ticks, plot.Tick{Value: float64(i), Label: d.Time().Format("Jan 2")})
		case n > few && d.Time().Day() <= 7:
			ticks = append(ticks, plot.Tick{Value: float64(i), Label: d.Time().Format("Jan")})
		}
	}
	return ticks
}

// niceStep gives a step of 1, 2 or 5 times a power of ten, for about five
// lines up to top.
func niceStep(top float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(top/5)))
	for _, m := range []float64{1, 2, 5} {
		if top/(m*power) <= 5.5 {
			return max(1, m*power)
		}
	}
	return max(1, 10*power)
}

// parts gives the stretches of steps at which every series has a finite value.
func parts(series ...[]float64) [][2]int {
	var out [][2]int
	open := false
	for i := range series[0] {
		known := true
		for _, s := range series {
			known = known && finite(s[i])
		}
		switch {
		case known && !open:
			out = append(out, [2]int{i, i + 1})
		case known:
			out[len(out)-1][1] = i + 1
		}
		open = known
	}
	return out
}

func addBand(p *plot.Plot, low, high []float64, name string) {
	for i, part := range parts(low, high) {
		var edge plotter.XYs
		for t := part[0]; t < part[1]; t++ {
			edge = append(edge, plotter.XY{X: float64(t), Y: low[t]})
		}
		for t := part[1] - 1; t >= part[0]; t-- {
			edge = append(edge, plotter.XY{X: float64(t), Y: high[t]})
		}
		area, err := plotter.NewPolygon(edge)
		if err != nil {
			panic(err) // every value was seen to be finite
		}
		area.Color, area.LineStyle.Width = wash, 0
		p.Add(area)
		if i == 0 {
			p.Legend.Add(name, area)
		}
	}
}

func addLine(p *plot.Plot, values []float64, name string, c color.Color, width vg.Length, dashes []vg.Length) {
	for i, part := range parts(values) {
		var xy plotter.XYs
		for t := part[0]; t < part[1]; t++ {
			xy = append(xy, plotter.XY{X: float64(t), Y: values[t]})
		}
		addPath(p, xy, name, i == 0, draw.LineStyle{Color: c, Width: width, Dashes: dashes})
	}
}

// addSteps draws each value over its whole week.
func addSteps(p *plot.Plot, values []float64, name string, c color.Color) {
	var xy plotter.XYs
	for t, v := range values {
		xy = append(xy, plotter.XY{X: float64(t) - .5, Y: v}, plotter.XY{X: float64(t) + .5, Y: v})
	}
	addPath(p, xy, name, true, draw.LineStyle{Color: c, Width: 1.8, Dashes: []vg.Length{6, 3}})
}

func addPath(p *plot.Plot, xy plotter.XYs, name string, first bool, style draw.LineStyle) {
	line, err := plotter.NewLine(xy)
	if err != nil {
		panic(err) // as above
	}
	line.LineStyle = style
	p.Add(line)
	if first {
		p.Legend.Add(name, line)
	}
}

func addBars(p *plot.Plot, values []float64, name string) {
	first := true
	for t, v := range values {
		if !finite(v) {
			continue
		}
		x := float64(t)
		bar, err := plotter.NewPolygon(plotter.XYs{{X: x - .38, Y: 0}, {X: x - .38, Y: v}, {X: x + .38, Y: v}, {X: x + .38, Y: 0}})
		if err != nil {
			panic(err) // as above
		}
		bar.Color, bar.LineStyle.Width = ink, 0
		p.Add(bar)
		if first {
			p.Legend.Add(name, bar)
			first = false
		}
	}
}

func render(p *plot.Plot) ([]byte, error) {
	c := vgimg.NewWith(vgimg.UseWH(width*points, height*points), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(color.White))
	p.Draw(draw.Crop(draw.New(c), 6, -14, 4, -6))
	var b bytes.Buffer
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(&b)
	return b.Bytes(), err
}
