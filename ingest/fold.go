package ingest

import (
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// Fold makes names that people take for the same the same: it drops case,
// accents, spaces and punctuation, and keeps letters and digits. "Véhicule
// n°", "vehicule N" and "VEHICULE-N" all fold to "vehiculen".
func Fold(s string) string { return string(appendFold(nil, s)) }

func appendFold(b []byte, s string) []byte {
	start := len(b)
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case 'A' <= c && c <= 'Z':
			b = append(b, c+('a'-'A'))
		case 'a' <= c && c <= 'z', '0' <= c && c <= '9':
			b = append(b, c)
		case c >= utf8.RuneSelf:
			return appendFoldUnicode(b[:start], s)
		}
	}
	return b
}

func appendFoldUnicode(b []byte, s string) []byte {
	for _, r := range norm.NFKD.String(cases.Fold().String(norm.NFKD.String(s))) {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			b = utf8.AppendRune(b, unicode.ToLower(r)) // cases.Fold swaps the two cases of Cherokee
		}
	}
	return b
}
