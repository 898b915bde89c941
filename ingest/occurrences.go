package ingest

// remembered is how many groups a generation of occurrences holds: decades of
// a small shop's jobs, in a few megabytes.
const remembered = 1 << 16

// occurrences counts how often each group of rows has come in a file, by a
// hash of its name. It keeps the last remembered groups at least, so that a
// huge file needs no more memory: a group that comes back after more than that
// many others is counted from 1 again.
type occurrences struct{ recent, older map[uint64]int }

func newOccurrences() *occurrences {
	return &occurrences{map[uint64]int{}, map[uint64]int{}}
}

// next counts one more of the group and gives its number, from 1.
func (o *occurrences) next(group []byte) int {
	h := hash(group)
	n, ok := o.recent[h]
	if !ok {
		n = o.older[h]
		if len(o.recent) >= remembered {
			o.recent, o.older = o.older, o.recent
			clear(o.recent)
		}
	}
	o.recent[h] = n + 1
	return n + 1
}

// hash is 64-bit FNV-1a (Fowler, Noll and Vo), the same on every run.
func hash(b []byte) uint64 {
	h := uint64(14695981039346656037)
	for _, c := range b {
		h = (h ^ uint64(c)) * 1099511628211
	}
	return h
}
