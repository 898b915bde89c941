package post

import (
	"bufio"
	"fmt"
	"net"
	"runtime"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// peer is a mail server that does what it likes with a connection.
func peer(t *testing.T, as Security, talk func(net.Conn)) Server {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() { defer c.Close(); talk(c) }()
		}
	}()
	return Server{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, Security: as, User: "shop", Password: password, step: 300 * time.Millisecond, whole: 2 * time.Second}
}

// TestNoPasswordWithoutTLS offers a login but no STARTTLS: the server hears
// neither the user's name nor the password nor a letter.
func TestNoPasswordWithoutTLS(t *testing.T) {
	heard := make(chan string, 100)
	s := peer(t, StartTLS, func(c net.Conn) {
		fmt.Fprint(c, "220 mail ESMTP\r\n")
		for in := bufio.NewScanner(c); in.Scan(); {
			heard <- in.Text()
			fmt.Fprint(c, "250-mail\r\n250 AUTH PLAIN LOGIN\r\n")
		}
	})
	out := s.Send(t.Context(), envelope.From, envelope.To, message(t), func() error { t.Error("a letter is sent in the open"); return nil })
	if out.Fate != Refused {
		t.Errorf("want it left to a person, have %+v", out)
	}
	if len(heard) == 0 {
		t.Error("the server heard nothing, so that the test shows nothing")
	}
	for len(heard) > 0 {
		if line := <-heard; !strings.HasPrefix(line, "EHLO") && !strings.HasPrefix(line, "HELO") && line != "QUIT" {
			t.Errorf("the server heard %q", line)
		}
	}
}

// TestEndlessGreeting has a server that greets without end, by one line and by
// many: sending ends in its time, and holds little of it.
func TestEndlessGreeting(t *testing.T) {
	for name, piece := range map[string]string{"one line": strings.Repeat("x", 64<<10), "many lines": strings.Repeat("220-hello\r\n", 6000)} {
		t.Run(name, func(t *testing.T) {
			var poured atomic.Int64
			s := peer(t, Plain, func(c net.Conn) {
				fmt.Fprint(c, "220-")
				for {
					n, err := fmt.Fprint(c, piece)
					poured.Add(int64(n))
					if err != nil {
						return
					}
				}
			})
			var before, most runtime.MemStats
			runtime.GC()
			runtime.ReadMemStats(&before)
			began := time.Now()
			out := s.Send(t.Context(), envelope.From, envelope.To, message(t), func() error { t.Error("a letter is sent"); return nil })
			runtime.ReadMemStats(&most)
			if out.Fate == Accepted || out.Fate == Unknown {
				t.Errorf("have %+v", out)
			}
			if took := time.Since(began); took > 20*s.whole {
				t.Errorf("it took %v", took)
			}
			if held := int64(most.HeapSys) - int64(before.HeapSys); held > 50<<20 {
				t.Errorf("%d MB were held of %d MB poured", held>>20, poured.Load()>>20)
			}
			t.Logf("%d MB poured, heap grown by %d MB", poured.Load()>>20, (int64(most.HeapSys)-int64(before.HeapSys))>>20)
		})
	}
}
