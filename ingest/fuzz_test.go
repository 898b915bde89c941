package ingest

import (
	"bytes"
	"encoding/json"
	"math"
	"reflect"
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

// Hours are finite, those with a colon or with units not below zero, and white
// space around them says nothing.
func FuzzHours(f *testing.F) {
	for _, s := range []string{"2h 30m", "2h30", "1:30", "1:30:59", "90 min", "1.5 hrs", "1,5 Std.", "2 heures 15", "-1:30", "1:60", "h", "99999999999999999999:00", "1h 1h"} {
		f.Add([]byte(s), false)
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, b []byte, comma bool) {
		v, doubtful, ok := parseHours(b, comma)
		if !ok {
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Errorf("%q: have %v", b, v)
		}
		if _, _, number := parseNumber(b, comma); !number && v < 0 {
			t.Errorf("%q: have %v h", b, v)
		}
		if w, d, ok := parseHours([]byte(" "+string(b)+"\t"), comma); !ok || w != v || d != doubtful {
			t.Errorf("%q: have %v, and %v with white space around it", b, v, w)
		}
	})
}

// A layout has a column a header, gives no field twice, says of each column
// what it is taken for, and is the same when it was kept.
func FuzzLayout(f *testing.F) {
	f.Add("RO #\nDate In\nJob Type\nHrs", "4101\n2026-02-02\nplumbing\n2.5")
	f.Add("Auftrag\nDatum\nArt\nArt", "1\n31.3.2025\nGas\n")
	f.Add("ro_number\nRO Number\n\nname\nfrom", "x")
	f.Add("product category\nevent date\nid", "AC\n3/4/2026\na1")
	f.Fuzz(func(t *testing.T, headers, cells string) {
		names := strings.Split(headers, "\n")
		if len(names) > 40 || len(headers) > 2000 {
			return
		}
		sample := [][]string{strings.Split(cells, "\n")}
		layouts := []Layout{}
		for _, kind := range RowKinds() {
			layouts = append(layouts, Propose(names, sample, kind))
		}
		if l, err := Detect(names, sample); err == nil {
			layouts = append(layouts, l)
		}
		for _, proposed := range layouts {
			for _, l := range []Layout{proposed, proposed.AcceptGuesses()} {
				taken := map[string]bool{}
				for i, c := range l.Columns {
					if c.Header != names[i] || c.Field != "" && taken[c.Field] {
						t.Fatalf("column %d is %+v of %+v", i, c, l.Columns)
					}
					taken[c.Field] = true
				}
				for _, m := range l.Missing() {
					if taken[m] {
						t.Fatalf("%s is missing from %+v", m, l.Columns)
					}
				}
				proposals := l.Proposals(sample)
				if len(l.Columns) != len(names) || len(proposals) != len(names) {
					t.Fatalf("have %d columns and %d proposals for %d headers", len(l.Columns), len(proposals), len(names))
				}
				for _, p := range proposals {
					if !(p.Confidence >= 0 && p.Confidence <= 1) || p.Why == "" {
						t.Fatalf("have %+v", p)
					}
				}
			}
			text, err := json.Marshal(proposed)
			if err != nil {
				t.Fatal(err)
			}
			var kept Layout
			if err := json.Unmarshal(text, &kept); err != nil {
				t.Fatal(err)
			}
			if valid := strings.ToValidUTF8(headers, ""); valid == headers && !reflect.DeepEqual(kept, proposed) {
				t.Fatalf("have %+v kept, %+v proposed", kept, proposed)
			}
		}
	})
}
