package desk

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
)

// detailYears is how far back single jobs are read for the watch: who brought
// them, how urgent they were, what was noted.
const detailYears = 3

// readDetails takes in the jobs that tell what drives an odd week, and which
// failures come in clusters.
func (s *shop) readDetails(ctx context.Context, db *store.Store) (err error) {
	s.details, err = s.since(ctx, db, s.ask.AsOf-detailYears*365)
	return err
}

// quality is something that some jobs have, to be set against its usual share
// of all.
type quality struct {
	name string // as in "12 were …"
	has  func(i int, j store.Job) bool
}

// qualities gives those that the records tell.
func (s *shop) qualities() []quality {
	out := []quality{
		{"emergencies", func(_ int, j store.Job) bool { return j.Emergency }},
		{"comebacks", func(_ int, j store.Job) bool { return j.ComebackOf != "" }},
	}
	if been := s.beenHere(); been != nil {
		out = append(out,
			quality{"of rigs that had been here before", func(i int, _ store.Job) bool { return been[i] == again }},
			quality{"of rigs that were new here", func(i int, _ store.Job) bool { return been[i] == fresh }})
	}
	return out
}

// What is known of a job's rig.
const (
	unnamed = iota
	fresh
	again
)

// Where a column names rigs: in most jobs, and with few repair orders a name.
// One that says "travel trailer" tells no rigs apart.
const (
	namedShare = .8
	mostOrders = 4
)

// beenHere tells of each job whether its rig had been here before, on another
// repair order and as far back as details go; nil where the records don't tell
// rigs apart.
func (s *shop) beenHere() []int {
	first := map[string]string{} // repair order on which a rig was first here
	orders := map[string]bool{}
	out := make([]int, len(s.details))
	named := 0
	for i, j := range s.details {
		rig := ingest.Fold(j.Unit)
		if rig == "" {
			continue
		}
		named++
		orders[j.RO] = true
		switch ro, ok := first[rig]; {
		case !ok:
			first[rig], out[i] = j.RO, fresh
		case ro == j.RO:
			out[i] = fresh
		default:
			out[i] = again
		}
	}
	if float64(named) < namedShare*float64(len(out)) || len(orders) > mostOrders*len(first) {
		return nil
	}
	return out
}

// Limits of what is worth a word: a chance of one in twenty for all
// together, and at least half of what is odd about the whole.
const (
	qualityChance = .05
	qualityShare  = .5
)

// qualities says what sort of jobs an odd stretch of the whole is made of: those
// that are further from their share of the year before than chance explains,
// and make up most of the difference.
func (w *watcher) qualities(f finding) string {
	from, until := w.monday(f.from), w.monday(f.until)
	lines := w.shop.details
	at := func(d forecast.Date) int {
		i, _ := slices.BinarySearchFunc(lines, d, func(j store.Job, d forecast.Date) int { return int(j.DroppedOff - d) })
		return i
	}
	before, begin, end := at(from-365), at(from), at(until)
	if begin-before < leastBefore || end == begin {
		return ""
	}
	odd := f.alert.Observed - f.alert.Expected
	var said []string
	all := w.shop.qualities()
	for _, q := range all {
		usual, now := 0, 0
		for i := before; i < end; i++ {
			switch {
			case !q.has(i, lines[i]):
			case i < begin:
				usual++
			default:
				now++
			}
		}
		share := (float64(usual) + .5) / float64(begin-before+1)
		b := distuv.Binomial{N: float64(end - begin), P: share}
		expected := share * f.alert.Expected
		chance := b.Survival(float64(now) - 1)
		if !f.above {
			chance = b.CDF(float64(now))
		}
		if excess := float64(now) - expected; chance < qualityChance/float64(len(all)) && excess/odd > qualityShare {
			said = append(said, fmt.Sprintf("%d were %s, where %s would be usual", now, q.name, few(expected)))
		}
	}
	if said == nil {
		return ""
	}
	return " " + strings.Join(said, "; ") + "."
}

// leastBefore is how many jobs of the year before tell what is usual.
const leastBefore = 100
