package main

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// empty serves a shop without records, and gives its address and the folder of
// its temporary files.
func empty(t *testing.T) (base, temp string) {
	t.Helper()
	temp = t.TempDir()
	t.Setenv("TMPDIR", temp)
	return served(t, monday, "serve", "--db", filepath.Join(t.TempDir(), "shop.db")), temp
}

// Those who send a request slower than anyone types hold a connection for some
// seconds and no longer; meanwhile everyone else is served.
func TestSlowRequests(t *testing.T) {
	if testing.Short() {
		t.Skip("it waits for timeouts: 10 seconds")
	}
	base, _ := empty(t)
	settled(t, base)
	before := runtime.NumGoroutine()
	const headers, bodies = 150, 50
	address := strings.TrimPrefix(base, "http://")
	var open, wrong atomic.Int32
	var slow sync.WaitGroup
	stop := make(chan struct{})
	for i := range headers + bodies {
		slow.Go(func() {
			c, err := net.Dial("tcp", address)
			if err != nil {
				t.Error(err)
				return
			}
			defer c.Close()
			if i < headers {
				fmt.Fprintf(c, "GET / HTTP/1.1\r\nHost: %s\r\n", address)
			} else {
				fmt.Fprintf(c, "POST /login HTTP/1.1\r\nHost: %s\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 4000\r\n\r\nrole=", address)
			}
			open.Add(1)
			dropped := make(chan struct{})
			go func() {
				defer close(dropped)
				io.Copy(io.Discard, c) // until the other side closes
			}()
			for {
				select {
				case <-dropped:
					open.Add(-1)
					return
				case <-stop:
					wrong.Add(1)
					return
				case <-time.After(500 * time.Millisecond):
					c.Write([]byte("x"))
				}
			}
		})
	}
	deadline := time.Now().Add(30 * time.Second)
	for n := 0; open.Load() < headers+bodies && n < 200; n++ {
		time.Sleep(10 * time.Millisecond)
	}
	if n := open.Load(); n != headers+bodies {
		t.Errorf("only %d slow ones hold a connection, so that the test shows nothing", n)
	}
	for served := 0; open.Load() > 0; served++ {
		page(t, base+"/") // an honest one
		if time.Now().After(deadline) {
			break
		}
		time.Sleep(100 * time.Millisecond)
	}
	close(stop)
	slow.Wait()
	if n := wrong.Load(); n > 0 {
		t.Errorf("%d slow ones still hold their connections after 30 seconds", n)
	}
	http.DefaultClient.CloseIdleConnections()
	for n := 0; runtime.NumGoroutine() > before+20 && n < 100; n++ {
		time.Sleep(20 * time.Millisecond)
	}
	if now := runtime.NumGoroutine(); now > before+20 {
		t.Errorf("%d goroutines before, %d after", before, now)
	}
}

// endless gives a text again and again, for ever.
type endless struct {
	text string
	at   int
}

func (e *endless) Read(b []byte) (int, error) {
	n := copy(b, e.text[e.at:])
	e.at = (e.at + n) % len(e.text)
	return n, nil
}

func again(text string) io.Reader { return &endless{text: strings.Repeat(text, 1000)} }

// More than a page takes is refused long before it is all there, and nothing of
// it stays behind.
func TestHugeRequests(t *testing.T) {
	base, temp := empty(t)
	settled(t, base)
	address := strings.TrimPrefix(base, "http://")
	const form = "Content-Type: application/x-www-form-urlencoded\r\n"
	const parts = "Content-Type: multipart/form-data; boundary=x\r\n"
	for _, x := range []struct {
		what, path, head string
		body             io.Reader
		status           []int
	}{
		{"a claimed 10 GB", "/settings/shop", form + "Content-Length: 10000000000\r\n\r\n", again("name=x&"), []int{413}},
		{"a long name", "/settings/shop", form + "Content-Length: 10000000000\r\n\r\nname=", again("x"), []int{413}},
		{"endless chunks", "/settings/shop", form + "Transfer-Encoding: chunked\r\n\r\n", again("7\r\nname=x&\r\n"), []int{413}},
		{"a million fields", "/settings/shop", form + "Content-Length: 12000000\r\n\r\n", io.LimitReader(again("abcdefghij=&"), 12000000), []int{413}},
		{"a header of 1 MB", "/", "X-Long: ", io.LimitReader(again("x"), 1<<20), []int{431}},
		{"100,000 parts", "/import", parts + "Transfer-Encoding: chunked\r\n\r\n", again("3e\r\n--x\r\nContent-Disposition: form-data; name=\"abcdefghijkl\"\r\n\r\n\r\n\r\n"), []int{413}},
		{"a part's header of 100 MB", "/import", parts + "Transfer-Encoding: chunked\r\n\r\n36\r\n--x\r\nContent-Disposition: form-data; name=\"abcdefgh\"\r\n\r\n", again("a\r\nX-Long: xx\r\n"), []int{413, 400}},
	} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		c.SetDeadline(time.Now().Add(20 * time.Second))
		fmt.Fprintf(c, "POST %s HTTP/1.1\r\nHost: %s\r\nSec-Fetch-Site: same-origin\r\n%s", x.path, address, x.head)
		sent := make(chan int64, 1)
		go func() {
			n, _ := io.Copy(c, x.body)
			sent <- n
		}()
		r, err := http.ReadResponse(bufio.NewReader(c), nil)
		if err != nil {
			t.Errorf("%s: want an answer, have %v", x.what, err)
		} else {
			fits := false
			for _, s := range x.status {
				fits = fits || r.StatusCode == s
			}
			if !fits {
				t.Errorf("%s: want %v, have %s", x.what, x.status, r.Status)
			}
		}
		c.Close()
		const most = 32 << 20 // what the system's own buffers may hold, and some
		if n := <-sent; n > most {
			t.Errorf("%s: %d bytes were taken before it was refused", x.what, n)
		}
	}
	left, err := os.ReadDir(temp)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range left {
		if strings.HasPrefix(f.Name(), "multipart-") || strings.HasPrefix(f.Name(), "freshet-file-") {
			t.Errorf("%s stays behind", f.Name())
		}
	}
	page(t, base+"/")
}
