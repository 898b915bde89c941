package xlsx

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
)

// maxToken bounds what the XML decoder must hold at once: the longest cell that
// Excel allows is 32,767 characters.
const maxToken = 512 << 10

// A part is one XML file of the package, being read.
type part struct {
	name string
	zip  io.ReadCloser
	xml  *xml.Decoder
}

func (b *Book) open(name string) (*part, error) {
	r, err := b.parts[name].Open()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	// RawToken reads no names' meanings and checks no nesting: nothing here
	// depends on either, and it keeps no stack that a file could make grow.
	d := xml.NewDecoder(bufio.NewReaderSize(&guard{src: r, left: maxUnpacked}, 64<<10))
	d.CharsetReader = func(charset string, _ io.Reader) (io.Reader, error) {
		return nil, fmt.Errorf("need UTF-8, have %s", charset)
	}
	return &part{name, r, d}, nil
}

func (p *part) Close() { p.zip.Close() }

// token gives the next start, end or text. It is io.EOF at the end.
func (p *part) token() (xml.Token, error) {
	t, err := p.xml.RawToken()
	if err != nil && err != io.EOF {
		return nil, fmt.Errorf("%s: %w", p.name, err)
	}
	return t, err
}

// elements calls each for every start element of a part.
func (b *Book) elements(name string, each func(xml.StartElement) error) error {
	p, err := b.open(name)
	if err != nil {
		return err
	}
	defer p.Close()
	for {
		switch t, err := p.token(); e := t.(type) {
		case xml.StartElement:
			if err := each(e); err != nil {
				return err
			}
		default:
			if err == io.EOF {
				return nil
			}
			if err != nil {
				return err
			}
		}
	}
}

func attr(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// A guard passes XML on as long as it can be read in little memory: it refuses
// tokens beyond maxToken, and comments, CDATA and document types, which no
// spreadsheet program writes and of which a decoder holds any length. left is
// how many bytes the part may still have, whatever the archive's header says.
type guard struct {
	src  io.Reader
	left int64
	run  int  // bytes since the last <
	mark bool // the last byte was <
}

func (g *guard) Read(b []byte) (int, error) {
	n, err := g.src.Read(b)
	if g.left -= int64(n); g.left < 0 {
		return 0, fmt.Errorf("need at most %d bytes when unpacked, have more", maxUnpacked)
	}
	for rest := b[:n]; len(rest) > 0; {
		if g.mark && rest[0] == '!' {
			return 0, errors.New("need XML without comments, CDATA and document types, have one of them: open the workbook in a spreadsheet program and save it anew")
		}
		i := bytes.IndexByte(rest, '<')
		if g.mark = i >= 0; !g.mark {
			g.run += len(rest)
			break
		}
		if g.run+i > maxToken {
			g.run += i
			break
		}
		g.run, rest = 0, rest[i+1:]
		g.mark = true
	}
	if g.run > maxToken {
		return 0, fmt.Errorf("holds a text longer than %d bytes", maxToken)
	}
	return n, err
}
