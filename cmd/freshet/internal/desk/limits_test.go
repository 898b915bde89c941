package desk

import (
	"strconv"
	"strings"
	"testing"

	"freshet/capacity"
)

// A limit is shown as its owner typed it: no percent with fifteen places after
// the point, no million as 1e+06.
func TestLimitsInDigits(t *testing.T) {
	for _, l := range Limits() {
		p := capacity.DefaultPolicy()
		for n := range 150 {
			v := float64(n)
			if l.Check(v) != nil {
				continue
			}
			if l.put(&p, v); l.Of(p) != v || l.Text(p) != strconv.Itoa(n) {
				t.Errorf("%s: put %d, have %v, %s", l.Name, n, l.Of(p), l.Text(p))
			}
		}
		if err := l.Check(2e6); err == nil || strings.Contains(err.Error(), "e+") || !strings.HasSuffix(err.Error(), "have 2000000") {
			t.Errorf("%s: have %v", l.Name, err)
		}
		if l.Name == "hire-cost" {
			if l.put(&p, 12_500); l.Text(p) != "12500" {
				t.Errorf("have %s", l.Text(p))
			}
		}
	}
}
