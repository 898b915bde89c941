package ics

import (
	"bytes"
	"fmt"
	"strings"
)

// kept are the properties of an event that say when it is, and whose.
var kept = map[string]bool{"UID": true, "SUMMARY": true, "STATUS": true, "DTSTART": true, "DTEND": true, "DURATION": true,
	"RRULE": true, "RDATE": true, "EXDATE": true, "RECURRENCE-ID": true}

// needed unfolds the lines of a calendar (RFC 5545, section 3.1) and leaves out
// what is of no use here: descriptions, attachments, alarms, rules of time
// zones. The parser takes time as the square of a line's length, and memory for
// every part.
func needed(text []byte) ([]byte, error) {
	var out bytes.Buffer
	events, skipped := 0, 0 // skipped: parts begun within one that is left out
	inEvent := false
	for number := 1; len(text) > 0; number++ {
		line, rest := unfold(text)
		text = rest
		name, value, _ := strings.Cut(string(line[:min(len(line), 100)]), ":")
		name, _, _ = strings.Cut(name, ";")
		part := strings.TrimSpace(value)
		switch {
		case skipped > 0 || name == "BEGIN" && part != "VCALENDAR" && (part != "VEVENT" || inEvent):
			switch name {
			case "BEGIN":
				skipped++
			case "END":
				skipped--
			}
			continue
		case name == "BEGIN" && part == "VEVENT":
			inEvent = true
			if events++; events > maxEvents {
				return nil, fmt.Errorf("ics: need a calendar of at most %d events, have more", maxEvents)
			}
		case name == "END" && part == "VEVENT":
			inEvent = false
		case number > 1 && name != "BEGIN" && name != "END" && !(inEvent && kept[name]):
			continue
		}
		if len(line) > maxLine {
			return nil, fmt.Errorf("ics: need lines of at most %d bytes for what says when, have one of %d of %s", maxLine, len(line), name)
		}
		out.Write(line)
		out.WriteString("\r\n")
	}
	return out.Bytes(), nil
}

// unfold gives the first line of text, those that go on with it appended, and
// what is left.
func unfold(text []byte) (line, rest []byte) {
	line, rest, _ = bytes.Cut(text, []byte{'\n'})
	line = bytes.TrimSuffix(line, []byte{'\r'})
	folded := false
	for len(rest) > 0 && (rest[0] == ' ' || rest[0] == '\t') {
		more, after, _ := bytes.Cut(rest[1:], []byte{'\n'})
		if !folded {
			line, folded = bytes.Clone(line), true
		}
		line, rest = append(line, bytes.TrimSuffix(more, []byte{'\r'})...), after
	}
	return line, rest
}
