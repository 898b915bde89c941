package ingest

import "strings"

// Guard makes a text safe to be opened in a spreadsheet, which would run one
// that begins like a formula (OWASP, "CSV Injection"): it puts an apostrophe
// before it. A Reader takes that off again, so that what was exported comes
// back as it was.
func Guard(s string) string {
	if isFormula(s) {
		return "'" + s
	}
	return s
}

// unguard undoes Guard.
func unguard(cell []byte) []byte {
	if len(cell) > 1 && cell[0] == '\'' && isFormula(string(cell[1:min(len(cell), 64)])) {
		return cell[1:]
	}
	return cell
}

// isFormula tells whether a spreadsheet may take s for a formula, or whether
// it is one that was guarded already: spaces are passed over, and full-width
// signs count.
func isFormula(s string) bool {
	s = strings.TrimLeft(s, "' \u00a0\u3000")
	for _, sign := range []string{"=", "+", "-", "@", "\t", "\r", "\n", "\x00", "＝", "＋", "－", "＠"} {
		if strings.HasPrefix(s, sign) {
			return true
		}
	}
	return false
}
