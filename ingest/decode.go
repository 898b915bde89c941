package ingest

import (
	"bytes"
	"io"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// decode gives r as UTF-8 where a byte order mark names the encoding, without
// the mark. Bytes without a mark pass as they are: whether they are UTF-8 or
// windows-1252 is judged row by row, since shops paste files together and a
// stream can't be judged as a whole before it has been read.
func decode(r io.Reader) (io.Reader, error) {
	head := make([]byte, 3)
	n, err := io.ReadFull(r, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, err
	}
	head = head[:n]
	rest, marked := bytes.CutPrefix(head, []byte("\xef\xbb\xbf"))
	r = io.MultiReader(bytes.NewReader(rest), r)
	switch {
	case marked:
		return r, nil
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		return unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder().Reader(r), nil
	}
	return r, nil
}

// fromWindows1252 decodes a cell of a row that isn't UTF-8. Every byte has a
// meaning.
func fromWindows1252(b []byte) []byte {
	out := make([]byte, 0, 2*len(b))
	for _, c := range b {
		out = utf8.AppendRune(out, charmap.Windows1252.DecodeByte(c))
	}
	return out
}
