package queue

import (
	"testing"

	"freshet/forecast/forecasttest"
)

func TestMisuse(t *testing.T) {
	forecasttest.Refuses(t, "queue: ", map[string]func(){
		"fewer than no servers": func() { ErlangB(-1, 2) },
		"a load below 0":        func() { ErlangC(2, -1) },
		"a load for no servers": func() { LoadAt(0, .1) },
		"a blocking of all":     func() { LoadAt(3, 1) },
		"a line with no server": func() { MMC{Arrivals: 1, Service: 1}.Wait() },
		"arrivals below 0":      func() { MMC{Servers: 1, Arrivals: -1, Service: 1}.Wait() },
		"work that never ends":  func() { MMC{Servers: 1, Arrivals: 1}.ChanceWait() },
	})
	if w := (MMC{Servers: 2, Service: 1}).Waiting(); w != 0 {
		t.Errorf("nobody comes: want nobody waiting, have %v", w)
	}
}
