package ingest

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"freshet/forecast"

	"pgregory.net/rapid"
)

func TestNumbers(t *testing.T) {
	const no = -1e300
	for _, c := range []struct {
		s              string
		point, comma   float64 // where the file writes decimal points, commas
		pointD, commaD bool    // doubtful
	}{
		{s: "0", point: 0, comma: 0},
		{s: "1.5", point: 1.5, comma: 1.5},
		{s: "1,5", point: 1.5, comma: 1.5},
		{s: ".5", point: .5, comma: .5},
		{s: "5.", point: 5, comma: 5},
		{s: "1,250", point: 1250, pointD: true, comma: 1.25},
		{s: "1.250", point: 1.25, comma: 1250, commaD: true},
		{s: "0,250", point: .25, comma: .25},
		{s: "1,250.00", point: 1250, comma: 1250},
		{s: "1.250,00", point: 1250, comma: 1250},
		{s: "1,250,000", point: 1250000, comma: 1250000},
		{s: "1 250,5", point: 1250.5, comma: 1250.5},
		{s: "1\u00a0250,5", point: 1250.5, comma: 1250.5},
		{s: "1'250.5", point: 1250.5, comma: 1250.5},
		{s: "$1,250.00", point: 1250, comma: 1250},
		{s: "12,50 €", point: 12.5, comma: 12.5},
		{s: "USD 3", point: 3, comma: 3},
		{s: "(3.5)", point: -3.5, comma: -3.5},
		{s: "($3.5)", point: -3.5, comma: -3.5},
		{s: "3.5-", point: -3.5, comma: -3.5},
		{s: "−2", point: -2, comma: -2},
		{s: "-$2", point: -2, comma: -2},
		{s: "+2", point: 2, comma: 2},
		{s: "NaN", point: no, comma: no},
		{s: "Inf", point: no, comma: no},
		{s: "1e308", point: no, comma: no},
		{s: "0x1p-2", point: no, comma: no},
		{s: "1_000", point: no, comma: no},
		{s: "12,50,0", point: no, comma: no},
		{s: "1,2.3,4", point: no, comma: no},
		{s: "1234,567.0", point: no, comma: no},
		{s: "--2", point: no, comma: no},
		{s: "1 2", point: no, comma: no},
		{s: ".", point: no, comma: no},
		{s: "", point: no, comma: no},
		{s: "$", point: no, comma: no},
		{s: "12345678901234567890", point: no, comma: no},
	} {
		for _, comma := range []bool{false, true} {
			want, wantD := c.point, c.pointD
			if comma {
				want, wantD = c.comma, c.commaD
			}
			got, doubtful, ok := parseNumber([]byte(c.s), comma)
			if !ok {
				got = no
			}
			if got != want || doubtful != wantD {
				t.Errorf("%q, decimal comma %v: have %v, doubtful %v, need %v, %v", c.s, comma, got, doubtful, want, wantD)
			}
		}
	}
}

func TestHours(t *testing.T) {
	for s, want := range map[string]float64{
		"2": 2, "2h 30m": 2.5, "2h30": 2.5, "2 hrs": 2, "1,5 Std.": 1.5, "90 min": 1.5, "1 hour, 15 minutes": 1.25,
		"1:30": 1.5, "2:30 Std.": 2.5, "1:30 h": 1.5, "0:06": .1, "1:30:36": 1.51, "12:00": 12, "2 horas 6 minutos": 2.1,
		"1:60": -1, "1:3": -1, ":30": -1, "1:30:00:00": -1, "30m 2h": -1, "2h 2h": -1, "h": -1, "2x": -1, "-2h": -1, "2h -5m": -1, "1.5.5h": -1, "+1:30": -1, "1:30 min": -1, "1:30 x": -1,
	} {
		got, _, ok := parseHours([]byte(s), false)
		if !ok {
			got = -1
		}
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("%q: have %v, need %v", s, got, want)
		}
	}
}

func TestDates(t *testing.T) {
	for s, want := range map[string]string{
		"2025-03-31": "2025-03-31", "2025/3/31": "2025-03-31", "2025.03.31": "2025-03-31", "20250331": "2025-03-31", "20250331 14:30": "2025-03-31",
		"2025-03-31T14:30:00Z": "2025-03-31", "2025-03-31 14:30:00.123+02:00": "2025-03-31", "2025-03-31 2:30 PM": "2025-03-31",
		"31/3/2025": "2025-03-31", "3/31/2025": "2025-03-31", "31-03-2025": "2025-03-31", "3/31/2025 9 AM": "2025-03-31", "31/03/2025 14h30": "2025-03-31",
		"31.3.2025": "2025-03-31", "31. 3. 2025": "2025-03-31", "4.3.2025": "2025-03-04", "31.03.2025 14:30 Uhr": "2025-03-31",
		"31 Mar 2025": "2025-03-31", "31-Mar-2025": "2025-03-31", "March 31, 2025": "2025-03-31", "Mar. 31st, 2025": "2025-03-31", "Mon, 31 Mar 2025": "2025-03-31",
		"2025-Mar-31": "2025-03-31", "Mo., 31. März 2025": "2025-03-31", "31 mars 2025": "2025-03-31", "1er août 2025": "2025-08-01", "31 de marzo de 2025": "2025-03-31",
		"45747": "2025-03-31", "45747.75": "2025-03-31", // Excel gives 45747 for it (from memory), and 45747 − 25569 days from 1970-01-01 are it
		"31/3/25": "2025-03-31 short", "31-Mar-25": "2025-03-31 short", "31.12.69": "2069-12-31 short", "31.12.70": "1970-12-31 short",
		"4/4/2025": "2025-04-04", "29/2/2024": "2024-02-29",
		"3/4/2025": "ask", "03-04-25": "ask",
		"2025-02-30": "no day", "29/2/2025": "no day", "2025-13-01": "no day", "13/13/2025": "no day", "2025-00-10": "no day", "0000-00-00": "no day", "31.4.2025": "no day",
		"": "", "soon": "", "2025": "", "2025-03": "", "1/2": "", "1//2/2025": "", "1/2.2025": "", "1 2 2025": "", "2025-03-31 - 2025-04-02": "", "2025-03-31x": "",
		"31 Mar Apr 2025": "", "3/31/02025": "", "3/31/225": "", "123/1/2025": "", "May": "", "-1/2/2025": "", "2025-03-31 99:00": "", "2025-03-31 5": "", "4574712": "", "45747.x": "",
	} {
		got := ""
		if d, ok := parseDate([]byte(s)); ok {
			if ordered, ok := d.inOrder(InferOrder); !ok {
				got = "ask"
			} else if day, ok := ordered.date(); !ok {
				got = "no day"
			} else if got = day.String(); d.shortYear {
				got += " short"
			}
		}
		if got != want {
			t.Errorf("%q: have %q, need %q", s, got, want)
		}
	}
}

// Moments that say where they are fall on the day that it is then in the shop;
// days, and times that don't say, stay. Denver is seven hours behind UTC, six
// from March 8 to November 1, 2026 (time zone database).
func TestInstants(t *testing.T) {
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	for s, want := range map[string]string{
		"2026-03-02T02:30:00Z": "2026-03-01", "2026-03-02T06:59:59Z": "2026-03-01", "2026-03-02T07:00:00Z": "2026-03-02",
		"2026-07-02T05:59:59.999Z": "2026-07-01", "2026-07-02T06:00:00Z": "2026-07-02", "2026-01-01T02:30Z": "2025-12-31",
		"2026-07-02 02:30:00 UTC": "2026-07-01", "2026-07-02 02:30:00.123 +0000": "2026-07-01", "2026-07-02 02:30:00+00": "2026-07-01", "2026-07-02T02:30:00GMT": "2026-07-01",
		"2026-07-02T01:30:00+02:00": "2026-07-01", "2026-07-01T23:30:00-0700": "2026-07-02", "2026-07-01T20:30:00-06:00": "2026-07-01",
		"2026-07-02T00:00:00Z": "2026-07-02", "2026-07-02T00:00:00.000Z": "2026-07-02", "2026-07-02 00:00:00 UTC": "2026-07-02", // days without a time
		"2026-07-02T00:00:01Z": "2026-07-01", "2026-07-02T00:00:00-06:00": "2026-07-02", "2026-07-02T00:00:00+02:00": "2026-07-01",
		"2026-07-02": "2026-07-02", "2026-07-02T02:30:00": "2026-07-02", "2026-07-02 2:30 PM": "2026-07-02", "7/2/2026 02:30": "2026-07-02",
	} {
		for zone, want := range map[*time.Location]string{denver: want, nil: ""} {
			if zone == nil && s[4] != '-' {
				continue
			}
			want = cmp.Or(want, s[:min(10, len(s))])
			sheet, err := OpenText("jobs.csv", strings.NewReader("RO,Date In\n1,"+s+"\n2,7/13/2026\n"), Text{Zone: zone})
			if err != nil {
				t.Fatal(err)
			}
			r, err := sheet.Read(Propose(sheet.Headers, nil, DropOffs), tomorrow)
			if err != nil {
				t.Fatal(err)
			}
			if !r.Next() || r.Reject() != nil || r.Record().(*DropOff).DroppedOff.String() != want {
				t.Errorf("%q in %v: want %s, have %v, %v", s, zone, want, r.Record(), r.Reject())
			}
		}
	}
}

// Every day is read back from every way of writing it.
func TestDatesReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := forecast.Date(rapid.IntRange(int(firstDay), int(tomorrow)).Draw(t, "day"))
		layout := rapid.SampledFrom([]string{"2006-01-02", "2006/1/2", "20060102", "2.1.2006", "02.01.2006 15:04", "2 Jan 2006", "02-Jan-2006", "January 2, 2006", "Monday, 2 January 2006",
			"2/1/2006", "02/01/2006 15:04:05", "1/2/2006", "01-02-2006 3:04 PM", "2006-01-02T15:04:05Z07:00"}).Draw(t, "layout")
		order := DayMonth
		if strings.HasPrefix(layout, "1/") || strings.HasPrefix(layout, "01") {
			order = MonthDay
		}
		c := cell{latest: tomorrow, order: order}
		c.reset([]byte(day.Time().Format(layout)))
		if got := c.day(); c.fault != "" || got.V != day || len(c.warnings) > 0 {
			t.Fatalf("%q: have %v, fault %q, warnings %q, need %v", c.raw, got, c.fault, c.warnings, day)
		}
	})
}

func TestFlags(t *testing.T) {
	for s, want := range map[string]string{
		"yes": "yes", "Y": "yes", "TRUE": "yes", "1": "yes", "x": "yes", " X ": "yes", "✓": "yes", "ja": "yes", "Oui": "yes", "sí": "yes",
		"no": "no", "N": "no", "false": "no", "0": "no", "": "no", " ": "no", "-": "no", "Nein": "no", "non": "no", "n/a": "no",
		"maybe": "", "2": "", "yess": "",
	} {
		var c cell
		c.reset([]byte(s))
		got := map[bool]string{true: "yes", false: "no"}[c.flag().V]
		if c.fault != "" {
			got = ""
		}
		if got != want {
			t.Errorf("%q: have %q, need %q", s, got, want)
		}
	}
}

func TestFold(t *testing.T) {
	for s, want := range map[string]string{
		"Date In": "datein", "RO #": "ro", "Véhicule n°": "vehiculen", "GRÖSSE": "grosse", "Größe": "grosse", "№ 7": "no7", "A\u0308": "a", "--": "", "日付": "日付", "\u13a0": "\uab70", "\uab70": "\uab70",
	} {
		if got := Fold(s); got != want {
			t.Errorf("%q: have %q, need %q", s, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.String().Draw(t, "s")
		if f := Fold(s); Fold(f) != f || Fold(" "+s+".") != f {
			t.Fatalf("%q folds to %q, and that to %q", s, f, Fold(f))
		}
	})
}

func FuzzNumber(f *testing.F) {
	for _, s := range []string{"1,5", "$1,250.00", "(3.5)", "2h 30m", "1:30", "NaN", "1e308", "0x1p-2", "1.250,00 €", "1 250,5", "−2", "3.5-"} {
		f.Add([]byte(s), false)
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, b []byte, comma bool) {
		for _, parse := range []parser{parseNumber, parseHours} {
			if v, _, ok := parse(b, comma); ok && (math.IsNaN(v) || math.IsInf(v, 0)) {
				t.Errorf("%q: have %v", b, v)
			}
		}
		// Without separators for thousands there is one way to read it.
		s := string(b)
		if v, doubtful, ok := parseNumber(b, comma); ok && !doubtful && allDigits(strings.Replace(s, ".", "", 1)) {
			if want, err := strconv.ParseFloat(s, 64); err != nil || v != want {
				t.Errorf("%q: have %v, need %v", s, v, want)
			}
		}
	})
}

func FuzzDate(f *testing.F) {
	for _, s := range []string{"2025-03-31", "31/12/24", "12/31/2024 2:30 PM", "31. März 2025", "Mon, 31 Mar 2025", "45747.5", "20250331", "1er août 2025", "2025-02-30", "0000-00-00"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		d, ok := parseDate(b)
		if !ok {
			return
		}
		for _, o := range []DateOrder{InferOrder, DayMonth, MonthDay} {
			c := cell{latest: tomorrow, order: o}
			c.reset(b)
			got := c.day()
			if got.Valid != (c.fault == "") && !c.empty() {
				t.Errorf("%q: have %v and fault %q", b, got, c.fault)
			}
			if got.Valid && (got.V < firstDay || got.V > tomorrow) {
				t.Errorf("%q: have %v, outside the window", b, got.V)
			}
			if y := got.V.Year(); got.Valid && y != d.year {
				t.Errorf("%q: have year %d, need %d", b, y, d.year)
			}
		}
	})
}

// Hours that somebody types are read as a file's are.
func TestParseHours(t *testing.T) {
	for text, want := range map[string]float64{"4": 4, "2.5": 2.5, "2,5": 2.5, " 2h 30m ": 2.5, "2:30": 2.5, "0": 0, "-1": -1, "lots": -1, "2001": -1, "": -1, "NaN": -1} {
		have, err := ParseHours(text)
		if err != nil {
			have = -1
		}
		if have != want {
			t.Errorf("%q: have %v, %v, need %v", text, have, err, want)
		}
	}
}
