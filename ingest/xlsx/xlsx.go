// Package xlsx gives a sheet of an Excel workbook (.xlsx, Office Open XML,
// ECMA-376) as CSV text, row by row, so that [ingest.OpenText] reads it as it
// reads any export.
//
// It takes values as they are stored, not as they are shown: a number cell is
// a number to 15 digits, a cell in a date format is YYYY-MM-DD by the
// workbook's own epoch, one in a time format is H:MM, whatever language the
// formats are in. Row n of the sheet is line n of the text: line ends within a
// cell become spaces.
//
// It refuses files made to harm: more than 1,000 entries, 64 MiB packed or 256
// MiB unpacked, parts packed more than 200 to 1, 2,000,000 texts in 32 MiB, 256
// columns, 4,000,000 cells, 256 MiB of text, rows or cells out of order, XML with
// document types or comments. It holds the workbook's texts and formats in
// memory and nothing else of it, runs no formulas and writes no files.
//
// To use it: Open a file, choose among Sheets, and read its Text.
//
//	book, err := xlsx.Open(f, size)
//	sheet, err := ingest.OpenText(name, book.Text(book.Sheets()[0]), ingest.Text{Delimiter: ',', Date1904: book.Date1904(), Short: true})
package xlsx

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
)

const (
	maxEntries   = 1000
	maxDirectory = 1 << 20 // bytes
	maxPacked    = 64 << 20
	maxUnpacked  = 256 << 20
	maxRatio     = 200
	maxTexts     = 2_000_000
	maxTextBytes = 32 << 20 // of all texts
	maxSheets    = 256
	maxName      = 255   // bytes of a sheet's; Excel's own limit is 31 characters (from memory)
	maxFormats   = 65536 // cell formats; Excel's own limit is 64,000 (from memory)
	maxRows      = 1 << 20
	maxColumns   = 256
	maxCells     = 4_000_000
	maxText      = 256 << 20 // bytes of a sheet as text: cells may share long ones
)

// Magic is how a workbook, being a zip archive, begins.
const Magic = "PK\x03\x04"

// A Book is an opened workbook.
type Book struct {
	parts    map[string]*zip.File
	sheets   []sheet
	date1904 bool
	texts    texts
	formats  []format // of cells, by the index that cells name
}

type sheet struct{ name, part string }

// Open reads what stands about a workbook's sheets: their names, the texts that
// cells share, and the formats. A file that isn't a workbook, is encrypted, or
// breaks a limit is an error.
func Open(r io.ReaderAt, size int64) (*Book, error) {
	b, err := open(r, size)
	if err != nil {
		return nil, fmt.Errorf("xlsx: %w", err)
	}
	return b, nil
}

func open(r io.ReaderAt, size int64) (*Book, error) {
	if size > maxPacked {
		return nil, fmt.Errorf("need at most %d bytes, have %d: save the sheet as CSV", maxPacked, size)
	}
	if err := checkDirectory(r, size); err != nil {
		return nil, err
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("need an Excel workbook (.xlsx): %w", err)
	}
	if len(z.File) > maxEntries {
		return nil, fmt.Errorf("need at most %d entries in the archive, have %d", maxEntries, len(z.File))
	}
	b := &Book{parts: map[string]*zip.File{}}
	unpacked := uint64(0)
	for _, f := range z.File {
		if f.UncompressedSize64 > 1<<20 && f.UncompressedSize64/maxRatio > f.CompressedSize64 {
			return nil, fmt.Errorf("%s is packed more than %d to 1, as no honest sheet is", f.Name, maxRatio)
		}
		if unpacked += f.UncompressedSize64; f.UncompressedSize64 > maxUnpacked || unpacked > maxUnpacked {
			return nil, fmt.Errorf("need at most %d bytes when unpacked, have more: save the sheet as CSV", maxUnpacked)
		}
		b.parts[strings.TrimPrefix(f.Name, "/")] = f
	}
	main, err := b.related("", "officeDocument")
	if err != nil {
		return nil, err
	}
	if main == nil {
		return nil, errors.New("need an Excel workbook (.xlsx), have another kind of archive")
	}
	return b, b.readWorkbook(main[0].part)
}

// checkDirectory bounds the archive's directory, which zip.NewReader reads as a
// whole, by its end record (APPNOTE.TXT 4.3.16).
func checkDirectory(r io.ReaderAt, size int64) error {
	tail := make([]byte, min(size, 22+65535))
	if _, err := r.ReadAt(tail, size-int64(len(tail))); err != nil && err != io.EOF {
		return err
	}
	at := bytes.LastIndex(tail, []byte("PK\x05\x06"))
	if at < 0 || len(tail)-at < 22 {
		return errors.New("need an Excel workbook (.xlsx), have a file that breaks off or is another kind")
	}
	end := tail[at:]
	bytesOf, from := binary.LittleEndian.Uint32(end[12:]), binary.LittleEndian.Uint32(end[16:])
	if bytesOf > maxDirectory || size-int64(from) > maxDirectory+int64(len(tail)) {
		return fmt.Errorf("need at most %d entries in the archive, have a directory of %d bytes", maxEntries, max(int64(bytesOf), size-int64(from)))
	}
	return nil
}

// A relation leads from one part of the package to another.
type relation struct{ id, part string }

// related gives the parts that one part is related to in the given way.
func (b *Book) related(from, kind string) ([]relation, error) {
	dir := path.Dir(from)
	name := path.Join(dir, "_rels", path.Base(from)+".rels")
	if from == "" {
		dir, name = "", "_rels/.rels"
	}
	if b.parts[name] == nil {
		return nil, nil
	}
	var out []relation
	err := b.elements(name, func(e xml.StartElement) error {
		if e.Name.Local != "Relationship" || path.Base(attr(e, "Type")) != kind || attr(e, "TargetMode") == "External" {
			return nil
		}
		to := attr(e, "Target")
		if rooted, ok := strings.CutPrefix(to, "/"); ok {
			to = path.Clean(rooted)
		} else {
			to = path.Join(dir, to)
		}
		if id := attr(e, "Id"); b.parts[to] != nil && len(id) <= maxName && len(out) < maxSheets {
			out = append(out, relation{id, to})
		}
		return nil
	})
	return out, err
}

func (b *Book) readWorkbook(main string) error {
	parts, err := b.related(main, "worksheet")
	if err != nil {
		return err
	}
	var hidden []sheet
	err = b.elements(main, func(e xml.StartElement) error {
		switch e.Name.Local {
		case "workbookPr":
			b.date1904 = isTrue(attr(e, "date1904"))
		case "sheet":
			i := slices.IndexFunc(parts, func(r relation) bool { return r.id == attr(e, "id") })
			if i < 0 { // a chart's sheet
				return nil
			}
			s := sheet{attr(e, "name"), parts[i].part}
			if len(s.name) > maxName {
				return fmt.Errorf("need sheets' names of at most %d bytes, have one of %d", maxName, len(s.name))
			}
			if state := attr(e, "state"); state == "" || state == "visible" {
				b.sheets = append(b.sheets, s)
			} else {
				hidden = append(hidden, s)
			}
			if len(b.sheets)+len(hidden) > maxSheets {
				return fmt.Errorf("need at most %d sheets, have more", maxSheets)
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if b.sheets = append(b.sheets, hidden...); len(b.sheets) == 0 {
		return errors.New("need a sheet of cells, have none")
	}
	if err := b.readPart(main, "sharedStrings", b.readTexts); err != nil {
		return err
	}
	return b.readPart(main, "styles", b.readFormats)
}

// readPart reads the part of a kind, if the workbook has one.
func (b *Book) readPart(main, kind string, read func(part string) error) error {
	parts, err := b.related(main, kind)
	if err != nil || len(parts) == 0 {
		return err
	}
	return read(parts[0].part)
}

// Sheets lists the sheets' names in the order of their tabs, hidden ones last.
// There is one at least.
func (b *Book) Sheets() []string {
	names := make([]string, len(b.sheets))
	for i, s := range b.sheets {
		names[i] = s.name
	}
	return names
}

// Date1904 tells whether the workbook counts days from 1904, as old Macs did,
// and not from 1900.
func (b *Book) Date1904() bool { return b.date1904 }

// texts holds many texts in pieces of memory that never grow: growing takes
// room for what is there twice over.
type texts struct {
	pieces [][]byte
	ends   []uint32 // of texts: the piece's number and, in pieceBits, the place within it
	from   int      // where the text in hand starts in the last piece
}

const pieceBits = 20 // twice as long as any text

// add adds to the text in hand. It is false if that is too long.
func (t *texts) add(s []byte) bool {
	var last []byte
	if n := len(t.pieces); n > 0 {
		last = t.pieces[n-1]
	}
	if len(last)-t.from+len(s) > maxToken {
		return false
	}
	if len(last)+len(s) >= cap(last) {
		t.pieces = append(t.pieces, append(make([]byte, 0, 1<<pieceBits), last[t.from:]...))
		t.from = 0
	}
	last = append(t.pieces[len(t.pieces)-1], s...)
	t.pieces[len(t.pieces)-1] = last
	return true
}

// end ends the text in hand.
func (t *texts) end() {
	if len(t.pieces) == 0 {
		t.add(nil)
	}
	n := len(t.pieces) - 1
	t.from = len(t.pieces[n])
	t.ends = append(t.ends, uint32(n<<pieceBits|t.from))
}

func (t *texts) at(i int) []byte {
	const within = 1<<pieceBits - 1
	piece, from := t.ends[i]>>pieceBits, uint32(0)
	if i > 0 && t.ends[i-1]>>pieceBits == piece {
		from = t.ends[i-1] & within
	}
	return t.pieces[piece][from : t.ends[i]&within]
}

func (b *Book) readTexts(part string) error {
	x, err := b.open(part)
	if err != nil {
		return err
	}
	defer x.Close()
	// No text is shorter than <si/>.
	b.texts.ends = make([]uint32, 0, min(b.parts[part].UncompressedSize64/5, maxTexts+1))
	var run runs
	for {
		token, err := x.token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		switch e := token.(type) {
		case xml.StartElement:
			run.open(e.Name.Local)
		case xml.CharData:
			if run.spoken() && !b.texts.add(e) {
				return fmt.Errorf("%s: holds a text longer than %d bytes", part, maxToken)
			}
		case xml.EndElement:
			if run.close(e.Name.Local); e.Name.Local == "si" {
				b.texts.end()
			}
		}
		if len(b.texts.pieces)<<pieceBits > maxTextBytes || len(b.texts.ends) > maxTexts {
			return fmt.Errorf("%s: need at most %d texts in %d bytes, have more: save the sheet as CSV", part, maxTexts, maxTextBytes)
		}
	}
}

// runs tells which character data of a text item is text: that within t, but
// not within the phonetic guide rPh.
type runs struct{ text, phonetic bool }

func (r *runs) open(name string)  { r.set(name, true) }
func (r *runs) close(name string) { r.set(name, false) }
func (r *runs) spoken() bool      { return r.text && !r.phonetic }

func (r *runs) set(name string, within bool) {
	switch name {
	case "t":
		r.text = within
	case "rPh":
		r.phonetic = within
	}
}

func isTrue(s string) bool { return s == "1" || s == "true" || s == "on" }
