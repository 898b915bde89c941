package ingest

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// mapped writes what a layout takes without asking.
func mapped(l Layout) string {
	var s []string
	for _, c := range l.Columns {
		if c.Field != "" {
			s = append(s, c.Header+"="+c.Field)
		}
	}
	return strings.Join(s, " ")
}

func TestProposeTakesNamesAndSynonyms(t *testing.T) {
	for _, c := range []struct {
		kind          RowKind
		headers, want string
	}{
		{DropOffs, "ro_number,dropped_off,kind", "ro_number=ro_number dropped_off=dropped_off kind=kind"},
		{DropOffs, "R.O. NUMBER,Drop-Off,Job-Type", "R.O. NUMBER=ro_number Drop-Off=dropped_off Job-Type=kind"},
		{DropOffs, "Date In,RO,Date Out,Customer", "Date In=dropped_off RO=ro_number Date Out=picked_up"},
		{DropOffs, "Auftrags-Nr.,Annahme,Fertig am,Notfall", "Auftrags-Nr.=ro_number Annahme=dropped_off Fertig am=ready Notfall=emergency"},
		{DropOffs, "N° OR,Date d'entrée,Prêt le,Véhicule", "N° OR=ro_number Date d'entrée=dropped_off Prêt le=ready Véhicule=unit"},
		{DropOffs, "Nº de orden,Fecha de entrada,Fecha de salida,Matrícula", "Nº de orden=ro_number Fecha de entrada=dropped_off Fecha de salida=picked_up Matrícula=unit"},
		{DropOffs, "WO,ro_number,Received", "ro_number=ro_number Received=dropped_off"}, // its own name beats a synonym
		{DropOffs, "WO,RO,Received", "Received=dropped_off"},                            // two synonyms: to be asked
		{DropOffs, "Date,Hours,Customer", ""},
		{TimeOff, "Mitarbeiter,Von,Bis", "Mitarbeiter=name Von=from Bis=until"},
		{Events, "Event,Start,End,effect", "Event=name Start=from End=until effect=effect"},
	} {
		if got := mapped(Propose(strings.Split(c.headers, ","), nil, c.kind)); got != c.want {
			t.Errorf("%s: have %s, need %s", c.headers, got, c.want)
		}
	}
}

func TestGuessesWaitToBeAccepted(t *testing.T) {
	headers := []string{"RO Numbre", "Dropped of", "Knd", "WO", "Ticket", "Quoted Hour", "Redy"}
	sample := [][]string{{"1", "2025-03-04", "roof", "7", "8", "two", "13/2/2025"}, {"2", "3/13/2025", "roof", "7", "8", "three", ""}}
	l := Propose(headers, sample, DropOffs)
	if got := mapped(l); got != "" {
		t.Fatalf("taken without asking: %s", got)
	}
	if !slices.IsSortedFunc(l.Guesses, func(a, b Guess) int { return int(1e6 * (a.Distance - b.Distance)) }) {
		t.Errorf("guesses aren't ranked: %v", l.Guesses)
	}
	has := func(header, field string) bool {
		return slices.ContainsFunc(l.Guesses, func(g Guess) bool { return g.Header == header && g.Field == field })
	}
	for _, g := range [][2]string{{"WO", "ro_number"}, {"Ticket", "ro_number"}, {"RO Numbre", "ro_number"}, {"Dropped of", "dropped_off"}, {"Redy", "ready"}} {
		if !has(g[0], g[1]) {
			t.Errorf("%q isn't guessed to be %s: %v", g[0], g[1], l.Guesses)
		}
	}
	if has("Quoted Hour", "quoted_hours") {
		t.Error("a column of words is guessed to be hours")
	}
	if !slices.Equal(l.Missing(), []string{"ro_number", "dropped_off"}) || len(l.Ignored()) != len(headers) {
		t.Errorf("have missing %v, ignored %v", l.Missing(), l.Ignored())
	}
	taken := l.AcceptGuesses()
	if got := mapped(taken); !strings.Contains(got, "WO=ro_number") || !strings.Contains(got, "Dropped of=dropped_off") || len(taken.Missing()) != 0 || len(taken.Guesses) != 0 {
		t.Errorf("accepted: %s, still %v", got, taken.Guesses)
	}
	if mapped(l) != "" || len(l.Guesses) == 0 {
		t.Error("accepting changed the layout it was asked of")
	}
}

// An amount of money in a line's place would double the jobs of files that
// overlap, and one in a kind's place make a kind of each job.
func TestMoneyIsNoGuess(t *testing.T) {
	headers := []string{"RO #", "Date In", "Parts $", "Partid", "Arts", "Warranty", "Date Done", "Std. geplant", "Std. gebraucht"}
	sample := [][]string{{"1", "2026-03-02", "0", "9019.90", "120", "W", "2026-03-04", "2,5", "3"}, {"2", "2026-03-03", "210.12", "7000", "80.5", "", "2026-03-05", "1", "2"}}
	l := Propose(headers, sample, DropOffs)
	if got, want := mapped(l.AcceptGuesses()), "RO #=ro_number Date In=dropped_off Date Done=ready Std. geplant=quoted_hours Std. gebraucht=clocked_hours"; got != want {
		t.Errorf("have %s with %v, need %s", got, l.Guesses, want)
	}
	l = Propose([]string{"RO #", "Date In", "Partid", "Arts", "Waranty of"}, [][]string{{"1", "2026-03-02", "1", "brakes", "17"}}, DropOffs)
	if got, want := mapped(l.AcceptGuesses()), "RO #=ro_number Date In=dropped_off Partid=line Arts=kind Waranty of=comeback_of"; got != want {
		t.Errorf("have %s with %v, need %s", got, l.Guesses, want)
	}
	if !slices.ContainsFunc(l.Guesses, func(g Guess) bool { return g.Why == "it is spelt much like \"Warranty Of\"" }) {
		t.Errorf("want names as people write them, have %v", l.Guesses)
	}
}

func TestUserMappingGoesFirst(t *testing.T) {
	l := Propose([]string{"RO", "Date In", "Their Name", "Hours", "Hours (2)"}, nil, DropOffs)
	m, err := l.With("their-name", "ro_number")
	if err != nil || mapped(m) != "Date In=dropped_off Their Name=ro_number" {
		t.Errorf("have %s, %v", mapped(m), err)
	}
	if mapped(l) != "RO=ro_number Date In=dropped_off" {
		t.Errorf("the layout itself was changed: %s", mapped(l))
	}
	if m, err = l.With("RO", Ignore); err != nil || mapped(m) != "Date In=dropped_off" {
		t.Errorf("have %s, %v", mapped(m), err)
	}
	if _, err := l.With("Customer", "kind"); err == nil || !strings.Contains(err.Error(), "RO, Date In, Their Name") {
		t.Errorf("have %v", err)
	}
	if _, err := l.With("RO", "price"); err == nil || !strings.Contains(err.Error(), "ro_number, dropped_off, line, kind") {
		t.Errorf("have %v", err)
	}
	twice := Propose([]string{"Due-Date", "Due Date"}, nil, DropOffs)
	if _, err := twice.With("duedate", "promised"); err == nil {
		t.Error("an ambiguous header was taken")
	}
	if m, err := twice.With("Due Date", "promised"); err != nil || mapped(m) != "Due Date=promised" {
		t.Errorf("have %s, %v", mapped(m), err)
	}
}

func TestSignature(t *testing.T) {
	of := func(kind RowKind, headers ...string) string { return Propose(headers, nil, kind).Signature() }
	a := of(DropOffs, "RO #", "Date In")
	if a != of(Crew, "ro", "DATE-IN") {
		t.Error("the same headers have two signatures")
	}
	for _, other := range []string{of(DropOffs, "Date In", "RO #"), of(DropOffs, "RO #"), of(DropOffs, "RO #", "Date", "In")} {
		if a == other {
			t.Error("other headers have the same signature")
		}
	}
	// A layout is kept for years under its signature: sha256sum of "ro\ndatein".
	if want := "1e5bde33afb9f742bef90aa88aa986f4"; a != want {
		t.Errorf("have %s, need %s", a, want)
	}
}

func TestDetect(t *testing.T) {
	for headers, want := range map[string]RowKind{
		"RO,Date In,Type": DropOffs, "Technician,Weekly Hours,From": Crew, "Name,From,Until": TimeOff, "Name,From,Until,Effect": Events, "Name,Colour": "", "": "",
	} {
		l, err := Detect(strings.Split(headers, ","), nil)
		if l.Kind != want || (err == nil) != (want != "") {
			t.Errorf("%s: have %q, %v, need %q", headers, l.Kind, err, want)
		}
	}
}

// What a person says of a column counts when the kind of rows is told.
func TestDetectAsSaid(t *testing.T) {
	headers := strings.Split("Who,Hrs,Good at", ",")
	if l, err := Detect(headers, nil); err == nil {
		t.Errorf("have %q", l.Kind)
	}
	l, err := Detect(headers, nil, Column{"Who", "name"}, Column{"Hrs", "weekly_hours"}, Column{"Good at", "skills"})
	if err != nil || l.Kind != Crew || mapped(l) != "Who=name Hrs=weekly_hours Good at=skills" {
		t.Errorf("have %q %s, %v", l.Kind, mapped(l), err)
	}
	if l, err := Detect(headers, nil, Column{"Who", "name"}, Column{"Hrs", "clocked_hours"}); err == nil {
		t.Errorf("no rows have both: have %q", l.Kind)
	}
}

func TestHeaderNamesAreUnique(t *testing.T) {
	for header, want := range map[string][]string{
		"ro,Date In,Hours,,Hours,Hours (2),,": {"ro", "Date In", "Hours", "column 4", "Hours (2)", "Hours (2) (2)"},
		"column 2,,ro,Date In":                {"column 2", "column 2 (2)", "ro", "Date In"},
	} {
		s, err := Open("x.csv", strings.NewReader(header+"\n1,2025-03-04,1,a,2,3\n"))
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(s.Headers, want) {
			t.Errorf("have %q, need %q", s.Headers, want)
		}
	}
}

func TestReadRefusesOtherLayouts(t *testing.T) {
	s, err := Open("x.csv", strings.NewReader("ro,date in,out\n1,2025-03-04,\n"))
	if err != nil {
		t.Fatal(err)
	}
	good := Propose(s.Headers, s.Sample, DropOffs)
	double, unknown, kind := good, good, good
	double.Columns = slices.Clone(good.Columns)
	double.Columns[2].Field = "ro_number"
	unknown.Columns = slices.Clone(good.Columns)
	unknown.Columns[2].Field = "price"
	kind.Kind = "cars"
	for _, l := range []Layout{Propose([]string{"ro", "date in"}, nil, DropOffs), double, unknown, kind, {}} {
		if _, err := s.Read(l, tomorrow); err == nil {
			t.Errorf("%+v was taken", l)
		}
	}
	if _, err := s.Read(good, tomorrow); err != nil {
		t.Fatal(err)
	}
	defer func() {
		if recover() == nil {
			t.Error("a sheet was read twice")
		}
	}()
	s.Read(good, tomorrow)
}

// Every field has synonyms in all four languages of the table, and words in
// the tables are of known meaning.
func TestTablesAreComplete(t *testing.T) {
	have := map[string]bool{}
	for _, row := range readTSV(headersTSV, 4) {
		have[fmt.Sprint(row[0], row[1], row[2])] = true
	}
	for _, k := range RowKinds() {
		for _, f := range k.Fields() {
			for _, lang := range []string{"en", "de", "fr", "es"} {
				if !have[fmt.Sprint(k, f, lang)] {
					t.Errorf("%s: %s has no synonym in %s", k, f, lang)
				}
			}
		}
		if got, err := ParseRowKind(string(k)); got != k || err != nil {
			t.Errorf("have %q, %v", got, err)
		}
	}
	if _, err := ParseRowKind("cars"); err == nil {
		t.Error("unknown rows have a kind")
	}
	for _, o := range []string{"dmy", "mdy", "ymd", ""} {
		if _, err := ParseDateOrder(o); (err == nil) != (len(o) == 3 && o != "ymd") {
			t.Errorf("%q: have %v", o, err)
		}
	}
}
