package report_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
	"freshet/report/chart"
	"freshet/report/html"

	xhtml "golang.org/x/net/html"
)

var update = flag.Bool("update", false, "write the golden files anew")

func spread(v float64) forecast.Spread {
	return forecast.Spread{Mean: v, P10: v * .6, P50: v, P80: v * 1.2, P90: v * 1.5}
}

// facts are of an invented shop whose spring outruns its crew.
func facts() report.Facts {
	monday := forecast.NewDate(2026, 3, 2)
	until := monday - 3
	cost := 4200.0
	f := report.Facts{Shop: "Quillback Bend RV Repair", Demo: true, AsOf: monday, DataUntil: &until, Seed: 7, Version: "test",
		ThisWeek: report.Week{Monday: monday, DropOffs: spread(18), Hours: spread(104)},
		Model:    "counts with a season", Hours: "clocked hours of finished jobs",
		Accuracy: &report.Accuracy{Origins: 8, WeeksAhead: 13, WAPE: .26, RuleWAPE: .35, Coverage80: .8},
		Warnings: []string{"Two rows were left out."},
		Advice: []report.Advice{
			{Do: capacity.ApproveTimeOff, From: monday + 28, Until: monday + 32, DecideBy: monday, Why: "The crew can spare the time."},
			{Do: capacity.Overtime, From: monday + 35, Until: monday + 55, DecideBy: monday + 28, Hours: 60, Cost: &cost, Why: "Sixty hours are short in three weeks. If nothing is done, jobs wait a week longer."},
		}}
	for j := range 13 {
		w := report.Week{Monday: monday + forecast.Date(7*j), DropOffs: spread(18 + float64(j)), Hours: spread(104 + 6*float64(j)),
			Crew: &report.CrewWeek{Available: 134, Backlog: spread(20 + 15*float64(j)), Turnaround: spread(2 + float64(j)), ChanceShort: min(.95, .1*float64(j))}}
		if j == 12 {
			w.Crew = &report.CrewWeek{Backlog: spread(300), Turnaround: spread(16), ChanceShort: 1}
		}
		f.Weeks = append(f.Weeks, w)
	}
	for j := -8; j < 4; j++ {
		usual := 15.0 + float64(j)
		p := report.Point{Monday: monday + forecast.Date(7*j), Usual: &usual, Expected: forecast.Unknown()}
		if j < 0 {
			actual := usual + 9
			p.Actual = &actual
		} else {
			p.Expected = spread(18)
		}
		f.Season = append(f.Season, p)
	}
	per := 5.1
	f.Kinds = []report.Kind{{Name: "cooling", LastFour: 4, NextFour: spread(9), NextHours: spread(40), HoursPerJob: &per, FinishedJobs: 200}, {Name: "plumbing", LastFour: 11, NextFour: spread(14), NextHours: forecast.Unknown()}}
	return f
}

func golden(t *testing.T, name, have string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(have), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if string(want) != have {
		t.Errorf("%s differs; -update writes it anew. Have:\n%s", path, have)
	}
}

// The page without what is the same on every page.
func page(t *testing.T, r report.Report) string {
	t.Helper()
	var b bytes.Buffer
	if err := html.Write(&b, r); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	for _, name := range []string{"echarts.common.min.js", "draw.js", "style.css"} {
		text = strings.Replace(text, string(html.Asset(name)), "["+name+"]", 1)
	}
	return text
}

func TestGolden(t *testing.T) {
	r := report.Build(facts())
	golden(t, "headline.txt", strings.Join(r.Headline, "\n")+"\n\n"+strings.Join(r.Cautions, "\n")+"\n")
	golden(t, "report.html", page(t, r))
}

// Cases of the headline, each from the facts with one thing changed.
func TestHeadline(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*report.Facts)
		want   string
	}{
		"empty":    {func(f *report.Facts) { *f = report.Facts{} }, "nothing on record"},
		"no hours": {func(f *report.Facts) { f.ThisWeek.Hours = forecast.Unknown() }, "Expect about 18 drop-offs this week (8 times out of 10, 11 to 27)."},
		"odd": {func(f *report.Facts) {
			f.Alerts = []report.Alert{{Lead: "By Sept. 9 came 1.5 times as many. It is mostly A.C. and such.", Summary: "Not for the headline."}, {Lead: "Four."}}
		}, "(50). By Sept. 9 came 1.5 times as many. It is mostly A.C. and such. 1 more: see what doesn't fit. "},
		"no week known": {func(f *report.Facts) {
			for i := range f.Season {
				if f.Season[i].Monday == f.AsOf-forecast.Week {
					f.Season[i].Actual = nil
				}
			}
		}, "The last four weeks on record brought 82 drop-offs, 78 % more than that time of year usually brings (46)."},
		"as usual":     {func(f *report.Facts) { setActual(f, 0) }, "about what this time of year usually brings"},
		"near":         {func(f *report.Facts) { setActual(f, -2) }, "42 drop-offs where this time of year usually brings 50: chance alone often makes such a difference."},
		"quiet":        {func(f *report.Facts) { setActual(f, -9) }, "fewer than this time of year"},
		"outrun":       {func(f *report.Facts) {}, "Work outruns the crew: by the end of the week of May 25 about 300 hours of work will be waiting and a new job takes about 16 days"},
		"catching up":  {func(f *report.Facts) { setBacklog(f, 200, -16) }, "The crew catches up: about 200 hours"},
		"keeping pace": {func(f *report.Facts) { setBacklog(f, 100, 0) }, "keeps pace and no more"},
		"enough":       {func(f *report.Facts) { setBacklog(f, 0, 0) }, "should meet the work for the next 13 weeks"},
		"a tight kind": {func(f *report.Facts) {
			setBacklog(f, 0, 0)
			f.Weeks[5].Crew.ChanceShort, f.Weeks[5].Crew.ShortOf = .6, "cooling"
		}, "1 week is likely to bring more work than there are hours for, first of all the one of April 6 (a chance of 60 %, cooling)."},
		"a kind that may be tight": {func(f *report.Facts) {
			setBacklog(f, 0, 0)
			f.Weeks[5].Crew.ChanceShort, f.Weeks[5].Crew.ShortOf = .3, "cooling"
		}, "the tightest is the week of April 6, with a chance of 30 % that more work comes in than those who do it have hours (cooling)."},
		"one tight week": {func(f *report.Facts) { setBacklog(f, 0, 0); f.Weeks[5].Crew.ChanceShort = .6 }, "1 week is likely to bring more than the crew has hours, first of all the one of April 6 (a chance of 60 %)"},
		"closed now": {func(f *report.Facts) {
			setBacklog(f, 0, 0)
			f.Weeks[0].Crew.Available, f.Weeks[0].Crew.ChanceShort, f.Weeks[5].Crew.ChanceShort = 0, 1, .3
		}, "the tightest is the week of April 6, with a chance of 30 %"},
		"decide": {func(f *report.Facts) {}, "Decide by March 30: plan 60 hours of overtime from April 6."},
	} {
		f := facts()
		c.change(&f)
		if have := strings.Join(report.Build(f).Headline, " "); !strings.Contains(have, c.want) {
			t.Errorf("%s: want %q in %q", name, c.want, have)
		}
	}
}

func setActual(f *report.Facts, more float64) {
	for _, p := range f.Season {
		if p.Actual != nil {
			*p.Actual = *p.Usual + more
		}
	}
}

func setBacklog(f *report.Facts, first, step float64) {
	for j := range f.Weeks {
		f.Weeks[j].Crew = &report.CrewWeek{Available: 134, Backlog: spread(max(0, first+step*float64(j))), Turnaround: spread(5), ChanceShort: .1}
	}
}

// What someone has explained is told as such, what was seen quietly, and the
// headline leads with neither.
func TestAlertsThatAreKnown(t *testing.T) {
	f := facts()
	f.Alerts = []report.Alert{{Lead: "Brakes are odd.", Summary: "Brakes are odd. Look.", Note: "Explained: a recall.", Seen: false}, {Lead: "Pumps are odd.", Summary: "Pumps are odd. Look.", Note: "Seen.", Seen: true}}
	r := report.Build(f)
	if text := strings.Join(r.Headline, " "); strings.Contains(text, "odd") || strings.Contains(text, "doesn't fit") {
		t.Errorf("the headline tells of what is known: %s", text)
	}
	if told := r.Told(); len(told) != 1 || told[0].Says() != "Brakes are odd. Explained: a recall." {
		t.Errorf("a letter would tell %+v", told)
	}
	text := page(t, r)
	for _, want := range []string{"<p>Brakes are odd. Explained: a recall.</p>", `<p class="about">Pumps are odd. Seen.</p>`} {
		if !strings.Contains(text, want) {
			t.Errorf("want %s on the page", want)
		}
	}
	f.Alerts = append([]report.Alert{{Lead: "Roofs are odd."}}, f.Alerts...)
	if text := strings.Join(report.Build(f).Headline, " "); !strings.Contains(text, "Roofs are odd. ") || strings.Contains(text, "more: see") {
		t.Errorf("want one alert that is news, have %s", text)
	}
}

func TestJSON(t *testing.T) {
	r := report.Build(facts())
	first, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var back report.Report
	if err := json.Unmarshal(first, &back); err != nil {
		t.Fatal(err)
	}
	second, err := json.Marshal(back)
	if err != nil || !bytes.Equal(first, second) {
		t.Errorf("changed on the way:\n%s\n%s", first, second)
	}
	if page(t, r) != page(t, back) {
		t.Error("the page changed on the way")
	}
}

// Text from records stays text: no element, attribute or script that the same
// report with plain words doesn't have.
func TestInjection(t *testing.T) {
	plain := shape(t, page(t, report.Build(withText("plain words"))))
	for _, payload := range []string{"<em>UHOH</em>", "</script><script>alert(1)</script>", `"><img src=x onerror=alert(1)>`, "__f__function(){alert(1)}__f__",
		"javascript:alert(1)", "]]>", "<!--", "\u2028alert(1)", "{{.}}", "<svg onload=alert(1)>", "'-alert(1)-'", "</style><style>*{}", "&lt;b&gt;", "\x00"} {
		have := page(t, report.Build(withText(payload)))
		if got := shape(t, have); got != plain {
			t.Errorf("%q changes the page's elements:\n%s\n%s", payload, plain, got)
		}
		if strings.Contains(payload, "<") && strings.Contains(have, payload) && payload != "<!--" {
			t.Errorf("%q stands in the page as it is", payload)
		}
	}
}

func withText(s string) report.Facts {
	f := facts()
	f.Shop, f.Model, f.Hours, f.Version = s, s, s, s
	f.Warnings = []string{s}
	f.Advice[0].Why, f.Advice[1].Why, f.Advice[1].Do = s, s, s
	f.Kinds[0].Name = s
	return f
}

// shape lists a page's elements and attribute names.
func shape(t *testing.T, page string) string {
	t.Helper()
	root, err := xhtml.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	var walk func(*xhtml.Node)
	walk = func(n *xhtml.Node) {
		if n.Type == xhtml.ElementNode {
			b.WriteString("<" + n.Data)
			for _, a := range n.Attr {
				b.WriteString(" " + a.Key)
			}
			b.WriteString(">")
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	return b.String()
}

// The page opens offline: nothing in it is loaded from anywhere.
func TestSelfContained(t *testing.T) {
	root, err := xhtml.Parse(strings.NewReader(page(t, report.Build(facts()))))
	if err != nil {
		t.Fatal(err)
	}
	var walk func(*xhtml.Node)
	walk = func(n *xhtml.Node) {
		for _, a := range n.Attr {
			if a.Key == "src" || a.Key == "href" || a.Key == "action" || strings.HasPrefix(a.Key, "on") {
				t.Errorf("<%s %s=%q>", n.Data, a.Key, a.Val)
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	if strings.Contains(string(html.Asset("style.css")), "url(") || strings.Contains(string(html.Asset("style.css")), "@import") {
		t.Error("the style loads something")
	}
}

// Every chart's JSON parses and holds no number that JavaScript can't draw;
// what isn't known is null.
func TestCharts(t *testing.T) {
	f := facts()
	f.Weeks[3].Hours = forecast.Unknown()
	f.Weeks[4].Hours.P90 = math.Inf(1)
	all, err := chart.All(report.Build(f))
	if err != nil || len(all) != 2 {
		t.Fatalf("want 2 charts, have %d, %v", len(all), err)
	}
	for _, c := range all {
		var o struct {
			Series []struct {
				Name string
				Type string
				Data []struct{ Value *float64 }
			}
			XAxis []struct{ Data []string }
		}
		if err := json.Unmarshal(c.Options, &o); err != nil {
			t.Fatalf("%s: %v in %s", c.ID, err, c.Options)
		}
		if c.Text == "" || len(o.Series) < 3 || len(o.XAxis) == 0 || len(o.XAxis[0].Data) == 0 {
			t.Errorf("%s: want words, series and weeks, have %q, %d", c.ID, c.Text, len(o.Series))
		}
		for _, s := range o.Series {
			if len(s.Data) != len(o.XAxis[0].Data) {
				t.Errorf("%s %s: %d values for %d weeks", c.ID, s.Name, len(s.Data), len(o.XAxis[0].Data))
			}
			if c.ID == "hours" && s.Name == "expected" && s.Data[3].Value != nil {
				t.Error("what isn't known is drawn")
			}
		}
	}
	if all, err := chart.All(report.Build(report.Facts{})); err != nil || len(all) != 0 {
		t.Errorf("an empty report has no charts, have %d, %v", len(all), err)
	}
}

func TestWords(t *testing.T) {
	for have, want := range map[string]string{
		report.Whole(1234567.4): "1,234,567", report.Whole(-1234): "-1,234", report.Whole(-.2): "0", report.Whole(999.5): "1,000", report.Whole(math.NaN()): "not known",
		report.Whole(.5): "1", report.Whole(2.5): "3", report.Whole(-.5): "-1", report.Whole(math.Inf(-1)): "not known",
		report.Count(1, "day"): "1 day", report.Count(0, "day"): "0 days", report.Count(2.6, "day"): "3 days",
		report.Range(forecast.Unknown()): "not known", report.LongDay(forecast.NewDate(2026, 3, 2)): "Monday, March 2, 2026",
	} {
		if have != want {
			t.Errorf("want %q, have %q", want, have)
		}
	}
}
