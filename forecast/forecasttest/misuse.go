package forecasttest

import (
	"fmt"
	"strings"
	"testing"
)

// Refuses fails t where one of calls, each named by what is wrong with it,
// doesn't panic with words that begin with the package's name, such as
// "watch: ".
func Refuses(t *testing.T, name string, calls map[string]func()) {
	t.Helper()
	for wrong, call := range calls {
		if said := panics(call); !strings.HasPrefix(said, name) {
			t.Errorf("%s: want a panic that begins with %q, have %q", wrong, name, said)
		}
	}
}

// panics gives the words that a call panics with, "" if it returns.
func panics(call func()) (said string) {
	defer func() {
		if r := recover(); r != nil {
			said = fmt.Sprint(r)
		}
	}()
	call()
	return ""
}
