package ingest

import (
	"bytes"
	"strings"
	"testing"
	"testing/iotest"
)

func FuzzReader(f *testing.F) {
	for _, s := range []string{
		"ro_number,dropped_off\n1,2025-03-04\n",
		"\ufeff\"ro\",\"date in\"\r\n1,31/12/2024\r\n",
		"sep=;\nro;date in;kind\n1;4.3.2025;\"a\n\"\"b\"\n",
		"ro,date in\r1,2025-03-04\r\r",
		"Title\n\nro,date in,hours\n1,3/13/2025,5\" screen\nTotal,,3\n",
		"ro,date in\n\"1,2025-03-04\n2,\"2025\"-03-05\n\"",
		"\xff\xfer\x00o\x00,\x00d\x00\n\x00",
		"ro,date in\n1\x00,\xfc\n\"a\x00\n\",,,,\n",
		"ro\tdate in\n1\t45720.5\n",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		read := func(slow bool) (outcomes []string, tally Tally) {
			var r *Reader
			s, err := Open("f.csv", bytes.NewReader(b))
			if slow {
				s, err = Open("f.csv", iotest.OneByteReader(bytes.NewReader(b)))
			}
			if err == nil && len(s.Headers) >= 2 {
				l := Layout{Kind: DropOffs, DateOrder: DayMonth}
				for i, h := range s.Headers {
					c := Column{Header: h}
					if fields := DropOffs.Fields(); i < len(fields) {
						c.Field = fields[i]
					}
					l.Columns = append(l.Columns, c)
				}
				r, err = s.Read(l, tomorrow)
			}
			if err != nil || r == nil {
				return nil, tally
			}
			line := 0
			for r.Next() {
				if (r.Record() == nil) == (r.Reject() == nil) || r.Line() <= line {
					t.Fatalf("line %d after %d: have %v and %v", r.Line(), line, r.Record(), r.Reject())
				}
				line = r.Line()
				if r.Reject() != nil {
					outcomes = append(outcomes, r.Reject().Error())
				} else {
					outcomes = append(outcomes, r.Record().Key())
				}
				for _, c := range r.Cells() {
					if len(c) > 4*maxField {
						t.Fatalf("have a cell of %d bytes", len(c))
					}
				}
			}
			if r.Err() != nil {
				t.Fatal(r.Err())
			}
			if n := strings.Count(string(b), "\n") + strings.Count(string(b), "\r"); line > n+1 {
				t.Fatalf("have line %d of %d", line, n+1)
			}
			if n := r.Tally(); n.Rows != len(outcomes) {
				t.Fatalf("have %+v and %d outcomes", n, len(outcomes))
			}
			return outcomes, r.Tally()
		}
		// However the stream is cut, the file is the same.
		fast, tally := read(false)
		slow, tallySlow := read(true)
		if strings.Join(fast, "\n") != strings.Join(slow, "\n") || tally != tallySlow {
			t.Fatalf("have %q by single bytes, need %q", slow, fast)
		}
	})
}
