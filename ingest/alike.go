package ingest

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"unicode"

	"github.com/agnivade/levenshtein"
)

//go:embed kinds.tsv
var kindsTSV string

// concepts maps a folded word for a kind of job to what it means.
var concepts = sync.OnceValue(func() map[string]string {
	m := map[string]string{}
	for _, row := range readTSV(kindsTSV, 2) {
		for w := range strings.SplitSeq(row[0]+"|"+row[1], "|") {
			f := Fold(w)
			if old := m[f]; old != "" && old != row[0] {
				panic(fmt.Sprintf("ingest: kinds.tsv gives %q two meanings", w))
			}
			m[f] = row[0]
		}
	}
	return m
})

const (
	closeSpelling = 0.25 // edits as a share of the longer word's length
	fewestLetters = 5    // shorter words differ by a letter and mean something else
	commonWords   = 0.5  // words in common as a share of all
)

// Alike tells why two of a shop's words for job kinds may mean one thing, and
// how strong a reason that is, from 0 to 1: they are the same but for case and
// punctuation, or known synonyms, or spelt alike (Levenshtein 1966), or have
// half of their words in common. Without a reason, why is "". It is a hint for
// a person and merges nothing.
func Alike(a, b string) (why string, strength float64) {
	fa, fb := Fold(a), Fold(b)
	if fa == "" || fb == "" {
		return "", 0
	}
	if fa == fb {
		return "they differ in case, spaces or punctuation alone", 1
	}
	if c := concepts()[fa]; c != "" && c == concepts()[fb] {
		return "both are usual words for " + c, 0.9
	} else if c != "" && concepts()[fb] != "" {
		return "", 0 // known to be two things
	}
	la, lb := len([]rune(fa)), len([]rune(fb))
	if d := levenshtein.ComputeDistance(fa, fb); min(la, lb) >= fewestLetters && float64(d) <= closeSpelling*float64(max(la, lb)) && numbersIn(fa) == numbersIn(fb) {
		return fmt.Sprintf("they are spelt alike (%d of %d letters differ)", d, max(la, lb)), 0.9 - float64(d)/float64(max(la, lb))
	}
	wa, wb := kindWords(a), kindWords(b)
	var both []string
	for _, w := range wa {
		if slices.Contains(wb, w) {
			both = append(both, w)
		}
	}
	share := float64(len(both)) / float64(len(wa)+len(wb)-len(both))
	if len(both) > 0 && share >= commonWords {
		return "they have words in common: " + strings.Join(both, ", "), 0.6 * share
	}
	return "", 0
}

// Nearest gives the name that another is most likely a slip for, or "": the
// fewest letters apart (Levenshtein 1966), at most a third of the longer one's,
// or else one that begins with the other.
func Nearest(name string, among []string) string {
	f, best, least := Fold(name), "", math.Inf(1)
	for _, other := range among {
		o := Fold(other)
		longer := max(len([]rune(f)), len([]rune(o)))
		apart := float64(levenshtein.ComputeDistance(f, o)) / float64(max(1, longer))
		begins := f != "" && o != "" && (strings.HasPrefix(f, o) || strings.HasPrefix(o, f))
		if apart <= slip && apart < least {
			best, least = other, apart
		} else if begins && least > slip && 1+apart < least {
			best, least = other, 1+apart
		}
	}
	return best
}

// slip is the letters in which a slip may differ, as a share of the longer word.
const slip = 1. / 3

// numbersIn keeps what numbers a name holds: "30 amp" isn't "50 amp".
func numbersIn(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsDigit(r) {
			return r
		}
		return -1
	}, s)
}

// kindWords parts a name into folded words, without those that say nothing
// of the kind.
func kindWords(s string) []string {
	var words []string
	for w := range strings.FieldsFuncSeq(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
		if f := Fold(w); !slices.Contains(emptyWords, f) && !slices.Contains(words, f) {
			words = append(words, f)
		}
	}
	return words
}

var emptyWords = []string{"", "and", "the", "of", "repair", "repairs", "service", "job", "work", "und", "et", "y", "de"}
