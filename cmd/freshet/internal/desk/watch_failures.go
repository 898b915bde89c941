package desk

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"freshet/forecast"
	"freshet/forecast/watch"
	"freshet/ingest"
	"freshet/report"
)

const (
	failureChance = .05 // a year, all words watched together
	leastNoted    = 100 // jobs with a note that tell what is usual
	leastLetters  = 3   // of a word
)

// failure is a word, or two in a row, that notes of jobs share, with the jobs
// by index into details: one a repair order, and no comebacks, since these are
// the same failure again.
type failure struct {
	words  string
	jobs   []int
	chance float64
	usual  float64 // in a window as full as this one's time of year and kinds make it
	window []int   // the jobs within the fullest ten days of late
}

// failures finds words of notes that came too often within ten days, against
// their usual share of the notes of each kind of job. Where more of the kind
// came than expected its words may too: a rush in a kind is told by kind.
func (w *watcher) failures() []finding {
	all, noted := w.words()
	watched := len(all)
	var odd []failure
	for _, f := range all {
		if w.crowd(&f, noted) && f.chance*float64(watched) <= failureChance {
			odd = append(odd, f)
		}
	}
	// The least likely first; of those with the same jobs the one of most words.
	slices.SortFunc(odd, func(a, b failure) int {
		return cmp.Or(cmp.Compare(a.chance, b.chance), cmp.Compare(len(b.words), len(a.words)), cmp.Compare(a.words, b.words))
	})
	told := map[int]bool{}
	var out []finding
	for _, f := range odd {
		known := 0
		for _, i := range f.window {
			if told[i] {
				known++
			}
			told[i] = true
		}
		if 2*known <= len(f.window) {
			out = append(out, w.sayFailure(f, watched))
		}
	}
	return out
}

// words gives the words and pairs of words that three jobs or more share, and
// which of the jobs have a note at all.
func (w *watcher) words() (all []failure, noted []bool) {
	end := w.monday(w.n)
	noted = make([]bool, len(w.shop.details))
	index := map[string]int{}
	for i, j := range w.shop.details {
		if j.DroppedOff >= end {
			break
		}
		if j.ComebackOf != "" {
			continue
		}
		before := ""
		for _, word := range strings.FieldsFunc(j.Note, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			word = ingest.Fold(word)
			if utf8.RuneCountInString(word) < leastLetters || !strings.ContainsFunc(word, unicode.IsLetter) {
				before = ""
				continue
			}
			noted[i] = true
			terms := []string{word}
			if before != "" {
				terms = append(terms, before+" "+word)
			}
			before = word
			for _, term := range terms {
				k, ok := index[term]
				if !ok {
					k = len(all)
					index[term] = k
					all = append(all, failure{words: term})
				}
				if f := &all[k]; len(f.jobs) == 0 || w.shop.details[f.jobs[len(f.jobs)-1]].RO != j.RO {
					f.jobs = append(f.jobs, i)
				}
			}
		}
	}
	return slices.DeleteFunc(all, func(f failure) bool { return len(f.jobs) < leastCluster }), noted
}

// crowd finds the fullest ten days of late and judges them; false where they
// hold too few jobs, or too little is known of what is usual.
func (w *watcher) crowd(f *failure, noted []bool) bool {
	d := w.shop.details
	recent := w.monday(w.n) - stands*forecast.Week
	for i := range f.jobs {
		j := i
		for j < len(f.jobs) && d[f.jobs[j]].DroppedOff < d[f.jobs[i]].DroppedOff+clusterDays {
			j++
		}
		if j-i > len(f.window) && d[f.jobs[j-1]].DroppedOff >= recent {
			f.window = f.jobs[i:j]
		}
	}
	if len(f.window) < leastCluster {
		return false
	}
	from := d[f.window[0]].DroppedOff
	type tally struct{ word, noted, came, cameNoted float64 }
	kinds := map[string]*tally{}
	of := func(kind string) *tally {
		if kinds[kind] == nil {
			kinds[kind] = &tally{}
		}
		return kinds[kind]
	}
	past := 0.0
	for i, j := range d {
		switch t := of(j.Kind); {
		case j.DroppedOff < from && noted[i]:
			t.noted++
			past++
		case j.DroppedOff >= from && j.DroppedOff < from+clusterDays:
			t.came++
			if noted[i] {
				t.cameNoted++
			}
		}
	}
	if past < leastNoted {
		return false
	}
	before := 0
	for _, i := range f.jobs {
		if d[i].DroppedOff < from {
			of(d[i].Kind).word++
			before++
		}
	}
	if before == 0 { // a new word is taken to have come once
		of(d[f.window[0]].Kind).word = 1
	}
	for _, kind := range slices.Sorted(maps.Keys(kinds)) { // in one order, so that sums are the same to the last bit
		t := kinds[kind]
		if t.word == 0 || t.came == 0 {
			continue
		}
		expected := w.usualOfKind(kind, from, from+clusterDays) * t.cameNoted / t.came
		f.usual += t.word / max(t.noted, t.word) * max(expected, t.cameNoted)
	}
	f.chance = watch.Scan{K: len(f.window), Window: clusterDays, Span: 365}.Naus(f.usual / clusterDays)
	return true
}

// usualOfKind gives how many jobs of a kind were expected in some days of the
// weeks watched; 0 for kinds too rare to be followed.
func (w *watcher) usualOfKind(kind string, from, before forecast.Date) float64 {
	for _, s := range w.series[1:] {
		if s.name != kind {
			continue
		}
		sum := 0.0
		for d := max(from, w.monday(0)); d < min(before, w.monday(w.n)); d++ {
			sum += w.usualDay(s, d)
		}
		return sum
	}
	return 0
}

func (w *watcher) sayFailure(f failure, watched int) finding {
	d := w.shop.details
	first, last := d[f.window[0]], d[f.window[len(f.window)-1]]
	count := map[string]int{}
	kind := first.Kind
	for _, i := range f.window {
		k := d[i].Kind
		if count[k]++; count[k] > count[kind] {
			kind = k
		}
	}
	n := len(f.window)
	weekly := f.chance * float64(watched) / forecast.WeeksAYear
	lead := fmt.Sprintf("%s with “%s” in the note came within %s, from %s, mostly %s; at this time of year %s in ten days would be usual. By chance some word does so %s.",
		report.Count(float64(n), "job"), f.words, report.Count(float64(last.DroppedOff-first.DroppedOff+1), "day"), report.Day(first.DroppedOff), kind, aFew(f.usual), seldom(weekly))
	has := map[int]bool{}
	for _, i := range f.jobs {
		has[i] = true
	}
	text := lead + " Ask whether they have a part, a maker or a trip in common." + w.stock(n, func(i int) bool { return has[i] }, kind)
	week := func(day forecast.Date) int { return int(day-w.monday(0)) / forecast.Week }
	return finding{series: -1, from: week(first.DroppedOff), until: week(last.DroppedOff) + 1, above: true,
		alert: Alert{Rule: "cluster", Kind: kind, Failure: f.words, Since: first.DroppedOff, Observed: float64(n), Expected: round(f.usual),
			Chance: round(f.chance), Weekly: round(weekly), Lead: lead, Summary: text}}
}

// aFew writes a small expected number.
func aFew(v float64) string {
	if v < .05 {
		return "hardly any"
	}
	return "about " + few(v)
}

// Limits of a hint at what to have in stock: so many jobs tell how long a part
// takes, and the stock lasts so often.
const (
	leastWaits = 5
	stockLasts = .9
)

// stock says how many parts would last until the next come if jobs kept coming
// as n did in the last weeks: the quantile of a count over the wait for parts
// that jobs of the failure had, or of its kind where those are too few. The
// rate is known as well as n jobs tell it, so that the count is a negative
// binomial one of that size.
func (w *watcher) stock(n int, is func(int) bool, kind string) string {
	waits := func(of func(int) bool) (out []float64) {
		for i, j := range w.shop.details {
			if of(i) && j.PartsWait.Valid && j.PartsWait.V > 0 {
				out = append(out, j.PartsWait.V)
			}
		}
		return out
	}
	days := waits(is)
	if len(days) < leastWaits {
		days = waits(func(i int) bool { return w.shop.details[i].Kind == kind })
	}
	if len(days) < leastWaits {
		return ""
	}
	lead := math.Round(forecast.NewEmpirical(days).Quantile(.5))
	rate := float64(n) / (stands * forecast.Week)
	have := forecast.NegBin{Mu: rate * lead, Size: float64(n)}.Quantile(stockLasts)
	return fmt.Sprintf(" Parts for such work took about %s to come: if these jobs need the same one and keep coming as in these weeks, %s in stock would last that long 9 times in 10.", report.Count(lead, "day"), report.Whole(have))
}
