package ingest

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"
)

//go:embed words.tsv
var wordsTSV string

// words maps table, then folded word, to the word's meaning.
var words = sync.OnceValue(func() map[string]map[string]string {
	m := map[string]map[string]string{}
	for _, row := range readTSV(wordsTSV, 4) {
		table := m[row[0]]
		if table == nil {
			table = map[string]string{}
			m[row[0]] = table
		}
		for w := range strings.SplitSeq(row[3], "|") {
			if f := foldWord(w); table[f] == "" {
				table[f] = row[1]
			} else if table[f] != row[1] {
				panic(fmt.Sprintf("ingest: words.tsv gives %q in %s two meanings", w, row[0]))
			}
		}
	}
	return m
})

// word gives the meaning of a cell by one of the tables, or "".
func word(table string, cell []byte) string {
	var short [32]byte // most words fit, and need no allocation
	if f := appendFold(short[:0], string(cell)); len(f) > 0 {
		return words()[table][string(f)]
	}
	return words()[table][foldWord(string(cell))]
}

// foldWord is Fold, except that it keeps a sign which is the whole word, such
// as a check mark.
func foldWord(s string) string {
	if f := Fold(s); f != "" {
		return f
	}
	return strings.TrimSpace(s)
}

// readTSV gives the rows of an embedded table. It panics if one hasn't the
// given number of columns.
func readTSV(s string, columns int) [][]string {
	var rows [][]string
	for line := range strings.Lines(s) {
		if line = strings.TrimSuffix(line, "\n"); line == "" || line[0] == '#' {
			continue
		}
		row := strings.Split(line, "\t")
		if len(row) != columns {
			panic(fmt.Sprintf("ingest: need %d columns in an embedded table, have %q", columns, line))
		}
		rows = append(rows, row)
	}
	return rows
}
