package store

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/ics"
	"freshet/ingest/xlsx"
)

// HandIn is a file that a shop hands in, text, an Excel workbook, or a calendar
// of time off (see [ics]), and what a person has said about it. [Store.Preview]
// shows what would become of it and [Store.TakeIn] takes it in.
type HandIn struct {
	Name    string // for messages and the account
	File    io.ReaderAt
	Size    int64            // bytes
	Sheet   string           // of a workbook; "" is the first that fits, see [Store.Preview]
	As      ingest.RowKind   // "" is told from the headers
	Columns []ingest.Column  // which column is which, a field or ingest.Ignore; the rest goes by its name
	Dates   ingest.DateOrder // for columns whose dates don't tell
	Guesses bool             // accept the likeliest guess for each column and field
	Who     string           // whose calendar it is, "shop" for closed days; "" if its events name people of the crew
	Zone    *time.Location   // of the shop, whose days instants fall on; nil: in rows those that they are written with, in a calendar UTC's
}

// said tells whether a person had a say in the layout.
func (h HandIn) said() bool { return len(h.Columns) > 0 || h.Dates != "" || h.Guesses }

// Preview is what would become of a file.
type Preview struct {
	Name       string                 `json:"file"`
	Kind       ingest.RowKind         `json:"kind"`
	Sheet      string                 `json:"sheet,omitempty"` // of a workbook
	Sheets     []string               `json:"sheets,omitempty"`
	HeaderLine int                    `json:"header_line"`
	Columns    []ingest.Proposal      `json:"columns"`
	Missing    []string               `json:"missing"` // needed fields that nothing brings or may bring
	Dates      *ingest.AmbiguousDates `json:"ambiguous_dates"`
	Examples   []string               `json:"ambiguous_examples"` // dates of that column
	Remembered bool                   `json:"remembered"`         // confirmed before for such headers
	Ready      bool                   `json:"ready"`              // TakeIn needs no further word
}

// Lacks says what a file of drop-offs could do without, and what that costs.
func (p Preview) Lacks() []string {
	return lacks(p.Kind, func(field string) bool {
		return slices.ContainsFunc(p.Columns, func(c ingest.Proposal) bool { return c.Field == field })
	})
}

func lacks(kind ingest.RowKind, has func(field string) bool) (said []string) {
	if kind != ingest.DropOffs {
		return nil
	}
	if !has("kind") {
		said = append(said, "No column says what kind of job it is: all work would count as one kind.")
	}
	if !has("quoted_hours") && !has("clocked_hours") && !has("billed_hours") {
		said = append(said, "No column has hours of jobs: only drop-offs would be forecast, and no hours of work.")
	}
	return said
}

// Undecided is the error of a file on which a person has to have a word first.
// Taken in without the guesses, rows would stand under other keys than with
// them, and be doubled later.
type Undecided struct {
	Name    string
	Guesses []ingest.Guess
}

func (e *Undecided) Error() string {
	return fmt.Sprintf("store: %s: need a word on each column whose meaning is guessed, have %d of them", e.Name, len(e.Guesses))
}

// Preview reads the head of a file and says which column would be taken for
// which field, how sure that is and why, and what has to be asked. It takes
// nothing in. latest is the last day on which anything can have happened,
// tomorrow for most uses. Of a workbook it reads the first sheet whose headers
// fit, or were confirmed before, unless one is named; where none does, the first.
// A file that can't be read at all is an error.
func (s *Store) Preview(ctx context.Context, h HandIn, latest forecast.Date) (Preview, error) {
	sheet, used, sheets, err := s.open(ctx, h, latest)
	if err != nil {
		return Preview{}, err
	}
	l, remembered, err := s.settle(ctx, h, sheet)
	if err != nil && !errors.As(err, new(*Undetected)) {
		return Preview{}, err
	}
	p := Preview{Name: h.Name, Kind: l.Kind, Sheet: used, Sheets: sheets, HeaderLine: sheet.HeaderLine, Columns: l.Proposals(sheet.Sample), Examples: []string{}, Remembered: remembered}
	likely := l.AcceptGuesses()
	if p.Missing = append([]string{}, likely.Missing()...); len(p.Missing) > 0 {
		return p, nil
	}
	if _, err := sheet.Read(likely, latest); errors.As(err, &p.Dates) {
		i := slices.Index(sheet.Headers, p.Dates.Column)
		for _, row := range sheet.Sample {
			if i < len(row) && row[i] != "" && len(p.Examples) < 3 && !slices.Contains(p.Examples, row[i]) {
				p.Examples = append(p.Examples, row[i])
			}
		}
	} else if err != nil {
		return p, err
	}
	p.Ready = p.Dates == nil && len(l.Missing()) == 0 && (remembered || h.said() || len(l.Guesses) == 0)
	return p, nil
}

// Taken is the account of a file that was taken in.
type Taken struct {
	Batch
	Ignored []string // columns left alone
	Sheets  []string // of a workbook, left alone
}

// TakeIn takes in a file as one transaction, see [Store.Import], and remembers
// a layout in which a person had a say by its header signature, so that the
// next such file needs no word. It is an *Undecided or an
// *[ingest.AmbiguousDates] where there is something to ask first, and an error
// before anything is written if the database's disk has less free than three
// times the file's size. progress, if not nil, is told the rows done now and
// then. A cancelled context leaves the database as it was. An error after the
// rows are in, of keeping the layout or of the doubts, leaves them there: the
// file taken in again changes nothing.
func (s *Store) TakeIn(ctx context.Context, h HandIn, latest forecast.Date, now time.Time, progress func(rows int)) (Taken, error) {
	if r := s.Refusal(); r != nil {
		return Taken{}, r
	}
	if err := s.hasRoom(h.Size); err != nil {
		return Taken{}, err
	}
	sum := sha256.New()
	if _, err := io.Copy(sum, io.NewSectionReader(h.File, 0, h.Size)); err != nil {
		return Taken{}, wrap(err)
	}
	sheet, used, sheets, err := s.open(ctx, h, latest)
	if err != nil {
		return Taken{}, err
	}
	l, remembered, err := s.settle(ctx, h, sheet)
	if err != nil {
		return Taken{}, err
	}
	if len(l.Guesses) > 0 && !remembered && !h.said() {
		return Taken{}, &Undecided{h.Name, l.Guesses}
	}
	rows, err := sheet.Read(l, latest)
	if err != nil {
		return Taken{}, err
	}
	b, err := s.Import(ctx, Batch{File: h.Name, Kind: l.Kind, SHA256: Hash(sum.Sum(nil)), TakenIn: now,
		Headers: sheet.Headers, Delimiter: sheet.Delimiter, Mended: sheet.Mended}, rows, progress)
	if err != nil {
		return Taken{}, err
	}
	if _, err := s.SetFailure(ctx, FileFailure(h.Name, "", now)); err != nil {
		return Taken{}, err
	}
	var doubts []string
	switch l.Kind {
	case ingest.Crew:
		doubts, err = s.SkillDoubts(ctx, latest)
	case ingest.TimeOff:
		doubts, err = s.timeOffDoubts(ctx, latest)
	}
	if err != nil {
		return Taken{}, err
	}
	doubts = append(doubts, lacks(l.Kind, func(field string) bool {
		return slices.ContainsFunc(l.Columns, func(c ingest.Column) bool { return c.Field == field })
	})...)
	b.Doubts = append(b.Doubts, doubts...)
	if h.said() {
		if err := s.KeepLayout(ctx, l.Signature(), l); err != nil {
			return Taken{}, err
		}
	}
	return Taken{b, l.Ignored(), slices.DeleteFunc(sheets, func(s string) bool { return s == used })}, nil
}

// open reads the head of a file of text, or of one sheet of a workbook, or a
// calendar. sheets names all of the workbook's, and used is the one of them.
func (s *Store) open(ctx context.Context, h HandIn, latest forecast.Date) (_ *ingest.Sheet, used string, sheets []string, err error) {
	head := make([]byte, 64)
	n, err := h.File.ReadAt(head, 0)
	if err != nil && err != io.EOF {
		return nil, "", nil, wrap(err)
	}
	head = head[:n]
	if bytes.HasPrefix(bytes.TrimLeft(head, "\ufeff \r\n"), []byte(ics.Magic)) {
		sheet, err := s.openCalendar(ctx, h, latest)
		return sheet, "", nil, err
	}
	if !bytes.HasPrefix(head, []byte(xlsx.Magic)) {
		if h.Sheet != "" {
			return nil, "", nil, &NoSheet{h.Name, h.Sheet, nil}
		}
		sheet, err := ingest.OpenText(h.Name, io.NewSectionReader(h.File, 0, h.Size), ingest.Text{Zone: h.Zone})
		return sheet, "", nil, err
	}
	book, err := xlsx.Open(h.File, h.Size)
	if err != nil {
		return nil, "", nil, fmt.Errorf("%s: %w", h.Name, err)
	}
	sheets = slices.Clone(book.Sheets())
	read := func(name string) (*ingest.Sheet, error) {
		return ingest.OpenText(h.Name, book.Text(name), ingest.Text{Delimiter: ',', Date1904: book.Date1904(), Short: true, Zone: h.Zone})
	}
	switch {
	case h.Sheet != "" && !slices.Contains(sheets, h.Sheet):
		return nil, "", nil, &NoSheet{h.Name, h.Sheet, sheets}
	case h.Sheet != "":
		used = h.Sheet
	case len(sheets) > 1:
		for _, name := range sheets[:min(len(sheets), mostTried)] {
			sheet, err := read(name)
			if err != nil {
				continue // notes, or nothing: another may hold the records
			}
			if _, remembered, err := s.settle(ctx, HandIn{As: h.As}, sheet); remembered || err == nil && fits(sheet, h.As) {
				return sheet, name, sheets, nil
			}
		}
		fallthrough
	default:
		used = sheets[0]
	}
	sheet, err := read(used)
	return sheet, used, sheets, err
}

// mostTried is the most sheets of a workbook that are looked at for one that fits.
const mostTried = 20

// fits tells whether a sheet's headers, without any guess, hold all that rows
// of such a kind, or of any, need.
func fits(sheet *ingest.Sheet, as ingest.RowKind) bool {
	if as != "" {
		return len(ingest.Propose(sheet.Headers, sheet.Sample, as).Missing()) == 0
	}
	_, err := ingest.Detect(sheet.Headers, sheet.Sample)
	return err == nil
}

// openCalendar reads a calendar. Its events must name people of the crew, or
// the shop, unless the call says whose it is: a holiday's name would be taken
// for a person whom nobody knows, and change nothing.
func (s *Store) openCalendar(ctx context.Context, h HandIn, latest forecast.Date) (*ingest.Sheet, error) {
	if h.As != "" && h.As != ingest.TimeOff {
		return nil, fmt.Errorf("store: %s: need a calendar's events to be %s, have %s", h.Name, ingest.TimeOff, h.As)
	}
	text, err := ics.Text(io.NewSectionReader(h.File, 0, h.Size), h.Who, cmp.Or(h.Zone, time.UTC), latest)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", h.Name, err)
	}
	if h.Who == "" {
		crew, err := s.Crew(ctx)
		if err != nil {
			return nil, err
		}
		known := map[string]bool{ingest.Fold(ingest.ShopName): true}
		for _, p := range crew {
			known[ingest.Fold(p.Name)] = true
		}
		rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll() // ours, and bounded
		if err != nil {
			return nil, wrap(err)
		}
		for _, row := range rows[1:] {
			if !known[ingest.Fold(row[0])] {
				return nil, &NoPerson{h.Name, row[0]}
			}
		}
	}
	return ingest.OpenText(h.Name, bytes.NewReader(text), ingest.Text{Delimiter: ','})
}

// NoPerson is the error of a calendar with an event that names nobody.
type NoPerson struct{ Name, Event string }

func (e *NoPerson) Error() string {
	return fmt.Sprintf("store: %s: need to know whose calendar it is, have an event %q that is no name on the crew", e.Name, e.Event)
}

// NoSheet is the error of a sheet that a file hasn't got.
type NoSheet struct {
	Name, Sheet string
	Sheets      []string // none if it is no workbook
}

func (e *NoSheet) Error() string {
	if len(e.Sheets) == 0 {
		return fmt.Sprintf("store: need a workbook for a sheet %q, have %s", e.Sheet, e.Name)
	}
	return fmt.Sprintf("store: %s: need one of the sheets %q, have %q", e.Name, e.Sheets, e.Sheet)
}

// Undetected is the error of headers that fit no kind of rows. A layout of
// drop-offs comes with it, to be filled in.
type Undetected struct{ error }

// Unwrap gives what ingest said.
func (e *Undetected) Unwrap() error { return e.error }

// settle finds which column is which: as was confirmed for such headers
// before, unless the call says otherwise, or as their names and the call say.
func (s *Store) settle(ctx context.Context, h HandIn, sheet *ingest.Sheet) (l ingest.Layout, remembered bool, err error) {
	kind := cmp.Or(h.As, ingest.DropOffs)
	l = ingest.Propose(sheet.Headers, sheet.Sample, kind)
	if len(h.Columns) == 0 && !h.Guesses {
		var known ingest.Layout
		ok, err := s.Layout(ctx, l.Signature(), &known)
		if err != nil {
			return l, false, err
		}
		if ok && (h.As == "" || h.As == known.Kind) {
			for i, header := range sheet.Headers { // alike when folded, but maybe written otherwise
				known.Columns[i].Header = header
			}
			known.Guesses, known.DateOrder = nil, cmp.Or(h.Dates, known.DateOrder)
			return known, true, nil
		}
	}
	var fits error
	if h.As == "" {
		if detected, err := ingest.Detect(sheet.Headers, sheet.Sample, h.Columns...); err == nil {
			l = detected
		} else if len(h.Columns) == 0 && len(l.AcceptGuesses().Missing()) > 0 { // else there are guesses, to be confirmed
			fits = &Undetected{err}
		}
	}
	for _, c := range h.Columns {
		if l, err = l.With(c.Header, c.Field); err != nil {
			return l, false, err
		}
	}
	if l.DateOrder = h.Dates; h.Guesses {
		l = l.AcceptGuesses()
	}
	return l, false, fits
}
