package mail_test

import (
	"bytes"
	"image/png"
	"math"
	"strings"
	"testing"

	"freshet/capacity"
	"freshet/forecast"
	"freshet/report"
	"freshet/report/mail"

	"golang.org/x/net/html"
)

func spread(v float64) forecast.Spread {
	return forecast.Spread{Mean: v, P10: v * .6, P50: v, P80: v * 1.2, P90: v * 1.5}
}

// sample is a report of an invented shop with text that tries to get out.
func sample() report.Report {
	monday := forecast.NewDate(2026, 3, 2)
	cost, came, usual := 4200.0, 21.0, 18.0
	f := report.Facts{Shop: `Quillback <script>alert(1)</script> "Bend"`, AsOf: monday, ThisWeek: report.Week{Monday: monday, DropOffs: spread(18), Hours: spread(104)},
		Warnings: []string{`A note says <img src=x onerror=alert(1)>.`}, Kinds: []report.Kind{{Name: "</td></table><h1>cooling", LastFour: 4, NextFour: spread(9), NextHours: spread(40)}},
		Advice: []report.Advice{{Do: capacity.Overtime, From: monday + 35, Until: monday + 55, DecideBy: monday + 28, Hours: 60, Cost: &cost, Why: "Sixty hours are short."},
			{Do: capacity.MoveWork, From: monday + 7, Until: monday + 13, DecideBy: monday + 2, Hours: 12, Why: "There is room."},
			{Do: capacity.Hire, From: monday + 200, Until: monday + 300, DecideBy: monday + 100, Why: "Next year."}}}
	ready := monday - 4
	f.Failed = []string{"The watched folder: <b>odd.csv</b> was left where it is."}
	f.Quotes = &report.QuotesDue{From: monday - 7, Until: monday - 1, Quotes: []report.QuoteDue{{RO: "<i>4711</i>", Kind: "cooling", By: monday - 5, Known: true, Ready: &ready}, {RO: "4712", Kind: "cooling", By: monday - 5, Known: true, Ready: &ready}}}
	for j := range 13 {
		f.Weeks = append(f.Weeks, report.Week{Monday: monday + forecast.Date(7*j), DropOffs: spread(18), Hours: spread(104 + float64(j)),
			Crew: &report.CrewWeek{Available: 134, Backlog: spread(20), Turnaround: spread(2), ChanceShort: .1}})
	}
	for j := -8; j < 4; j++ {
		p := report.Point{Monday: monday + forecast.Date(7*j), Usual: &usual, Expected: forecast.Unknown()}
		if j < 0 {
			p.Actual = &came
		} else {
			p.Expected = spread(18)
		}
		f.Season = append(f.Season, p)
	}
	return report.Build(f)
}

func write(t *testing.T, r report.Report, e mail.Edition) mail.Letter {
	t.Helper()
	l, err := mail.Write(r, nil, e)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// A letter has no script, no foreign address and no imported markup, and every
// picture has a size and says what it shows.
func TestLetterIsSafe(t *testing.T) {
	l := write(t, sample(), mail.Owner)
	allowed := map[string]bool{"html": true, "div": true, "head": true, "meta": true, "title": true, "body": true, "table": true, "tbody": true, "tr": true, "td": true, "th": true,
		"p": true, "h1": true, "h2": true, "strong": true, "br": true, "span": true, "img": true}
	pictures := 0
	for z := html.NewTokenizer(strings.NewReader(l.HTML)); ; {
		kind := z.Next()
		if kind == html.ErrorToken {
			break
		}
		tok := z.Token()
		if kind != html.StartTagToken && kind != html.SelfClosingTagToken {
			continue
		}
		if !allowed[tok.Data] {
			t.Errorf("want no %s in a letter", tok.Data)
		}
		at := map[string]string{}
		for _, a := range tok.Attr {
			at[a.Key] = a.Val
			if strings.HasPrefix(a.Key, "on") || strings.Contains(a.Val, "//") {
				t.Errorf("want no %s=%q", a.Key, a.Val)
			}
		}
		if tok.Data == "img" {
			pictures++
			if !strings.HasPrefix(at["src"], "cid:") || at["width"] == "" || at["height"] == "" || len(at["alt"]) < 40 {
				t.Errorf("want a picture of the letter with its size and words, have %v", at)
			}
		}
	}
	if pictures != 2 || len(l.Pictures) != 2 {
		t.Errorf("want two pictures, have %d and %d", pictures, len(l.Pictures))
	}
	if strings.ContainsAny(l.Subject, "\r\n") {
		t.Errorf("have subject %q", l.Subject)
	}
}

// Pictures are PNG at twice the size at which they are shown, the same bytes
// each time, and a letter of 13 weeks stays small.
func TestPictures(t *testing.T) {
	a, b := write(t, sample(), mail.Owner), write(t, sample(), mail.Owner)
	total := len(a.HTML) + len(a.Text)
	for i, p := range a.Pictures {
		img, err := png.Decode(bytes.NewReader(p.PNG))
		if err != nil {
			t.Fatal(err)
		}
		if s := img.Bounds().Size(); s.X != 2*p.Width || s.Y != 2*p.Height {
			t.Errorf("%s: want %dx%d pixels, have %v", p.Name, 2*p.Width, 2*p.Height, s)
		}
		if !bytes.Equal(p.PNG, b.Pictures[i].PNG) {
			t.Errorf("%s: want the same bytes each time", p.Name)
		}
		total += len(p.PNG)
	}
	if len(a.HTML) > 80<<10 || total > 300<<10 {
		t.Errorf("want a body to 80 kB and 300 kB in all, have %d and %d bytes", len(a.HTML), total)
	}
}

// The owner reads of money and of what is due soon; the counter of work alone.
func TestEditions(t *testing.T) {
	owner, counter := write(t, sample(), mail.Owner), write(t, sample(), mail.Counter)
	for _, text := range []string{owner.Text, owner.HTML} {
		if !strings.Contains(text, "was left where it is") || !strings.Contains(text, "Of 2 quoted dates that fell due last week, 0 were kept; 8 in 10 should be.") {
			t.Errorf("want what failed, and last week's quotes, have %s", text)
		}
		if !strings.Contains(text, "$4,200") || !strings.Contains(text, "1 decision more after April 27") || strings.Contains(text, "Next year.") {
			t.Errorf("want the cost, and the late decision counted alone, have %s", text)
		}
	}
	for _, text := range []string{counter.Text, counter.HTML} {
		if strings.Contains(text, "was left where it is") || !strings.Contains(text, "Of 2 quoted dates") {
			t.Errorf("want last week's quotes, and nothing of what the owner has to see to, have %s", text)
		}
		if strings.Contains(text, "$") || strings.Contains(text, "overtime from") || !strings.Contains(text, "12 hours of work that can wait") {
			t.Errorf("want work and no money, have %s", text)
		}
	}
}

// That a report is an old one is told at the counter too.
func TestOldReport(t *testing.T) {
	r := sample()
	r.Stale = "This report is the one of Monday."
	for _, e := range []mail.Edition{mail.Owner, mail.Counter} {
		l := write(t, r, e)
		if !strings.Contains(l.Text, "\n"+r.Stale+"\n") || !strings.Contains(l.HTML, ">"+r.Stale+"</p>") {
			t.Errorf("%v: want %q, have %s", e, r.Stale, l.Text)
		}
	}
}

// A letter tells what was explained as explained, and leaves out what was seen.
func TestLetterOnAlerts(t *testing.T) {
	r := sample()
	r.Alerts = []report.Alert{{Lead: "Roofs are odd.", Summary: "Roofs are odd. Look."}, {Lead: "Brakes are odd.", Summary: "Brakes are odd. Call.", Note: "Explained: a <b>recall</b>."}, {Lead: "Pumps are odd.", Note: "Seen.", Seen: true}}
	l := write(t, r, mail.Owner)
	for text, want := range map[string][]string{l.Text: {"- Roofs are odd. Look.\n", "- Brakes are odd. Explained: a <b>recall</b>.\n"}, l.HTML: {">Roofs are odd. Look.</p>", ">Brakes are odd. Explained: a &lt;b&gt;recall&lt;/b&gt;.</p>"}} {
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("want %q in\n%s", w, text)
			}
		}
		if strings.Contains(text, "Call.") || strings.Contains(text, "Pumps") {
			t.Errorf("what is known is told as news:\n%s", text)
		}
	}
	r.Alerts = r.Alerts[2:]
	if l := write(t, r, mail.Owner); strings.Contains(l.Text, "DOESN'T FIT") || strings.Contains(l.HTML, "doesn't fit") {
		t.Error("a heading over nothing")
	}
}

// A shop without anything on record gets a letter that says so.
func TestEmptyLetter(t *testing.T) {
	l := write(t, report.Build(report.Facts{Shop: "Quillback"}), mail.Owner)
	if !strings.Contains(l.Text, "nothing on record yet") || len(l.Pictures) != 0 {
		t.Errorf("have %d pictures and %s", len(l.Pictures), l.Text)
	}
	// The counter isn't told what went wrong, nor sent to look for it.
	l = write(t, report.Build(report.Facts{Shop: "Quillback", Failed: []string{"The crew's plan broke off."}}), mail.Counter)
	if strings.Contains(l.Text, "below") || strings.Contains(l.Text, "broke off") {
		t.Errorf("have %s", l.Text)
	}
}

// Numbers that aren't finite are left out of pictures.
func TestPicturesOfWhatIsNot(t *testing.T) {
	r := sample()
	r.Weeks[2].Hours.P90, r.Season[1].Actual = math.Inf(1), new(float64)
	*r.Season[1].Actual = math.Inf(1)
	for _, p := range write(t, r, mail.Owner).Pictures {
		if strings.Contains(p.Alt, "Inf") || len(p.PNG) == 0 {
			t.Errorf("have %q, %d bytes", p.Alt, len(p.PNG))
		}
	}
}

// Where only a kind runs short, and how good the forecasts were, both forms of
// a letter say.
func TestLetterSaysWhatTheGuideDoes(t *testing.T) {
	r := sample()
	r.Weeks[1].Crew.ShortOf = "cooling <b>"
	r.Accuracy = &report.Accuracy{Origins: 8, WeeksAhead: 13, WAPE: .26, RuleWAPE: .35, Coverage80: .81}
	l := write(t, r, mail.Owner)
	if !strings.Contains(l.HTML, "were off by 26\u00a0% of") {
		t.Error("want numbers and their signs on one line")
	}
	for text, kind := range map[string]string{l.Text: "chance short 10 % (cooling <b>), about", strings.ReplaceAll(l.HTML, "\u00a0", " "): ">10 %: cooling &lt;b&gt;</td>"} {
		if !strings.Contains(text, kind) || !strings.Contains(text, "were off by 26 % of the drop-offs") || !strings.Contains(text, "held in 81 %") {
			t.Errorf("want %q and how good forecasts were, have %s", kind, text)
		}
	}
}

// One of anything is one, not one of many.
func TestLetterInTheSingular(t *testing.T) {
	r := sample()
	r.Weeks[1].DropOffs, r.Weeks[1].Hours, r.Weeks[1].Crew = spread(1), spread(1), &report.CrewWeek{Available: 134, Turnaround: spread(1)}
	if l := write(t, r, mail.Owner); !strings.Contains(l.Text, "March 9: 1 drop-off (1 to 2), 1 hour of work (1 to 2); the crew has 134 hours, chance short 0 %, about 1 day until a new job is ready") {
		t.Errorf("have %s", l.Text)
	}
}

func BenchmarkWrite(b *testing.B) {
	r := sample()
	for b.Loop() {
		if _, err := mail.Write(r, &r, mail.Owner); err != nil {
			b.Fatal(err)
		}
	}
}
