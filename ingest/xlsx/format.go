package xlsx

import (
	"encoding/xml"
	"fmt"
	"strconv"
	"strings"
)

// A format says what a number in a cell stands for.
type format byte

const (
	number format = iota
	day           // days since the epoch, perhaps with a time of day
	clock         // a time or duration, as a share of a day
)

// readFormats finds out what each cell format makes of a number.
func (b *Book) readFormats(part string) error {
	custom := map[int]format{}
	within := false
	return b.elements(part, func(e xml.StartElement) error {
		switch e.Name.Local {
		case "numFmt":
			if id, err := strconv.Atoi(attr(e, "numFmtId")); err == nil {
				custom[id] = formatOf(attr(e, "formatCode"))
			}
		case "cellXfs":
			within = true
		case "cellStyles", "dxfs", "cellStyleXfs":
			within = false
		case "xf":
			if !within {
				return nil
			}
			id, _ := strconv.Atoi(attr(e, "numFmtId")) // 0 is General
			f, ok := custom[id]
			if !ok {
				f = builtIn(id)
			}
			b.formats = append(b.formats, f)
		}
		if len(b.formats) > maxFormats || len(custom) > maxFormats {
			return fmt.Errorf("%s: need at most %d formats, have more", part, maxFormats)
		}
		return nil
	})
}

// builtIn gives the formats that a workbook need not spell out: ECMA-376 part
// 1, 18.8.30; 27 to 36 and 50 to 58 are the dates of East Asian editions.
func builtIn(n int) format {
	switch {
	case 14 <= n && n <= 17, n == 22, 27 <= n && n <= 31, n == 36, 50 <= n && n <= 54, n == 57, n == 58:
		return day
	case 18 <= n && n <= 21, 32 <= n && n <= 35, 45 <= n && n <= 47, n == 55, n == 56:
		return clock
	}
	return number
}

// formatOf reads a format's code, such as [$-409]m/d/yy h:mm AM/PM;@, for what
// it shows of a number: a day or year, only hours to seconds, or neither.
func formatOf(code string) format {
	code, _, _ = strings.Cut(strings.ToLower(code), ";") // what follows is for negative numbers
	if strings.Contains(code, "general") {
		return number
	}
	f := number
	for i := 0; i < len(code); i++ {
		switch code[i] {
		case '"', '[':
			closing := code[i]
			if closing == '[' {
				closing = ']'
			}
			n := strings.IndexByte(code[i+1:], closing)
			if n < 0 {
				return f
			}
			// [h]:mm counts hours beyond a day.
			if inner := code[i+1 : i+1+n]; closing == ']' && n > 0 && strings.Trim(inner, inner[:1]) == "" && strings.Contains("hms", inner[:1]) {
				f = clock
			}
			i += n + 1
		case '\\', '_', '*':
			i++
		case 'd', 'y':
			return day
		case 'h', 's':
			f = clock
		case 'm': // months, unless there are hours or seconds
			if f == number && !strings.ContainsAny(code[i:], "hs") {
				return day
			}
		}
	}
	return f
}
