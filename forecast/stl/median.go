package stl

// median6 gives six times the median of a, as the bisquare weights take it,
// with the numbers of the authors' Fortran, which R runs. That code asks a
// partial sort (Singleton 1969, algorithm 347) for the two middle ranks in
// falling order, while the sort expects them rising: when a split happens to
// fall right between the two, one of them stays where it was, some ranks off.
// We keep that, since it moves the weights' scale by a few percent at most,
// and results that agree with everyone else's are worth more. It reorders a.
func median6(a []float64) float64 {
	upper := len(a) / 2
	lower := len(a) - 1 - upper
	settle(a, 0, len(a)-1, []int{upper, lower})
	return 3 * (a[upper] + a[lower])
}

// settle sorts a[i] to a[j] as far as it takes to bring the wanted ranks to
// their places.
func settle(a []float64, i, j int, want []int) {
	for len(want) > 0 && i < j && (i == 0 || j-i > 10) {
		l, k := part(a, i, j)
		// One side keeps the ranks that are surely not the other's; the authors
		// look at one end of want only, and give both sides all of it if none
		// remains.
		cut := 0
		if l-i <= j-k {
			for cut = len(want); cut > 0 && want[cut-1] > l; cut-- {
			}
			if cut == 0 {
				i = k
				continue
			}
			settle(a, k, j, want[cut:])
			j, want = l, want[:cut]
		} else {
			for cut < len(want) && want[cut] < k {
				cut++
			}
			if cut == len(want) {
				j = l
				continue
			}
			settle(a, i, l, want[:cut])
			i, want = k, want[cut:]
		}
	}
	if len(want) == 0 || i == 0 {
		return
	}
	for ; i < j; i++ {
		t, k := a[i+1], i
		for ; t < a[k]; k-- { // a[i-1] is no greater than what is sorted here
			a[k+1] = a[k]
		}
		a[k+1] = t
	}
}

// part splits a[i] to a[j] about the median of its first, middle and last
// value: a[i..l] are no greater than a[k..j], and what lies between is in place.
func part(a []float64, i, j int) (l, k int) {
	mid := (i+j+2)/2 - 1 // as when counted from 1
	t := a[mid]
	if a[i] > t {
		a[mid], a[i] = a[i], t
		t = a[mid]
	}
	if a[j] < t {
		a[mid], a[j] = a[j], t
		t = a[mid]
		if a[i] > t {
			a[mid], a[i] = a[i], t
			t = a[mid]
		}
	}
	for l, k = j, i; ; a[l], a[k] = a[k], a[l] {
		for l--; a[l] > t; l-- {
		}
		for k++; a[k] < t; k++ {
		}
		if k > l {
			return l, k
		}
	}
}
