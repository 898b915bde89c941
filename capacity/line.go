package capacity

import (
	"math"
	"slices"
)

// place is where a task stands in line: by its day of drop-off, then by its
// number.
type place int64

const nobody place = math.MaxInt64 // behind all

func placeOf(in, task int) place { return place(in)<<32 | place(task) }

func (p place) task() int { return int(p & (1<<32 - 1)) }

// line is tasks in order. Most come in at its end, or back to its front.
type line struct {
	first  place // nobody where it is empty
	places []place
	gone   int // of the places, those that have left from the front
}

func (l *line) clear() { l.first, l.places, l.gone = nobody, l.places[:0], 0 }

func (l *line) pop() place {
	p := l.first
	if l.gone++; l.gone == len(l.places) {
		l.clear()
	} else {
		l.first = l.places[l.gone]
	}
	return p
}

func (l *line) stand(p place) {
	switch n := len(l.places); {
	case n == 0 || l.places[n-1] < p:
		l.places = append(l.places, p)
	case l.gone > 0: // those before it, mostly few, move up
		l.gone--
		at := l.gone
		for ; l.places[at+1] < p; at++ {
			l.places[at] = l.places[at+1]
		}
		l.places[at] = p
	default:
		at, _ := slices.BinarySearch(l.places, p)
		l.places = slices.Insert(l.places, at, p)
	}
	l.first = min(l.first, p)
}
