package xlsx

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// workbook makes a workbook of one sheet from its XML, and of other parts that
// stand in place of the usual ones.
func workbook(t testing.TB, sheet string, others map[string]string) []byte {
	t.Helper()
	const head = `<?xml version="1.0" encoding="UTF-8"?>`
	parts := map[string]string{
		"_rels/.rels":                `<Relationships><Relationship Id="r1" Type="http://x/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
		"xl/workbook.xml":            `<workbook><sheets><sheet name="Jobs" sheetId="1" r:id="r1"/></sheets></workbook>`,
		"xl/_rels/workbook.xml.rels": `<Relationships><Relationship Id="r1" Type="http://x/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="r2" Type="http://x/sharedStrings" Target="/xl/sharedStrings.xml"/><Relationship Id="r3" Type="http://x/styles" Target="styles.xml"/></Relationships>`,
		"xl/worksheets/sheet1.xml":   sheet,
		"xl/sharedStrings.xml":       `<sst><si><t>kind</t></si><si><r><t>roof </t></r><r><t>air</t></r><rPh><t>no</t></rPh></si></sst>`,
		"xl/styles.xml":              `<styleSheet><numFmts><numFmt numFmtId="164" formatCode="[h]:mm"/></numFmts><cellStyleXfs><xf numFmtId="14"/></cellStyleXfs><cellXfs><xf numFmtId="0"/><xf numFmtId="14"/><xf numFmtId="164"/></cellXfs></styleSheet>`,
	}
	for name, text := range others {
		parts[name] = text
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range parts {
		if text == "" {
			continue
		}
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(text, "<?xml") {
			io.WriteString(w, head)
		}
		if _, err := io.WriteString(w, text); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func rows(cells string) string { return "<worksheet><sheetData>" + cells + "</sheetData></worksheet>" }

// read gives the text of the first sheet.
func read(file []byte) (string, error) {
	b, err := Open(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return "", err
	}
	r := b.Text(b.Sheets()[0])
	defer r.Close()
	text, err := io.ReadAll(r)
	return string(text), err
}

func TestText(t *testing.T) {
	for sheet, want := range map[string]string{
		`<row r="1"><c r="A1" t="s"><v>0</v></c><c r="B1" t="s"><v>1</v></c></row>`:                                      "kind,roof air\n",
		`<row r="3"><c r="C3"><v>1.5</v></c></row>`:                                                                      "\n\n,,1.5\n",
		`<row><c><v>1</v></c><c><v>2</v></c></row><row><c><v>3</v></c></row>`:                                            "1,2\n3\n",
		`<row><c t="inlineStr"><is><t>a, "b"</t></is></c><c t="str"><f>A1</f><v>c&#10;d</v></c></row>`:                   "\"a, \"\"b\"\"\",\"c d\"\n",
		`<row><c s="1"><v>45747</v></c><c s="1"><v>45747.75</v></c><c><v>45747</v></c></row>`:                            "2025-03-31,2025-03-31 18:00:00,45747\n",
		`<row><c s="1"><v>1</v></c><c s="1"><v>59</v></c><c s="1"><v>61</v></c></row>`:                                   "1900-01-01,1900-02-28,1900-03-01\n", // from memory: Excel's 60 is the 29 February that never was
		`<row><c s="2"><v>0.104166666666666664</v></c><c s="2"><v>1.25</v></c><c s="2"><v>4.0509259259E-4</v></c></row>`: "2:30,30:00,0:00:35\n",
		`<row><c><v>2.2999999999999998</v></c><c><v>5.0000000000000003E-2</v></c><c><v>007</v></c></row>`:                "2.3,0.05,007\n",
		`<row><c t="b"><v>1</v></c><c t="e"><v>#N/A</v></c><c t="d"><v>2025-03-31</v></c></row>`:                         "1,#N/A,2025-03-31\n",
		`<row><c t="s"/><c t="s"><v></v></c><c t="n"/><c><v>1</v></c></row>`:                                             ",,,1\n",
		`<row><c r="XFD1"/><c r="XFE1" s="1"></c></row>`:                                                                 "\n",
	} {
		have, err := read(workbook(t, rows(sheet), nil))
		if err != nil || have != want {
			t.Errorf("%s: want %q, have %q, %v", sheet, want, have, err)
		}
	}
	old := map[string]string{"xl/workbook.xml": `<workbook><workbookPr date1904="1"/><sheets><sheet name="Jobs" r:id="r1"/></sheets></workbook>`}
	// 44285 + 1462 = 45747: the two epochs are 1,462 days apart.
	if have, err := read(workbook(t, rows(`<row><c s="1"><v>44285</v></c></row>`), old)); err != nil || have != "2025-03-31\n" {
		t.Errorf("want March 31, have %q, %v", have, err)
	}
}

func TestFormats(t *testing.T) {
	for code, want := range map[string]format{
		"General": number, "0.00": number, "#,##0.00 [$€-1]": number, `0.0" hours"`: number, `0.00\h`: number, "[Red]0": number, "0%": number, "@": number, `_(* #,##0_)`: number, "": number, `"day`: number,
		"m/d/yy": day, "[$-409]m/d/yy h:mm AM/PM;@": day, `dd\.mm\.yyyy`: day, "yyyy-mm-dd": day, "mmm": day, "d": day, `[$-F800]dddd\,\ mmmm\ dd\,\ yyyy`: day,
		"h:mm": clock, "[h]:mm": clock, "[mm]:ss": clock, "mm:ss.0": clock, "[$-F400]h:mm:ss AM/PM": clock,
	} {
		if have := formatOf(code); have != want {
			t.Errorf("%q: want %d, have %d", code, want, have)
		}
	}
}

// The files were written by excelize v2.11.1, one in each epoch, of the same
// rows: day 2026-02-02 is 46055 in one and 44593 in the other.
func TestOtherWritersFiles(t *testing.T) {
	for name, bare := range map[string]string{"days1900.xlsx": "46058", "days1904.xlsx": "44596"} {
		file, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		want := "Export of the shop\n\nRO #,Date In,Kind,Quoted Hours,Clocked Hours,Ready,Note,Emergency\n" +
			"4101,2026-02-02,roof air,2.3,2:30,2026-02-04 14:24:00,\"fan, \"\"rattles\"\" and hums\",1\n\n" +
			"4102,2026-02-03,Kühlung,0.3,,,,0\n4103,2026-02-03,roof air,soon\n4104," + bare + ",roof air,1\n\n" // row 9 has formats alone
		if have, err := read(file); err != nil || have != want {
			t.Errorf("%s: want\n%s\nhave\n%s\n%v", name, want, have, err)
		}
		b, err := Open(bytes.NewReader(file), int64(len(file)))
		if err != nil || fmt.Sprint(b.Sheets()) != "[Jobs Other]" || b.Date1904() != (name == "days1904.xlsx") {
			t.Errorf("%s: have %v, %v", name, b.Sheets(), err)
		}
	}
}

// Texts come back as they went in, where pieces end too.
func TestTexts(t *testing.T) {
	var all texts
	var want []string
	for i := range 5000 {
		s := noise(i * i % 9973)
		if i%1000 == 500 {
			s = noise(maxToken - i)
		}
		for half := range 2 {
			if part := s[half*len(s)/2 : (half+1)*len(s)/2]; !all.add([]byte(part)) {
				t.Fatalf("text %d of %d bytes isn't taken", i, len(s))
			}
		}
		all.end()
		want = append(want, s)
	}
	for i, s := range want {
		if string(all.at(i)) != s {
			t.Fatalf("text %d of %d bytes: have %d", i, len(s), len(all.at(i)))
		}
	}
	if n := len(all.pieces); n < 20 || all.add(make([]byte, maxToken+1)) {
		t.Errorf("want many pieces, and no text longer than %d; have %d pieces", maxToken, n)
	}
	var none texts
	if none.end(); len(none.at(0)) != 0 {
		t.Error("want an empty text")
	}
}

// lying gives the archive with another unpacked size in an entry's header.
func lying(file []byte, name string, size uint32) []byte {
	file = bytes.Clone(file)
	for _, h := range []struct {
		magic     string
		at, names int
	}{{"PK\x01\x02", 24, 46}, {"PK\x03\x04", 22, 30}} {
		for i := 0; ; {
			k := bytes.Index(file[i:], []byte(h.magic))
			if k < 0 {
				break
			}
			i += k
			if bytes.HasPrefix(file[min(i+h.names, len(file)):], []byte(name)) {
				copy(file[i+h.at:], []byte{byte(size), byte(size >> 8), byte(size >> 16), byte(size >> 24)})
			}
			i += 4
		}
	}
	return file
}

// refuseHere names a workbook that this test's program is to read, and refuse, in
// a process of its own.
const refuseHere = "FRESHET_REFUSE"

func TestMain(m *testing.M) {
	path := os.Getenv(refuseHere)
	if path == "" {
		os.Exit(m.Run())
	}
	start := time.Now()
	err := readAll(path)
	took, most := time.Since(start), 0
	status, _ := os.ReadFile("/proc/self/status") // none but on Linux
	for line := range strings.Lines(string(status)) {
		fmt.Sscanf(line, "VmHWM: %d", &most)
	}
	fmt.Printf("%d %d\n%v", took, most, err)
}

// readAll reads a workbook's first sheet.
func readAll(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	b, err := Open(f, info.Size())
	if err == nil {
		_, err = io.Copy(io.Discard, b.Text(b.Sheets()[0]))
	}
	return err
}

// Files made to harm are refused, in words, by a process that never has more than
// 100 MB; within 2 seconds on a machine that does nothing else.
func TestHostile(t *testing.T) {
	if testing.Short() {
		t.Skip("seconds; ten times as many under the race detector")
	}
	cell := `<c><v>1</v></c>`
	many := func(n int) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		for i := range n {
			z.Create(fmt.Sprint(i))
		}
		z.Close()
		return b.Bytes()
	}
	spaces := strings.Repeat(" ", 64<<20)
	for name, c := range map[string]struct {
		file func() []byte
		says string
	}{
		"not a zip":        {func() []byte { return []byte("PK\x03\x04 and no more") }, "breaks off"},
		"another zip":      {func() []byte { return many(3) }, "another kind"},
		"many entries":     {func() []byte { return many(1001) }, "entries"},
		"a huge directory": {func() []byte { return many(30_000) }, "a directory of"},
		"spaces":           {func() []byte { return workbook(t, rows(spaces), nil) }, "200 to 1"},
		"lying about size": {func() []byte { return lying(workbook(t, rows(spaces), nil), "xl/worksheets/sheet1.xml", 9000) }, "zip"},
		"a long text":      {func() []byte { return workbook(t, rows(`<row><c t="str"><v>`+noise(4<<20)+`</v></c></row>`), nil) }, "longer than"},
		"a long attribute": {func() []byte { return workbook(t, rows(`<row r="`+noise(4<<20)+`">`), nil) }, "longer than"},
		"text in pieces": {func() []byte {
			return workbook(t, rows(`<row><c t="str"><v>`+strings.Repeat(noise(1000)+"<x/>", 4000)+`</v></c></row>`), nil)
		}, "longer than"},
		"a comment":         {func() []byte { return workbook(t, rows("<!-- "+noise(1000)+" -->"), nil) }, "comment"},
		"entities":          {func() []byte { return workbook(t, `<!DOCTYPE x [<!ENTITY a "b">]>`+rows("&a;"), nil) }, "document type"},
		"row 2147483647":    {func() []byte { return workbook(t, rows(`<row r="2147483647">`+cell+`</row>`), nil) }, "at most 1048576 rows"},
		"12 M rows":         {func() []byte { return workbook(t, rows(strings.Repeat("<row/>", 12_000_000)), nil) }, "200 to 1"},
		"1.2 M rows":        {func() []byte { return workbook(t, rows(gappy(1_200_000)), nil) }, "at most 1048576 rows"},
		"rows out of order": {func() []byte { return workbook(t, rows(`<row r="2"/><row r="2"/>`), nil) }, "in order"},
		"cells in disorder": {func() []byte { return workbook(t, rows(`<row><c r="B1"/><c r="A1"/></row>`), nil) }, "in order"},
		"XFD": {func() []byte {
			return workbook(t, rows(strings.Repeat(`<row><c r="XFD"><v>1</v></c></row>`, 20_000)), nil)
		}, "256 columns"},
		"text −1": {func() []byte { return workbook(t, rows(`<row><c t="s"><v>-1</v></c></row>`), nil) }, "text number"},
		"text 2":  {func() []byte { return workbook(t, rows(`<row><c t="s"><v>2</v></c></row>`), nil) }, "text number"},
		"many texts": {func() []byte {
			return workbook(t, rows(""), map[string]string{"xl/sharedStrings.xml": "<sst>" + gappyText(9_000_000) + "</sst>"})
		}, "2000000 texts"},
		"long texts": {func() []byte {
			return workbook(t, rows(""), map[string]string{"xl/sharedStrings.xml": "<sst>" + strings.Repeat("<si><t>"+noise(5000)+"</t></si>", 8000) + "</sst>"})
		}, "33554432 bytes"},
		"one text again and again": {func() []byte {
			return workbook(t, rows(strings.Repeat(`<row>`+strings.Repeat(`<c t="s"><v>0</v></c>`, 200)+`</row>`, 125)), map[string]string{"xl/sharedStrings.xml": "<sst><si><t>" + noise(500_000) + "</t></si></sst>"})
		}, "bytes of text"},
		"a long name": {func() []byte {
			return workbook(t, rows(""), map[string]string{"xl/workbook.xml": `<workbook><sheets><sheet name="` + noise(300_000) + `" r:id="r1"/></sheets></workbook>`})
		}, "names of at most"},
		"no sheet":  {func() []byte { return workbook(t, "", nil) }, "need a sheet"},
		"UTF-7":     {func() []byte { return workbook(t, `<?xml version="1.0" encoding="UTF-7"?>`+rows(""), nil) }, "UTF-8"},
		"truncated": {func() []byte { f := workbook(t, rows(cell), nil); return f[:len(f)-30] }, "breaks off"},
		"broken":    {func() []byte { return workbook(t, "<worksheet><row", nil) }, "EOF"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "hostile.xlsx")
			if err := os.WriteFile(path, c.file(), 0o600); err != nil {
				t.Fatal(err)
			}
			alone := exec.Command(os.Args[0])
			alone.Env = append(os.Environ(), refuseHere+"="+path)
			out, err := alone.Output()
			var took time.Duration
			var most int // KiB; 0 where it isn't known
			if n, _ := fmt.Sscan(string(out), &took, &most); err != nil || n < 2 {
				t.Fatalf("have %q, %v", out, err)
			}
			_, said, _ := strings.Cut(string(out), "\n")
			if !strings.Contains(said, c.says) {
				t.Errorf("want an error with %q, have %q", c.says, said)
			}
			if most > 100_000 {
				t.Errorf("took %d kB", most)
			}
			t.Log(took, most, "kB", said)
		})
	}
}

// noise gives n letters that can't be packed well.
func noise(n int) string {
	b, x := make([]byte, n), uint32(1)
	for i := range b {
		x = x*1664525 + 1013904223
		b[i] = 'a' + byte(x>>24)%26
	}
	return string(b)
}

// gappy gives n rows that don't pack 200 to 1.
func gappy(n int) string {
	var b strings.Builder
	x := uint32(1)
	for range n {
		x = x*1664525 + 1013904223
		fmt.Fprintf(&b, `<row s="%d"/>`, x>>24)
	}
	return b.String()
}

func gappyText(n int) string {
	s := noise(997)
	var b strings.Builder
	for i := range n {
		b.WriteString("<si/>")
		if i%20 == 0 {
			b.WriteString(s[i%900 : i%900+20])
		}
	}
	return b.String()
}

func FuzzText(f *testing.F) {
	f.Add(`<row r="1"><c r="A1" t="s"><v>0</v></c></row>`)
	f.Add(`<row><c s="1"><v>45747.5</v></c><c t="inlineStr"><is><t>a</t></is></c></row>`)
	f.Add(`<row><c s="2"><v>1E300</v></c><c><v>NaN</v></c></row>`)
	f.Fuzz(func(t *testing.T, sheet string) {
		text, err := read(workbook(t, rows(sheet), nil))
		if n := strings.Count(text, "\n"); err == nil && n > maxRows+strings.Count(sheet, "row") {
			t.Errorf("%d lines", n)
		}
	})
}
