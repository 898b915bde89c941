package post

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"freshet/ingest/store"
)

var (
	kills = flag.Int("kills", 15, "how many times a process is killed while it sends a letter")
	seed  = flag.Uint64("seed", 0, "of the moments at which it is; 0: by the clock")
)

// sendHere, in the environment of this test program, makes it the process that
// sends what the database that it names holds.
const sendHere = "FRESHET_TEST_SEND"

func TestMain(m *testing.M) {
	if path := os.Getenv(sendHere); path != "" {
		os.Exit(sendAll(path))
	}
	flag.Parse()
	os.Exit(m.Run())
}

func sendAll(path string) int {
	ctx := context.Background()
	db, err := store.Open(ctx, path)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	port, err := strconv.Atoi(os.Getenv(sendHere + "_PORT"))
	if err != nil {
		fmt.Println(err)
		return 1
	}
	o := Outbox{Store: db, Server: Server{Host: "127.0.0.1", Port: port, Security: Plain}, From: envelope.From, Owner: Hostname(), Now: time.Now, Log: slog.New(slog.DiscardHandler)}
	fmt.Println("sending")
	if _, err := o.Deliver(ctx); err != nil {
		fmt.Println(err)
		return 1
	}
	fmt.Println("sent")
	return 0
}

// A process that is killed at any moment of the send leaves a letter that
// arrives once or twice: never not at all, never three times; and exactly once
// where the server hadn't the whole message yet.
func TestKilledWhileSending(t *testing.T) {
	if *seed == 0 {
		*seed = uint64(time.Now().UnixNano())
	}
	rng := rand.New(rand.NewPCG(*seed, 0))
	t.Logf("-seed %d", *seed)
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	r := &rude{pause: 2 * time.Millisecond}
	o := outbox(t, r.serve(t), &now)
	var longest time.Duration // of a send that nobody disturbs
	states := map[store.LetterState]int{}
	once, twice, before := 0, 0, 0
	for i := range *kills + 2 {
		now = time.Now()
		put(t, o, fmt.Sprint("kill/", i))
		had := r.arrived()
		c := exec.CommandContext(t.Context(), program)
		c.Env = append(os.Environ(), sendHere+"="+o.Store.Path(), fmt.Sprint(sendHere, "_PORT=", o.Server.Port))
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		if lines.Scan(); lines.Text() != "sending" {
			t.Fatalf("the process says %q", lines.Text())
		}
		begun := time.Now()
		if i < 2 { // to know how long it takes
			if lines.Scan(); lines.Text() != "sent" {
				t.Fatalf("the process says %q", lines.Text())
			}
			longest = max(longest, time.Since(begun))
		} else {
			time.Sleep(time.Duration(rng.Int64N(int64(longest))))
			if err := c.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
		c.Wait()
		time.Sleep(10 * time.Millisecond) // the server reads what was on its way
		arrived := r.arrived() - had
		l := newest(t, o)
		states[l.State]++
		for range 4 { // the next process, over the next hours
			now = now.Add(20 * time.Minute)
			l = deliver(t, o)
		}
		n := r.arrived() - had
		switch {
		case l.State != store.Sent || n < 1 || n > 2:
			t.Errorf("kill %d: want it sent, once or twice, have it %s and arrived %d times", i, l.State, n)
		case n == 1:
			once++
		default:
			twice++
		}
		if arrived == 0 {
			before++
			if n != 1 {
				t.Errorf("kill %d: the server hadn't the message, and has it %d times now", i, n)
			}
		}
	}
	t.Logf("%d kills: %d letters arrived once, %d twice; %d kills before the message's end; the letter was then %v", *kills, once-2, twice, before, states)
	if states[store.Claimed]+states[store.Sending] == 0 && *kills >= 10 {
		t.Errorf("want kills in the midst of a send, have the letters then %v", states)
	}
}

// newest gives the newest letter.
func newest(t *testing.T, o *Outbox) store.Letter {
	t.Helper()
	all, err := o.Store.Letters(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	return all[0]
}
