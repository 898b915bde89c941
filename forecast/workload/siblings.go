package workload

import (
	"maps"
	"math"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/forecast/counts"
)

// Lesson is what one shop's records teach about shops like it, in a form that
// can be kept.
type Lesson struct {
	AsOf  forecast.Date
	Total counts.Lesson
	Kinds []KindLesson
}

// KindLesson is the part of a Lesson that one job kind has.
type KindLesson struct {
	Name   string
	Jobs   float64        // of the last three years
	Season *counts.Lesson // of the kind's weight in the total; nil where it has a constant share
	Hours  []float64      // of a finished job, at evenly spread shares
}

// Siblings is what shops of one sort have in common: what a new or tiny one
// borrows. Names of kinds are compared without regard to case and spaces. Pool
// makes it; it may be kept as JSON.
type Siblings struct {
	Shops int           // that it was learned from
	AsOf  forecast.Date // of the newest lesson: nothing is borrowed for an earlier day
	Total *counts.Usual
	Kinds map[string]Sibling
	Worth float64 // jobs that the kinds' shares are worth
}

// Sibling is what shops of one sort have in common in one kind of job.
type Sibling struct {
	Share  float64       // of all jobs
	Season *counts.Usual // of its weight in the total; nil where that is constant
	Hours  []float64     // of a finished job, at evenly spread shares
	Mean   float64       // of all finished jobs' hours
	Apart  float64       // standard deviation of the shops' log mean hours
}

// keptHours is how many hours of each kind a Lesson has, pooledHours how many
// Siblings have.
const keptHours, pooledHours = 40, 80

// kindSeason is the harmonics of a kind's weight in the total.
const kindSeason = 4

// Lesson gives what the fit's records teach, or the error of the count model
// where another was better and this one can't be had.
func (f *Fit) Lesson() (Lesson, error) {
	total, ok := chosen(f.total).(*counts.Fit)
	if !ok {
		p := f.past
		fit, err := Shifting(p).Fit(p.Total.Like(p.Lasting(p.Total.Values)))
		if err != nil {
			return Lesson{}, err
		}
		total = fit.(*counts.Fit)
	}
	l := Lesson{AsOf: f.past.AsOf, Total: total.Lesson()}
	for k, kf := range f.kinds {
		kl := KindLesson{Name: f.past.Kinds[k], Jobs: kf.jobs}
		if kf.fit != nil {
			season := kf.fit.Lesson()
			kl.Season = &season
		}
		kl.Hours = spread(kf.hours, keptHours)
		l.Kinds = append(l.Kinds, kl)
	}
	return l, nil
}

// Limits of what is taken from others, our own: how many jobs their shares and
// their mean hours may be worth to a shop.
const (
	leastWorth, mostWorth = 10, 400
	hoursWorth            = 30
)

// Pool finds what shops of one sort have in common, each counting by what it
// knows: seasons and roughness as [counts.Pool] does, shares of kinds as a
// Dirichlet prior whose weight follows from how far the shops' shares are apart
// (by moments), hours from all shops' jobs. It gives nil without lessons.
func Pool(lessons []Lesson) *Siblings {
	s := &Siblings{Kinds: map[string]Sibling{}}
	var totals []counts.Lesson
	var jobs []float64                   // of each shop
	byKind := map[string][]*KindLesson{} // by shop, nil where it has none
	for i, l := range lessons {
		totals = append(totals, l.Total)
		s.AsOf = max(s.AsOf, l.AsOf)
		sum := 0.0
		for k := range l.Kinds {
			kl := &l.Kinds[k]
			sum += kl.Jobs
			if byKind[named(kl.Name)] == nil {
				byKind[named(kl.Name)] = make([]*KindLesson, len(lessons))
			}
			byKind[named(kl.Name)][i] = kl
		}
		jobs = append(jobs, sum)
	}
	if s.Total = counts.Pool(totals, counts.DefaultHarmonics); s.Total == nil {
		return nil
	}
	s.Shops = len(lessons)
	chance, between := 0.0, 0.0
	for _, name := range slices.Sorted(maps.Keys(byKind)) {
		k, of := Sibling{}, byKind[name]
		var seasons []counts.Lesson
		var means, shares, sizes []float64
		n := 0.0
		for i, kl := range of {
			if jobs[i] == 0 {
				continue
			}
			share := 0.0
			if kl != nil {
				share = kl.Jobs / jobs[i]
				k.Hours = append(k.Hours, kl.Hours...)
				if m := mean(kl.Hours); len(kl.Hours) == keptHours && m > 0 {
					means = append(means, math.Log(m))
				}
				if kl.Season != nil {
					seasons = append(seasons, *kl.Season)
				}
			}
			n += jobs[i]
			k.Share += (share - k.Share) * jobs[i] / n
			shares, sizes = append(shares, share), append(sizes, jobs[i])
		}
		for i, v := range shares {
			chance += k.Share * (1 - k.Share)
			between += (v-k.Share)*(v-k.Share) - k.Share*(1-k.Share)/sizes[i]
		}
		k.Season = counts.Pool(seasons, kindSeason)
		if len(k.Hours) > 0 {
			k.Mean = mean(k.Hours)
			k.Hours = spread(k.Hours, pooledHours)
		}
		k.Apart = apart(means)
		s.Kinds[name] = k
	}
	s.Worth = leastWorth
	if len(lessons) > 2 {
		s.Worth = mostWorth
		if between > 0 {
			s.Worth = max(leastWorth, min(mostWorth, chance/between-1))
		}
	}
	return s
}

// spread gives so many of the values at most, at evenly spread shares, to the
// hundredth.
func spread(values []float64, most int) []float64 {
	n := min(len(values), most)
	if n == 0 {
		return nil
	}
	all, out := forecast.NewEmpirical(slices.Clone(values)), make([]float64, n)
	for i := range out {
		out[i] = math.Round(100*all.Quantile((float64(i)+.5)/float64(n))) / 100
	}
	return out
}

// apart gives the spread of values around their mean, held at a fifth by a
// prior worth three values.
func apart(values []float64) float64 {
	const usual, worth = .2, 3
	sum, middle := worth*usual*usual, mean(values)
	for _, v := range values {
		sum += (v - middle) * (v - middle)
	}
	return math.Sqrt(sum / (worth + float64(len(values))))
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

func named(kind string) string { return strings.ToLower(strings.TrimSpace(kind)) }

// shares gives the jobs of each kind that a shop with these kinds is given
// beforehand: one of each without siblings.
func (s *Siblings) shares(kinds []string) []float64 {
	jobs, sum := make([]float64, len(kinds)), 0.0
	if s == nil {
		for k := range jobs {
			jobs[k] = 1
		}
		return jobs
	}
	for k, name := range kinds {
		jobs[k] = s.Kinds[named(name)].Share
		sum += jobs[k]
	}
	for k := range jobs {
		jobs[k] = max(1, jobs[k]/max(sum, 1e-9)*s.Worth)
	}
	return jobs
}

// kind gives what siblings teach of a kind, false if nothing.
func (s *Siblings) kind(name string) (Sibling, bool) {
	if s == nil {
		return Sibling{}, false
	}
	k, ok := s.Kinds[named(name)]
	return k, ok
}

// usual gives what the shops' totals have in common, nil without siblings.
func (s *Siblings) usual() *counts.Usual {
	if s == nil {
		return nil
	}
	return s.Total
}

// lean has a kind's hours drawn from its siblings' jobs, longer or shorter as
// the shop's own jobs are, where its own are too few.
func (f *Fit) lean(k int, times float64) {
	kf := &f.kinds[k]
	kf.like = f.pool
	if s, ok := f.past.Siblings.kind(f.past.Kinds[k]); ok && len(s.Hours) > 0 {
		kf.like = make([]float64, len(s.Hours))
		for i, h := range s.Hours {
			kf.like[i] = times * h
		}
		kf.rough = min(kf.rough, s.Apart)
	}
}

// longer gives how much longer the shop's jobs take than its siblings' of the
// same kinds, held near 1 where it has few.
func (f *Fit) longer() float64 {
	has, usual, n := 0.0, 0.0, 0.0
	for k, kf := range f.kinds {
		if s, ok := f.past.Siblings.kind(f.past.Kinds[k]); ok && s.Mean > 0 {
			for _, h := range kf.hours {
				has += h
				usual += s.Mean
				n++
			}
		}
	}
	if has == 0 {
		return 1
	}
	return math.Pow(has/usual, n/(n+hoursWorth))
}

// hours gives those of jobs of any of the kinds.
func (s *Siblings) hours(kinds []string) (all []float64) {
	for _, name := range kinds {
		k, _ := s.kind(name)
		all = append(all, k.Hours...)
	}
	return all
}
