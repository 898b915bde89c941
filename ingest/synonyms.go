package ingest

import (
	_ "embed"
	"fmt"
	"strings"
	"sync"
)

//go:embed headers.tsv
var headersTSV string

// A dictionary knows the headers of one kind of rows by their folded form.
type dictionary struct {
	field   map[string]string // folded header to field
	exact   map[string]bool   // whether it is the field's own name
	written map[string]string // folded header to how people write it
}

// dictionaries holds one for each kind of rows. It panics if the table names
// an unknown field or gives a header two meanings.
var dictionaries = sync.OnceValue(func() map[RowKind]dictionary {
	all := map[RowKind]dictionary{}
	for _, k := range RowKinds() {
		d := dictionary{map[string]string{}, map[string]bool{}, map[string]string{}}
		for _, name := range k.Fields() {
			f := Fold(name)
			d.field[f], d.exact[f], d.written[f] = name, true, name
		}
		all[k] = d
	}
	for _, row := range readTSV(headersTSV, 4) {
		kind, name := RowKind(row[0]), row[1]
		d, ok := all[kind]
		if _, known := kind.field(name); !ok || !known {
			panic(fmt.Sprintf("ingest: headers.tsv: %s have no %s", kind, name))
		}
		for h := range strings.SplitSeq(row[3], "|") {
			f := Fold(h)
			if old := d.field[f]; old != "" && old != name || f == "" {
				panic(fmt.Sprintf("ingest: headers.tsv: %q can't be %s and %s", h, old, name))
			}
			if d.field[f] = name; d.written[f] == "" {
				d.written[f] = h
			}
		}
	}
	return all
})
