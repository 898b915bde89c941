package ingest

// remembered is how many groups a generation of occurrences holds: decades of
// a small shop's jobs, in a few megabytes.
const remembered = 1 << 16

// occurrences counts how often each group of rows has come in a file, by a
// hash of its name, and knows its last row by another. It keeps the last
// remembered groups at least, so that a huge file needs no more memory: a group
// that comes back after more than that many others is counted from 1 again.
type occurrences struct{ recent, older map[uint64]occurrence }

type occurrence struct {
	n    int
	last uint64 // hash of the last row
}

func newOccurrences() *occurrences {
	return &occurrences{map[uint64]occurrence{}, map[uint64]occurrence{}}
}

// next counts one more of the group and gives its number, from 1, and whether
// the row's hash is that of the group's row before.
func (o *occurrences) next(group []byte, row uint64) (n int, same bool) {
	h := hash(group)
	was, ok := o.recent[h]
	if !ok {
		was = o.older[h]
		if len(o.recent) >= remembered {
			o.recent, o.older = o.older, o.recent
			clear(o.recent)
		}
	}
	o.recent[h] = occurrence{was.n + 1, row}
	return was.n + 1, was.n > 0 && was.last == row
}

// hash is 64-bit FNV-1a (Fowler, Noll and Vo), the same on every run.
func hash(texts ...[]byte) uint64 {
	h := uint64(14695981039346656037)
	for _, b := range texts {
		for _, c := range b {
			h = (h ^ uint64(c)) * 1099511628211
		}
		h = (h ^ '\t') * 1099511628211
	}
	return h
}
