package capacity

import (
	"math/rand/v2"
	"slices"

	"freshet/forecast"
)

// Ready follows the jobs in the shop through n possible futures, each with its
// own hours, parts and arrivals, and gives for each job the days of the floor on
// which it is ready, rising: the floor's Days where it isn't within them.
func (h Habits) Ready(f *Floor, open []OpenJob, n int, rng *rand.Rand) [][]int {
	out := make([][]int, len(open))
	inShop := make([]opening, len(open))
	for i, j := range open {
		inShop[i], out[i] = h.opening(j, f.Start), make([]int, n)
	}
	seeds := make([]uint64, n)
	for i := range seeds {
		seeds[i] = rng.Uint64()
	}
	forecast.Together(n, func(i int) error {
		own := runners.Get().(*runner)
		defer runners.Put(own)
		run := &own.run
		r := rand.New(rand.NewPCG(seeds[i], uint64(i)))
		tasks := own.room[:0]
		for _, o := range inShop {
			tasks = append(tasks, o.task(r))
		}
		own.room = tasks
		run.begin(f, tasks)
		coming := h.arrivals(r)
		for d, ready := 0, 0; d < f.Days; d++ {
			for ready < len(open) && int(run.jobs[ready].ready) < f.Days {
				ready++
			}
			if ready == len(open) {
				break
			}
			for coming.day() <= d {
				run.more(coming.task())
			}
			run.day(d)
		}
		for k := range out {
			out[k][i] = int(run.jobs[k].ready)
		}
		return nil
	})
	for _, days := range out {
		slices.Sort(days)
	}
	return out
}
