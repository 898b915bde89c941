package ingest

import (
	"errors"
	"fmt"
	"io"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"freshet/forecast"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// All shop data in these tests is invented.

var tomorrow = forecast.NewDate(2026, 11, 26)

func date(s string) forecast.Date {
	d, err := forecast.ParseDate(s)
	if err != nil {
		panic(err)
	}
	return d
}

// open reads s by the proposed layout; mapping holds header, field pairs.
func open(t testing.TB, s string, kind RowKind, mapping ...string) *Reader {
	t.Helper()
	r, err := tryOpen(strings.NewReader(s), kind, mapping...)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func tryOpen(in io.Reader, kind RowKind, mapping ...string) (*Reader, error) {
	s, err := Open("drop-offs.csv", in)
	if err != nil {
		return nil, err
	}
	l := Propose(s.Headers, s.Sample, kind)
	for i := 0; i < len(mapping); i += 2 {
		if l, err = l.With(mapping[i], mapping[i+1]); err != nil {
			return nil, err
		}
	}
	return s.Read(l, tomorrow)
}

// told gives what a reader says of each row: a record's key and warnings, or
// a reject.
func told(t testing.TB, r *Reader) []string {
	t.Helper()
	var lines []string
	for r.Next() {
		if e := r.Reject(); e != nil {
			lines = append(lines, "NO "+e.Error())
			continue
		}
		says := strings.ReplaceAll(r.Record().Key(), "\t", "/")
		if d, ok := r.Record().(*DropOff); ok {
			says += " " + d.DroppedOff.String()
			if d.QuotedHours.Valid {
				says += fmt.Sprintf(" %gh", d.QuotedHours.V)
			}
		}
		for _, w := range r.Warnings() {
			says += "; " + w.Error()
		}
		lines = append(lines, says)
	}
	if r.Err() != nil {
		t.Fatal(r.Err())
	}
	if n := r.Tally(); n.Rows != len(lines) {
		t.Errorf("have %d data rows and %d outcomes", n.Rows, len(lines))
	}
	return lines
}

func TestUglyFiles(t *testing.T) {
	const head = "ro_number,dropped_off,kind,quoted_hours,note\n"
	for _, c := range []struct {
		name, file string
		want       []string
		tally      Tally
	}{
		{"plain", head + "1,2025-03-04,brakes,1.5,\n2,2025-03-05,roof,,x\n",
			[]string{"1/brakes/1 2025-03-04 1.5h", "2/roof/1 2025-03-05"}, Tally{Rows: 2}},
		{"byte order mark and quoted header", "\ufeff\"ro_number\",\"dropped_off\"\n1,2025-03-04\n",
			[]string{"1//1 2025-03-04"}, Tally{Rows: 1}},
		{"CR only", "ro_number,dropped_off\r1,2025-03-04\r\r2,2025-03-05",
			[]string{"1//1 2025-03-04", "2//1 2025-03-05"}, Tally{Rows: 2, Blank: 1}},
		{"CRLF and lines counted", "ro_number,dropped_off,note\r\n1,2025-03-04,\"a\r\nb\r\n\"\r\n2,2025-02-30,\r\n",
			[]string{"1//1 2025-03-04", "NO drop-offs.csv:5: dropped_off 2025-02-30 is not a day"}, Tally{Rows: 2, Rejected: 1}},
		{"named as in the design", "ro,date in,promised date\n" + strings.Join(nth(15, "%d,2025-03-04,\n"), "") + "1,2026-01-04,2026-02-30\n",
			append(nth(15, "%d//1 2025-03-04"), "NO drop-offs.csv:17: promised date 2026-02-30 is not a day"), Tally{Rows: 16, Rejected: 1}},
		{"semicolons and decimal commas", "Auftragsnr;Annahme;Art;Sollstunden\n7;4.3.2025;Bremse;1,5\n8;31.12.24;Dach;1.250,00\n",
			[]string{"7/bremse/1 2025-03-04 1.5h", "8/dach/1 2024-12-31 1250h; drop-offs.csv:3: Annahme 31.12.24 was read as 2024-12-31; drop-offs.csv:3: Sollstunden 1.250,00 is 1250 hours on one job"},
			Tally{Rows: 2, Warned: 1}},
		{"separator line", "sep=;\nro_number;dropped_off;note\n1;2025-03-04;a,b,c,d\n",
			[]string{"1//1 2025-03-04"}, Tally{Rows: 1}},
		{"titles, blanks and totals", "Dunmore RV,,\nJobs from March, by date,\n\nRO #,Date In,Est Hours\n1,2025-03-04,2\n,,\n2,2025-03-05,3\nTotal,,5\n,,5\nTotal: 2 jobs,,\nWeek total:,,5\n",
			[]string{"1//1 2025-03-04 2h", "2//1 2025-03-05 3h", "NO drop-offs.csv:8: looks like a totals line",
				"NO drop-offs.csv:9: looks like a totals line", "NO drop-offs.csv:10: looks like a totals line", "NO drop-offs.csv:11: looks like a totals line"},
			Tally{Titles: 2, Blank: 1, Rows: 6, Rejected: 4}},
		{"totals that stand under another column", "RO #,Date In,Type,Est Hours\n1,2025-03-04,Total repaint,2\n,,Total March,2\n,2025-03-05,Total repaint,2\n",
			[]string{"1/totalrepaint/1 2025-03-04 2h", "NO drop-offs.csv:3: looks like a totals line", "NO drop-offs.csv:4: RO # is blank"}, Tally{Rows: 3, Rejected: 2}},
		{"screens in inches", head + "1,2025-03-04,5\" screen,1,\n2,2025-03-05,\"5\" screen\",1,\n3,2025-03-06,\"5\"\" screen\",1,\n",
			[]string{"1/5screen/1 2025-03-04 1h", "2/5screen/1 2025-03-05 1h; drop-offs.csv:3: has a quote within a quoted cell, which was taken for text", "3/5screen/1 2025-03-06 1h"},
			Tally{Rows: 3, Warned: 1}},
		{"a quote never closed", head + "1,2025-03-04,\"brakes,1,\n2,2025-03-05,roof,1,\n",
			[]string{"NO drop-offs.csv:2: opens a quote that is never closed", "2/roof/1 2025-03-05 1h"}, Tally{Rows: 2, Rejected: 1}},
		{"a quote closed by another row's", head + "1,2025-03-04,\"brakes,1,\n2,2025-03-05,\"roof\",1,\n3,2025-03-06,\"a\"b\",1\n\"4\"x,2025-03-07,,,\n5,2025-03-08,,,",
			[]string{"NO drop-offs.csv:2: has text after a closing quote", "2/roof/1 2025-03-05 1h",
				"3/ab/1 2025-03-06 1h; drop-offs.csv:4: has 4 cells, need 5 as the header; the others were taken for blank; drop-offs.csv:4: has a quote within a quoted cell, which was taken for text",
				"NO drop-offs.csv:5: has text after a closing quote", "5//1 2025-03-08"},
			Tally{Rows: 5, Rejected: 2, Warned: 1}},
		{"ragged", head + "1,2025-03-04\n2,2025-03-05,roof,1,a,,\n3,2025-03-06,roof,1,a,b\n",
			[]string{"1//1 2025-03-04; drop-offs.csv:2: has 2 cells, need 5 as the header; the others were taken for blank",
				"2/roof/1 2025-03-05 1h", "NO drop-offs.csv:4: has 6 cells, need at most 5 as the header"},
			Tally{Rows: 3, Rejected: 1, Warned: 1}},
		{"numbers", head + "1,2025-03-04,,NaN,\n2,2025-03-04,,-1,\n3,2025-03-04,,1e308,\n4,2025-03-04,,\"$1,250.00\",\n5,2025-03-04,,(3.5),\n6,2025-03-04,,0x1p-2,\n7,2025-03-04,,2h 30m,\n8,2025-03-04,,1:30,\n9,2025-03-04,,2001,\n10,2025-03-04,,n/a,\n11,2025-03-04,,$150,\n",
			[]string{"NO drop-offs.csv:2: quoted_hours NaN is not a number that can be read as hours",
				"NO drop-offs.csv:3: quoted_hours -1 is out of range, need hours from 0 to 2000",
				"NO drop-offs.csv:4: quoted_hours 1e308 is not a number that can be read as hours",
				"4//1 2025-03-04 1250h; drop-offs.csv:5: quoted_hours $1,250.00 is 1250 hours on one job",
				"NO drop-offs.csv:6: quoted_hours (3.5) is out of range, need hours from 0 to 2000",
				"NO drop-offs.csv:7: quoted_hours 0x1p-2 is not a number that can be read as hours",
				"7//1 2025-03-04 2.5h", "8//1 2025-03-04 1.5h",
				"NO drop-offs.csv:10: quoted_hours 2001 is out of range, need hours from 0 to 2000", "10//1 2025-03-04",
				"11//1 2025-03-04 150h; drop-offs.csv:12: quoted_hours $150 is an amount of money, and was read as 150 hours"},
			Tally{Rows: 11, Rejected: 6, Warned: 2}},
		{"31/12 and 12/31", head + "1,31/12/2024,,,\n2,12/31/2024,,,\n3,3/4/2025,,,\n4,4/4/2025,,,\n5,13/13/2025,,,\n",
			[]string{"1//1 2024-12-31", "2//1 2024-12-31", "NO drop-offs.csv:4: dropped_off 3/4/2025 may be day/month or month/day",
				"4//1 2025-04-04", "NO drop-offs.csv:6: dropped_off 13/13/2025 is not a day"}, Tally{Rows: 5, Rejected: 2}},
		{"window", head + "1,1989-12-31,,,\n2,1990-01-01,,,\n3,2026-11-26,,,\n4,2026-11-27,,,\n5,0000-00-00,,,\n",
			[]string{"NO drop-offs.csv:2: dropped_off 1989-12-31 is 1989-12-31, need a day from 1990-01-01 to 2026-11-26", "2//1 1990-01-01", "3//1 2026-11-26",
				"NO drop-offs.csv:5: dropped_off 2026-11-27 is 2026-11-27, need a day from 1990-01-01 to 2026-11-26", "NO drop-offs.csv:6: dropped_off 0000-00-00 is blank"},
			Tally{Rows: 5, Rejected: 3}},
		{"pick-up first", "ro_number,dropped_off,ready,picked_up,promised\n1,2025-03-04,2025-03-03,,\n2,2025-03-04,,2025-03-03,\n3,2025-03-04,2025-03-06,2025-03-05,\n4,2025-03-04,,,2025-03-01\n",
			[]string{"NO drop-offs.csv:2: ready 2025-03-03 is before the drop-off on 2025-03-04", "NO drop-offs.csv:3: picked_up 2025-03-03 is before the drop-off on 2025-03-04",
				"3//1 2025-03-04; drop-offs.csv:4: picked_up 2025-03-05 is before the job was ready on 2025-03-06",
				"4//1 2025-03-04; drop-offs.csv:5: promised 2025-03-01 is before the drop-off on 2025-03-04"},
			Tally{Rows: 4, Rejected: 2, Warned: 2}},
		{"all duplicates", head + strings.Repeat("1,2025-03-04,Brakes,1,\n", 3), []string{"1/brakes/1 2025-03-04 1h",
			"1/brakes/2 2025-03-04 1h; drop-offs.csv:3: is like the row before it of repair order 1 in each cell, and counts as another job; if it was entered twice, take it out on the page Jobs",
			"1/brakes/3 2025-03-04 1h; drop-offs.csv:4: is like the row before it of repair order 1 in each cell, and counts as another job; if it was entered twice, take it out on the page Jobs"}, Tally{Rows: 3, Warned: 2}},
		{"line numbers", "ro,date in,line\n1,2025-03-04,1\n1,2025-03-04,2\n1,2025-03-05,1\n",
			[]string{"1/1 2025-03-04", "1/2 2025-03-04", "1/1 2025-03-05; drop-offs.csv:4: has line 1 of repair order 1 again; the later row counts"}, Tally{Rows: 3, Warned: 1}},
		{"joined files", head + "1,2025-03-04,,,\n" + head + "2,2025-03-05,,,\n",
			[]string{"1//1 2025-03-04", "NO drop-offs.csv:3: repeats the header", "2//1 2025-03-05"}, Tally{Rows: 3, Rejected: 1}},
		{"NUL", head + "1,2025-03-04,a\x00,,\n2,2025-03-05,\"b\x00\nc\",,\n3,2025-03-06,,,\n",
			[]string{"NO drop-offs.csv:2: holds a NUL byte", "NO drop-offs.csv:3: holds a NUL byte", "NO drop-offs.csv:4: dropped_off is blank", "3//1 2025-03-06"}, Tally{Rows: 4, Rejected: 3}},
		{"nothing below the header", head, nil, Tally{}},
		{"serial dates", "ro,date in\n1,45720\n2,45720.75\n", []string{"1//1 2025-03-04", "2//1 2025-03-04"}, Tally{Rows: 2}},
		{"tabs", "ro\tdate in\tnote\n1\t2025-03-04\ta, b; c\n", []string{"1//1 2025-03-04"}, Tally{Rows: 1}},
		{"pipes", "ro|date in|note\n1|2025-03-04|a, b; c\n", []string{"1//1 2025-03-04"}, Tally{Rows: 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := open(t, c.file, DropOffs)
			if got := told(t, r); !slices.Equal(got, c.want) {
				t.Errorf("have\n\t%s\nneed\n\t%s", strings.Join(got, "\n\t"), strings.Join(c.want, "\n\t"))
			}
			if r.Tally() != c.tally {
				t.Errorf("have %+v, need %+v", r.Tally(), c.tally)
			}
		})
	}
}

func nth(n int, format string) []string {
	var s []string
	for i := range n {
		s = append(s, fmt.Sprintf(format, i+1))
	}
	return s
}

func TestDropOffIsReadInFull(t *testing.T) {
	r := open(t, "RO Number,Date In,Job Type,Unit #,Est. Hrs,Actual Hours,Billed,Parts Wait,Rush,Can Wait,Comeback RO,Promise Date,Date Completed,Date Out,RO Status,Remarks\n"+
		" A-17 ,3/14/2025 9:05 AM, Roof   reseal,Dunmore 25,\"1,5\",90 min,2h30,4,x,no,N/A,\"March 21, 2025\",21-Mar-2025,3/22/2025,closed,\" two\nlines \"\n", DropOffs)
	if !r.Next() || r.Reject() != nil {
		t.Fatal(r.Reject())
	}
	hours := func(h float64) Opt[float64] { return Opt[float64]{h, true} }
	on := func(s string) Opt[forecast.Date] { return Opt[forecast.Date]{date(s), true} }
	want := &DropOff{RO: "A-17", Nth: 1, DroppedOff: date("2025-03-14"), Kind: "Roof reseal", Unit: "Dunmore 25",
		QuotedHours: hours(1.5), ClockedHours: hours(1.5), BilledHours: hours(2.5), PartsWaitDays: hours(4),
		Emergency: Opt[bool]{true, true}, Deferrable: Opt[bool]{false, true},
		Promised: on("2025-03-21"), Ready: on("2025-03-21"), PickedUp: on("2025-03-22"), Status: "closed", Note: "two\nlines"}
	if !reflect.DeepEqual(r.Record(), want) {
		t.Errorf("have %+v\nneed %+v", r.Record(), want)
	}
	if len(r.Warnings()) > 0 {
		t.Error(r.Warnings())
	}
}

func TestOtherKindsAreRead(t *testing.T) {
	for _, c := range []struct {
		kind RowKind
		file string
		want []Record
		no   []string
	}{
		{Crew, "Technician,Hours per Week,Productive %,Skills,Start,Wage\nMo,40,85%,all,2020-01-01,$31.50\nSam,38:30,.8,roof; brakes ,,\nTotal,78.5,,,,\nKim,200,,,,\nLee,40,85,,,\nAda,40,,,,-2\n",
			[]Record{
				&Person{Name: "Mo", WeeklyHours: 40, Productivity: Opt[float64]{.85, true}, From: Opt[forecast.Date]{date("2020-01-01"), true}, HourlyCost: Opt[float64]{31.5, true}},
				&Person{Name: "Sam", WeeklyHours: 38.5, Productivity: Opt[float64]{.8, true}, Skills: []string{"roof", "brakes"}}},
			[]string{"looks like a totals line", "Hours per Week 200 is out of range, need hours a week from 0 to 168",
				"Productive % 85 is out of range, need a share from 0 to 1", "Wage -2 is out of range, need an hourly cost from 0 to 10000"}},
		{TimeOff, "who,from,to\nshop,2026-12-24,2027-01-01\nMo,2026-12-01,\nMo,2026-12-03,2026-12-01\nMo,2046-12-03,\n",
			[]Record{&Absence{"shop", date("2026-12-24"), date("2027-01-01")}, &Absence{"Mo", date("2026-12-01"), date("2026-12-01")}},
			[]string{"to 2026-12-01 is before 2026-12-03", "from 2046-12-03 is 2046-12-03, need a day from 1990-01-01 to 2036-11-26"}},
		{Events, "event,from,until,effect\nHail,2025-05-01,2025-05-03,one-time\nRally,2026-06-01,,jährlich\nFair,2026-06-01,,huge\nFair,2026-06-01,,\n",
			[]Record{&Event{"Hail", date("2025-05-01"), date("2025-05-03"), OneTime}, &Event{"Rally", date("2026-06-01"), date("2026-06-01"), Yearly}},
			[]string{"effect huge is not an effect, need one-time, yearly or known", "effect is blank"}},
	} {
		var got []Record
		var no []string
		r := open(t, c.file, c.kind)
		for r.Next() {
			if e := r.Reject(); e != nil {
				_, reason, _ := strings.Cut(e.Error(), ": ")
				no = append(no, reason)
			} else {
				got = append(got, r.Record())
			}
		}
		if !reflect.DeepEqual(got, c.want) || !slices.Equal(no, c.no) {
			t.Errorf("%s: have %+v and %q\nneed %+v and %q", c.kind, got, no, c.want, c.no)
		}
	}
	if !(&Absence{Name: "Shop "}).Shop() || (&Absence{Name: "Mo"}).Shop() {
		t.Error("a closed day and a day off are taken for each other")
	}
}

func TestEncodingsGiveTheSame(t *testing.T) {
	const s = "Auftragsnr;Annahme;Art\nÄ1;4.3.2025;Kühlschrank – groß\n"
	read := func(in string) *DropOff {
		r := open(t, in, DropOffs)
		if !r.Next() || r.Reject() != nil {
			t.Fatalf("%q: %v", in, r.Reject())
		}
		return r.Record().(*DropOff)
	}
	must := func(s string, err error) string {
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	want := read(s)
	if want.Kind != "Kühlschrank – groß" || want.RO != "Ä1" {
		t.Fatalf("have %+v", want)
	}
	for name, in := range map[string]string{
		"UTF-8 with mark": "\ufeff" + s,
		"UTF-16LE":        must(unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewEncoder().String(s)),
		"UTF-16BE":        must(unicode.UTF16(unicode.BigEndian, unicode.UseBOM).NewEncoder().String(s)),
		"windows-1252":    must(charmap.Windows1252.NewEncoder().String(s)),
		"CRLF":            strings.ReplaceAll(s, "\n", "\r\n"),
	} {
		if got := read(in); !reflect.DeepEqual(got, want) {
			t.Errorf("%s: have %+v, need %+v", name, got, want)
		}
	}
	// Rows of both encodings in one file.
	r := open(t, "ro,date in,kind\n1,2025-03-04,Kühlschrank\n2,2025-03-04,K\xfchlschrank\n3,2025-03-04,x\n", DropOffs)
	for n := 0; r.Next(); n++ {
		want := []string{"Kühlschrank", "Kühlschrank", "x"}[n]
		if d := r.Record().(*DropOff); d.Kind != want || r.Cells()[2] != want {
			t.Errorf("have %q and cells %q, need %q", d.Kind, r.Cells(), want)
		}
	}
}

func TestDateOrderIsInferredOrAsked(t *testing.T) {
	const two = "ro,date in,date out\n1,%s,%s\n2,3/4/2025,3/5/2025\n"
	for _, c := range []struct {
		in, out string
		said    DateOrder
		want    string // of row 2, or "?" to be asked
	}{
		{"13/3/2025", "13/3/2025", "", "2025-04-03 2025-05-03"},
		{"3/13/2025", "3/13/2025", "", "2025-03-04 2025-03-05"},
		{"1/13/2025", "2/3/2025", "", "2025-03-04 2025-03-05"}, // the column follows the other
		{"1/2/2025", "1/2/2025", "", "?"},
		{"1/2/2025", "1/2/2025", DayMonth, "2025-04-03 2025-05-03"},
		{"1/2/2025", "1/2/2025", MonthDay, "2025-03-04 2025-03-05"},
		{"1/13/2025", "1/13/2025", DayMonth, "2025-03-04 2025-03-05"}, // what the dates tell goes first
	} {
		s, err := Open("drop-offs.csv", strings.NewReader(fmt.Sprintf(two, c.in, c.out)))
		if err != nil {
			t.Fatal(err)
		}
		l := Propose(s.Headers, s.Sample, DropOffs)
		l.DateOrder = c.said
		r, err := s.Read(l, tomorrow)
		if c.want == "?" {
			var ask *AmbiguousDates
			if !errors.As(err, &ask) || ask.Column != "date in" || ask.Value != "1/2/2025" || ask.Line != 2 {
				t.Errorf("%+v: have %v", c, err)
			}
			l.DateOrder = MonthDay
			if r, err = s.Read(l, tomorrow); err != nil {
				t.Fatal(err)
			}
			c.want = "2025-03-04 2025-03-05"
		}
		if err != nil {
			t.Fatal(err)
		}
		r.Next()
		r.Next()
		d, _ := r.Record().(*DropOff)
		if d == nil || d.DroppedOff.String()+" "+d.PickedUp.V.String() != c.want {
			t.Errorf("%+v: have %+v, %v", c, d, r.Reject())
		}
	}
}

func TestFilesThatCannotBeRead(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"", "need a header line, have an empty file"},
		{" \n\n", "need a header line, have an empty file"},
		{"PK\x03\x04...", "save it as .xlsx or CSV"},
		{"r\x00o\x00,\x00", "UTF-16 without a byte order mark"},
		{"kind,hours\nroof,2\n", "need a column of ro_number, dropped_off, have kind, hours"},
		{"ro_nummber,dropped_off\n1,2025-03-04\n", `"ro_nummber" may be ro_number`},
		{strings.Repeat("a,", 10_000) + "\n", "line 1 has more than 256 columns"},
	} {
		if _, err := tryOpen(strings.NewReader(c.file), DropOffs); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.40q: have %v, need %q", c.file, err, c.want)
		}
	}
	broken := errors.New("cable pulled")
	if _, err := tryOpen(iotest.ErrReader(broken), DropOffs); !errors.Is(err, broken) {
		t.Errorf("have %v", err)
	}
	late := io.MultiReader(strings.NewReader("ro,date in\n"), &repeat{row: "1,2025-03-04\n", n: 200_000}, iotest.ErrReader(broken))
	r, err := tryOpen(late, DropOffs)
	if err != nil {
		t.Fatal(err)
	}
	for r.Next() {
	}
	if !errors.Is(r.Err(), broken) || r.Tally().Rows != 200_000 {
		t.Errorf("have %v after %+v", r.Err(), r.Tally())
	}
}

// repeat is a stream of n copies of a row, of which %d is the number.
type repeat struct {
	row  string
	n, i int
	rest string
}

func (g *repeat) Read(p []byte) (n int, err error) {
	for n < len(p) {
		if g.rest == "" {
			if g.i == g.n {
				return n, io.EOF
			}
			g.i++
			g.rest = g.row
			if strings.Contains(g.row, "%d") {
				g.rest = fmt.Sprintf(g.row, g.i)
			}
		}
		k := copy(p[n:], g.rest)
		n, g.rest = n+k, g.rest[k:]
	}
	return n, nil
}

// Controls against files made to exhaust memory or time: rows of all sizes
// around them must still come through.
func TestHostileFiles(t *testing.T) {
	const head, after = "ro,date in,note\n1,2025-03-04,\n", "2,2025-03-05,\n"
	x := func(n int) io.Reader { return &repeat{row: strings.Repeat("x", 1024), n: n >> 10} }
	for _, c := range []struct {
		name   string
		middle io.Reader
		want   string // reason of the reject on line 3
		others int    // further rejects
	}{
		{"unclosed quote, 8 MiB of lines", io.MultiReader(strings.NewReader("9,2025-03-04,\"oh\n"), &repeat{row: strings.Repeat("y", 1023) + "\n", n: 8 << 10}), "opens a quote that isn't closed within 65536 bytes", 8 << 10},
		{"unclosed quote, 8 MiB in a line", io.MultiReader(strings.NewReader("9,2025-03-04,\"oh"), x(8<<20), strings.NewReader("\n")), "has a cell longer than 65536 bytes", 0},
		{"line of 8 MiB", io.MultiReader(x(8<<20), strings.NewReader("\n")), "has a cell longer than 65536 bytes", 0},
		{"10,000 columns", io.MultiReader(&repeat{row: "x,", n: 10_000}, strings.NewReader("\n")), "has more than 256 columns", 0},
		{"row of 8 MiB", io.MultiReader(&repeat{row: strings.Repeat("x", 60<<10) + ",", n: 140}, strings.NewReader("\n")), "is longer than 1048576 bytes", 0},
		{"name of 201 bytes", strings.NewReader(strings.Repeat("9", 201) + ",2025-03-04,\n"), "has 201 bytes, at most 200 can be read", 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := tryOpen(io.MultiReader(strings.NewReader(head), c.middle, strings.NewReader(after)), DropOffs)
			if err != nil {
				t.Fatal(err)
			}
			var last Record
			for r.Next() {
				last = r.Record()
				if r.Line() == 3 && (r.Reject() == nil || r.Reject().Reason != c.want) {
					t.Errorf("have %v, need %q", r.Reject(), c.want)
				}
				if len(r.Cells()) > maxColumns || len(r.Cells()[0]) > maxField {
					t.Error("a row beyond the limits was let through")
				}
			}
			if d, _ := last.(*DropOff); r.Err() != nil || d == nil || d.RO != "2" {
				t.Errorf("the row after it: have %+v, %v", last, r.Err())
			}
			if n := r.Tally(); n.Rejected != 1+c.others || n.Rows != 3+c.others {
				t.Errorf("have %+v", n)
			}
		})
	}
}

func TestMemoryStaysFlat(t *testing.T) {
	const rows = 200_000 // 10 MB
	r, err := tryOpen(io.MultiReader(strings.NewReader("ro,date in,kind,note\n"),
		&repeat{row: "%d,2025-03-04,brakes,a note of some length for the rig\n", n: rows}), DropOffs)
	if err != nil {
		t.Fatal(err)
	}
	live := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	before := live()
	for r.Next() {
	}
	if r.Tally() != (Tally{Rows: rows}) {
		t.Fatalf("have %+v, %v", r.Tally(), r.Err())
	}
	// Nothing but the occurrences may grow, and those up to two generations.
	if grown := int64(live()) - int64(before); grown > 16<<20 {
		t.Errorf("%d bytes more are held after %d rows", grown, rows)
	}
	runtime.KeepAlive(r)
}

func TestOccurrencesForgetOnlyTheOld(t *testing.T) {
	o := newOccurrences()
	next := func(group string) int {
		n, _ := o.next([]byte(group), 0)
		return n
	}
	if next("a") != 1 || next("a") != 2 {
		t.Error("a repeated group isn't counted on")
	}
	for i := range 3 * remembered {
		next(fmt.Sprint(i))
		if i == remembered-2 && next("a") != 3 {
			t.Error("a group is forgotten too soon")
		}
		if len(o.recent) > remembered || len(o.older) > remembered {
			t.Fatal("more groups are kept than should be")
		}
	}
	if next("a") != 1 {
		t.Error("a group is never forgotten")
	}
}

// A row that says what one before it said may be one entered twice: it counts,
// and is told.
func TestRowsThatAreTheSame(t *testing.T) {
	told := func(rows string) (n, warned int) {
		r := open(t, "ro,date in,kind,est hours,color\n"+rows, DropOffs)
		for r.Next() {
			n++
			for _, w := range r.Warnings() {
				if strings.Contains(w.Error(), "in each cell") {
					warned++
				}
			}
		}
		return n, warned
	}
	for _, c := range []struct {
		rows      string
		n, warned int
	}{
		{"1,2025-03-04,roof,2,red\n1,2025-03-04,roof,2,red\n", 2, 1},
		{"1,2025-03-04,roof,2,red\n2,2025-03-04,roof,2,red\n1,2025-03-04,roof,2,red\n1,2025-03-04,roof,2,red\n", 4, 2},
		{"1,2025-03-04,roof,2,red\n1,2025-03-04,roof,2,blue\n1,2025-03-04,brakes,2,red\n1,2025-03-04,roof,22,red\n", 4, 0},
		{"1,2025-03-04,roof,2,\n1,2025-03-04,roof,,2\n", 2, 0},
	} {
		if n, warned := told(c.rows); n != c.n || warned != c.warned {
			t.Errorf("%q: need %d rows and %d told, have %d and %d", c.rows, c.n, c.warned, n, warned)
		}
	}
}

// The key of a job doesn't depend on where in the file its row stands.
func TestReorderedExportKeepsKeys(t *testing.T) {
	rows := []string{"1,2025-03-04,roof,2\n", "1,2025-03-04,brakes,1\n", "2,2025-03-05,roof,3\n", "1,2025-03-04,Brakes ,4\n"}
	jobs := func(rows []string) map[string]float64 {
		m := map[string]float64{}
		for r := open(t, "ro,date in,kind,est hours\n"+strings.Join(rows, ""), DropOffs); r.Next(); {
			d := r.Record().(*DropOff)
			m[d.Key()] = d.QuotedHours.V
		}
		return m
	}
	want := jobs(rows)
	if len(want) != 4 || want["1\troof\t1"] != 2 {
		t.Fatalf("have %v", want)
	}
	rows[0], rows[1] = rows[1], rows[0]
	rows[2], rows[3] = rows[3], rows[2]
	if got := jobs(rows); !reflect.DeepEqual(got, want) {
		t.Errorf("have %v, need %v", got, want)
	}
}

func BenchmarkDropOffs(b *testing.B) {
	var file strings.Builder
	file.WriteString("RO #,Line,Date In,Job Type,Unit #,Est Hours,Actual Hours,Billed Hours,Rush,Promised,Completed,Date Out,Status,Notes\n")
	for i := range 20_000 {
		fmt.Fprintf(&file, "%d,%d,%d/%d/2025,Roof reseal,Unit %d,%d.5,3.25,$12.50,no,3/28/2025,,,open,\"customer says \"\"it drips\"\"\"\n", i/2, i%2+1, i%2+1, i%28+1, i%999, i%9)
	}
	b.SetBytes(int64(file.Len()))
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		for r := open(b, file.String(), DropOffs); r.Next(); {
			n++
		}
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "rows/s")
}
