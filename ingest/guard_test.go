package ingest

import "testing"

// What a spreadsheet may run gets an apostrophe, nothing else does, and a
// reader takes it off again.
func TestGuard(t *testing.T) {
	for s, want := range map[string]string{
		"=1+1": "'=1+1", "+1": "'+1", "-1": "'-1", "@x": "'@x", "\tx": "'\tx", "\r=x": "'\r=x", "\nx": "'\nx", "\x00x": "'\x00x",
		" =1": "' =1", "\u00a0=1": "'\u00a0=1", "＝1": "'＝1", "＋1": "'＋1", "－1": "'－1", "＠x": "'＠x", "'=1": "''=1",
		"": "", "x=1": "x=1", "1-2": "1-2", "'90s trailer": "'90s trailer", "O'Neil": "O'Neil", "'": "'",
	} {
		have := Guard(s)
		if have != want {
			t.Errorf("%q: want %q, have %q", s, want, have)
		}
		if back := string(unguard([]byte(have))); back != s {
			t.Errorf("%q comes back as %q", s, back)
		}
	}
}
