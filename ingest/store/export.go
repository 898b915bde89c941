package store

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"freshet/ingest"
)

// Export writes all records of a kind as CSV with the headers that ingest
// knows, and gives their number. Texts that a spreadsheet would run as
// formulas are guarded; taken in again, the file changes nothing. It panics if
// there is no such kind.
func (s *Store) Export(ctx context.Context, kind ingest.RowKind, w io.Writer) (n int, err error) {
	t, ok := tables[kind]
	if !ok {
		panic("store: no rows of kind " + string(kind))
	}
	order := "key"
	if kind == ingest.DropOffs { // lines of one order and kind as they are counted: 2 before 10
		order = "ro, length(key), key"
	}
	out := csv.NewWriter(w)
	out.Write(kind.Fields())
	rows, err := s.r.QueryContext(ctx, "SELECT key, "+strings.Join(t.columns, ", ")+" FROM "+t.name+" ORDER BY "+order)
	if err != nil {
		return 0, wrap(err)
	}
	defer rows.Close()
	values := make([]any, 1+len(t.columns))
	scan := into(values)
	for rows.Next() {
		if err := rows.Scan(scan...); err != nil {
			return n, wrap(err)
		}
		cells := make([]string, 0, len(values))
		for i, v := range values[1:] {
			cells = append(cells, cellOf(v, t.columns[i]))
		}
		if kind == ingest.DropOffs {
			line := ""
			if parts := strings.Split(values[0].(string), "\t"); len(parts) == 2 {
				line = ingest.Guard(parts[1])
			}
			cells = slices.Insert(cells, slices.Index(kind.Fields(), "line"), line)
		}
		if err := out.Write(cells); err != nil {
			return n, wrap(err)
		}
		n++
	}
	if err := rows.Err(); err != nil {
		return n, wrap(err)
	}
	out.Flush()
	return n, wrap(out.Error())
}

func cellOf(v any, column string) string {
	switch v := v.(type) {
	case nil:
		return ""
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case int64: // emergency, deferrable
		return map[bool]string{true: "yes", false: "no"}[v == 1]
	case string:
		return ingest.Guard(v)
	}
	panic(fmt.Sprintf("store: a %T in %s", v, column))
}

// ExportRejects writes the rejected rows of a batch, but for those that hold no
// record, as a file of the same headers, with the reason in a last column, and
// gives their number. Mended, it can be taken in again; see Import.
func (s *Store) ExportRejects(ctx context.Context, b Batch, w io.Writer) (n int, err error) {
	out := csv.NewWriter(w)
	out.Comma = rune(b.Delimiter)
	if b.Delimiter != ',' { // else it might be taken for a comma, and 1,5 for 15
		fmt.Fprintf(w, "sep=%c\n", b.Delimiter)
	}
	headers := make([]string, len(b.Headers))
	for i, h := range b.Headers {
		headers[i] = ingest.Guard(h)
	}
	out.Write(append(headers, ingest.ReasonHeader))
	rows, err := s.r.QueryContext(ctx, "SELECT line, column_, value, reason, row_ FROM rejects WHERE batch = ? ORDER BY line", b.ID)
	if err != nil {
		return 0, wrap(err)
	}
	defer rows.Close()
	for rows.Next() {
		bad := ingest.RowError{File: b.File}
		var row string
		if err := rows.Scan(&bad.Line, &bad.Column, &bad.Value, &bad.Reason, &row); err != nil {
			return n, wrap(err)
		}
		if bad.NoRecord() {
			continue
		}
		kept := csv.NewReader(strings.NewReader(row))
		cells, err := kept.Read()
		if err != nil && err != io.EOF {
			return n, wrap(err)
		}
		for i, c := range cells {
			cells[i] = ingest.Guard(c)
		}
		for len(cells) < len(b.Headers) {
			cells = append(cells, "")
		}
		if err := out.Write(slices.Insert(cells, len(b.Headers), ingest.Guard(rejection{b.ID, int64(bad.Line)}.why(&bad)))); err != nil {
			return n, wrap(err)
		}
		n++
	}
	if err := rows.Err(); err != nil {
		return n, wrap(err)
	}
	out.Flush()
	return n, wrap(out.Error())
}
