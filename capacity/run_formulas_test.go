package capacity

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"

	"freshet/capacity/queue"
)

// meanJob is a job's mean length on the floors below, in days of one
// technician: so long that a whole day is small beside it.
const meanJob = 50

// settled works so many jobs, in line one after the other, on a floor that
// never closes, and gives each one's wait in days. lengths draws a job's length
// in mean ones; load is the mean number of busy technicians.
func settled(t *testing.T, technicians, jobs int, load float64, lengths func(*rand.Rand) float64) []float64 {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, uint64(technicians)))
	crew := hands(technicians)
	for i := range crew {
		crew[i].WeeklyHours, crew[i].Productivity = 168, 1
	}
	const dayHours = 24
	tasks := make([]Task, jobs)
	at := 0.0
	for i := range tasks {
		at += rng.ExpFloat64() * meanJob / load
		in := int(math.Ceil(at))
		tasks[i] = Task{In: in, From: in, Hours: lengths(rng) * meanJob * dayHours, Rank: Usual}
	}
	days := tasks[jobs-1].In + 1
	f, err := NewFloor(crew, Calendar{Week: [7]float64{1, 1, 1, 1, 1, 1, 1}}, nil, []string{"one"}, floorStart, days)
	if err != nil {
		t.Fatal(err)
	}
	var r Run
	r.Done(f, tasks, -1, days)
	waits := make([]float64, jobs)
	for i, task := range tasks {
		waits[i] = float64(int(r.jobs[i].first) - task.In) // one that hasn't begun has waited until the last day
	}
	return waits
}

// batched gives the mean of some figure of the waits, and its standard error by
// the means of twenty batches, the first left out as it begins with an empty
// floor.
func batched(waits []float64, figure func(float64) float64) (mean, se float64) {
	const batches = 21
	n := len(waits) / batches
	var means []float64
	for b := 1; b < batches; b++ {
		sum := 0.0
		for _, w := range waits[b*n : (b+1)*n] {
			sum += figure(w)
		}
		means = append(means, sum/float64(n))
	}
	mean, sd := stat.MeanStdDev(means, nil)
	return mean, sd / math.Sqrt(float64(len(means)))
}

// The floor worked day by day against the formulas for lines that have settled
// down. The error is four standard errors of the simulation, a day for counting
// in whole days, and for Allen and Cunneen's approximation a tenth.
func TestFloorAgainstTheFormulas(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds")
	}
	const jobs = 42_000
	random := (*rand.Rand).ExpFloat64
	equal := func(*rand.Rand) float64 { return 1 }
	// Half of the time of one kind, half of ten times as long: squared
	// coefficient of variation (1²+10²)/2 / 5.5² - 1 = .669.
	mixed := func(r *rand.Rand) float64 { return []float64{1, 10}[r.IntN(2)] / 5.5 }
	const mixedCV2 = 101/2./(5.5*5.5) - 1
	wait := func(w float64) float64 { return w }
	over := func(days float64) func(float64) float64 {
		return func(w float64) float64 {
			if w > days {
				return 1
			}
			return 0
		}
	}
	check := func(what string, waits []float64, figure func(float64) float64, want, tolerance float64) {
		t.Helper()
		have, se := batched(waits, figure)
		t.Logf("%s: formula %.4g, floor %.4g, standard error %.2g", what, want, have, se)
		if math.Abs(have-want) > 4*se+tolerance {
			t.Errorf("%s: want %.4g ± %.2g, have %.4g", what, want, 4*se+tolerance, have)
		}
	}
	for _, q := range []queue.MMC{{Servers: 1, Arrivals: .7, Service: 1}, {Servers: 3, Arrivals: 2.4, Service: 1}, {Servers: 6, Arrivals: 5, Service: 1}} {
		waits := settled(t, q.Servers, jobs, q.Load(), random)
		name := map[int]string{1: "one technician", 3: "three", 6: "six"}[q.Servers]
		check(name+", days until the front", waits, wait, meanJob*q.Wait(), 1)
		check(name+", chance to wait (Erlang C)", waits, over(.5), q.ChanceWait(), q.ChanceWait()/meanJob)
		check(name+", chance to wait longer than a job", waits, over(meanJob), q.ChanceWaitOver(1), q.ChanceWaitOver(1)/meanJob)
	}
	for name, c := range map[string]struct {
		lengths func(*rand.Rand) float64
		cv2     float64
	}{"equal jobs": {equal, 0}, "jobs of two lengths": {mixed, mixedCV2}} {
		want := queue.PollaczekKhinchine(.75, 1, math.Sqrt(c.cv2)) / .75 // waiting over arrivals: the wait
		check(name+", one technician (Pollaczek-Khinchine)", settled(t, 1, jobs, .75, c.lengths), wait, meanJob*want, 1)
		q := queue.MMC{Servers: 3, Arrivals: 2.55, Service: 1}
		want = meanJob * queue.AllenCunneen(q, 1, c.cv2)
		check(name+", three (Allen-Cunneen)", settled(t, 3, jobs, 2.55, c.lengths), wait, want, 1+want/10)
	}
}
