package post

import (
	"bytes"
	"encoding/base64"
	"io"
	"maps"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"testing"
)

// parts takes a message apart as a mail program does: what is in it by its
// type, and the names of its files and pictures.
func parts(t *testing.T, header func(string) string, body io.Reader, into map[string]string) {
	t.Helper()
	kind, params, err := mime.ParseMediaType(header("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasPrefix(kind, "multipart/") {
		for r := multipart.NewReader(body, params["boundary"]); ; {
			p, err := r.NextRawPart()
			if err == io.EOF {
				return
			} else if err != nil {
				t.Fatal(err)
			}
			parts(t, p.Header.Get, p, into)
		}
	}
	switch header("Content-Transfer-Encoding") {
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	}
	text, err := io.ReadAll(body)
	if err != nil {
		t.Fatal(err)
	}
	_, file, _ := mime.ParseMediaType(header("Content-Disposition"))
	into[strings.TrimSpace(kind+" "+file["filename"]+" "+header("Content-Id"))] = strings.ReplaceAll(string(text), "\r\n", "\n")
}

// A letter has its words twice, for programs that show HTML and for those that
// don't, its pictures where the HTML asks for them, and the page as a file.
func TestMessageParts(t *testing.T) {
	read, err := mail.ReadMessage(bytes.NewReader(message(t)))
	if err != nil {
		t.Fatal(err)
	}
	have := map[string]string{}
	parts(t, read.Header.Get, read.Body, have)
	l := letter()
	want := map[string]string{
		"text/plain":                      l.Text,
		"text/html":                       l.HTML,
		"image/png hours.png <hours.png>": string(l.Pictures[0].PNG),
		"text/html weekly-report.html":    "<html>the page</html>",
	}
	if !maps.Equal(have, want) {
		t.Errorf("want %q\nhave %q", want, have)
	}
}
