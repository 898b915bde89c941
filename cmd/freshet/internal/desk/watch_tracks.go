package desk

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"freshet/forecast"
	"freshet/forecast/counts"
	"freshet/forecast/watch"
	"freshet/forecast/workload"

	"gonum.org/v1/gonum/stat/distuv"
)

// watcher follows the shop's total and each common kind through the last
// weeks. Nothing is fitted week by week: joint futures drawn at an origin are
// weighed by what came since.
type watcher struct {
	shop   *shop
	first  int       // step of known.Total that week 0 is
	n      int       // weeks watched
	series []*series // the total, then kinds
	rare   []int     // kinds too seldom for a series
	gaps   []finding
	gap    []bool // weeks that a gap or a back-entry touches

	renamed map[int]bool // kinds of which one became the other

	usualHours map[string]float64 // of a job by kind, once asked for
}

// series is one count followed by tracks, each from its own first week on.
type series struct {
	name   string
	kind   int // -1: all
	starts []int
	tracks []*watch.Track
	odd    []finding // by sort of change, then by week
}

// window gives the distribution of the weeks from..until-1 as known before
// them, by the newest track that was drawn by then.
func (s *series) window(from, until int) (d watch.Mixture, sum float64, n int) {
	i := s.newest(from)
	return s.tracks[i].Window(from-s.starts[i], until-s.starts[i])
}

// mean gives what a week was expected to bring, on record or not.
func (s *series) mean(t int) float64 {
	i := s.newest(t)
	return s.tracks[i].Mean(t - s.starts[i])
}

func (s *series) newest(t int) int {
	i := len(s.starts) - 1
	for s.starts[i] > t {
		i--
	}
	return i
}

func (w *watcher) monday(t int) forecast.Date { return w.shop.known.Total.At(w.first + t) }

// Paths that a total and a kind get, and the drop-offs in three years that make
// a kind common.
const (
	totalPaths = 1000
	kindPaths  = 500
	common     = 60
	mostKinds  = 24
	// A kind is fitted with fewer harmonics than the whole, and to the newest
	// records: its counts are small and its share may have moved.
	kindHarmonics = 4
	kindWeeks     = 5 * 52
)

// watcher gives the shop's watcher, made once; nil where the history is too
// short.
func (s *shop) watcher() (*watcher, error) {
	if s.odd != nil {
		return s.odd, nil
	}
	var err error
	s.odd, err = s.newWatcher()
	return s.odd, err
}

// newWatcher gives nil where the history is too short.
func (s *shop) newWatcher() (*watcher, error) {
	total := s.known.Total
	w := &watcher{shop: s, first: max(0, total.Len()-watched)}
	for w.first < total.Len() && total.Slice(0, w.first).Observed() < leastKnown {
		w.first++
	}
	w.n = total.Len() - w.first
	if w.n < 1 {
		return nil, nil
	}
	w.gap = make([]bool, w.n)
	if err := w.follow(); err != nil {
		return nil, err
	}
	if w.findGaps() { // once more, without the weeks that the records don't tell
		if err := w.follow(); err != nil {
			return nil, err
		}
	}
	return w, w.weigh()
}

// follow draws and weighs the tracks.
func (w *watcher) follow() error {
	s := w.shop
	starts := []int{0}
	if w.n > refit {
		starts = append(starts, w.n-refit)
	}
	all := &series{name: everything, kind: -1, starts: starts, tracks: make([]*watch.Track, len(starts))}
	w.series, w.rare = []*series{all}, nil
	origin := s.book.Known(w.monday(0))
	var work []func() error
	for i, start := range starts {
		past := origin
		if start > 0 {
			past = s.book.Known(w.monday(start))
		}
		work = append(work, func() (err error) {
			all.tracks[i], err = w.track(past.Total.Like(past.Lasting(past.Total.Values)), s.known.Total.Values, start, workload.Counts(past), uint64(i), totalPaths)
			return err
		})
	}
	type sized struct {
		kind int
		n    float64
	}
	var kinds []sized
	for k, values := range origin.ByKind {
		n := 0.0
		for _, v := range values[max(0, len(values)-156):] {
			if !math.IsNaN(v) {
				n += v
			}
		}
		kinds = append(kinds, sized{k, n})
	}
	slices.SortStableFunc(kinds, func(a, b sized) int { return int(b.n - a.n) })
	for i, k := range kinds {
		if k.n < common || i >= mostKinds {
			w.rare = append(w.rare, k.kind)
			continue
		}
		one := &series{name: s.book.Kinds[k.kind], kind: k.kind, starts: starts[:1], tracks: make([]*watch.Track, 1)}
		w.series = append(w.series, one)
		work = append(work, func() (err error) {
			model := workload.Counts(origin).(counts.Model)
			model.Harmonics = kindHarmonics
			before := origin.Total.Like(origin.Lasting(origin.ByKind[k.kind]))
			before = before.Slice(max(0, before.Len()-kindWeeks), before.Len())
			one.tracks[0], err = w.track(before, s.known.ByKind[k.kind], 0, model, uint64(100+k.kind), kindPaths)
			return err
		})
	}
	return together(work)
}

// track fits a model to the weeks before start and follows it from there on
// through all that came.
func (w *watcher) track(before forecast.Series, all []float64, start int, model forecast.Model, stream uint64, paths int) (*watch.Track, error) {
	history := before.Like(slices.Clone(before.Values))
	came := slices.Clone(all[w.first+start:])
	for t, gap := range w.gap {
		if !gap {
			continue
		}
		if t >= start {
			came[t-start] = math.NaN()
		} else if i := len(history.Values) - start + t; i >= 0 {
			history.Values[i] = math.NaN()
		}
	}
	fit, err := model.Fit(history)
	if err != nil {
		return nil, err
	}
	f, ok := fit.(*counts.Fit)
	if !ok {
		panic(fmt.Sprintf("desk: need a count model, have %T", fit))
	}
	means := f.Means(len(came), paths, rand.New(rand.NewPCG(w.shop.ask.Seed, stream+1)))
	shiftSeason(means, f)
	return watch.NewTrack(means, f.Size(), came), nil
}

// shiftSeason lets each path's season come early or late, as seasons do: what
// the level does of itself is too slow for a rise that comes a week early. Paths
// are weighed by what came, so that the date is learned. The dates are equally
// likely ones, each on as many paths.
func shiftSeason(means forecast.Paths, f *counts.Fit) {
	for d := range seasonDates {
		late := seasonShiftSD * distuv.UnitNormal.Quantile((float64(d)+.5)/seasonDates)
		for t := range means.H {
			times := f.Season(float64(t)-late) / f.Season(float64(t))
			for i := d; i < means.N(); i += seasonDates {
				means.Path(i)[t] *= times
			}
		}
	}
}

// seasonDates is how many dates a season may have: less than a day apart but at
// the ends.
const seasonDates = 25

// together runs pieces of work on all cores and gives the first error.
func together(work []func() error) error {
	return forecast.Together(len(work), func(i int) error { return work[i]() })
}
