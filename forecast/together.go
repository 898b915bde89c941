package forecast

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
)

// Together does n pieces of work on all cores, begun in their order, and gives
// the error of the first of them that fails; none begins after that. It panics
// if that piece does, with what it said and where: in a goroutine of its own
// nobody could recover from it, and the whole program would end.
func Together(n int, do func(i int) error) error {
	var (
		wg     sync.WaitGroup
		begun  atomic.Int64
		mu     sync.Mutex
		failed = n // the first piece that did
		how    error
		broken any
	)
	fail := func(i int, err error, panicked any) {
		mu.Lock()
		defer mu.Unlock()
		if i < failed {
			failed, how, broken = i, err, panicked
		}
		begun.Store(int64(n))
	}
	one := func(i int) {
		defer func() {
			if p := recover(); p != nil {
				fail(i, nil, fmt.Sprintf("%v\n\n%s", p, debug.Stack()))
			}
		}()
		if err := do(i); err != nil {
			fail(i, err, nil)
		}
	}
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := begun.Add(1) - 1; i < int64(n); i = begun.Add(1) - 1 {
				one(int(i))
			}
		})
	}
	wg.Wait()
	if broken != nil {
		panic(broken)
	}
	return how
}
