package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/signal"
	"runtime/debug"
	"strconv"
	"sync/atomic"
	"syscall"
	"time"

	"freshet/cmd/freshet/internal/web"
	"freshet/cmd/freshet/internal/week"
	"freshet/ingest/store"

	"github.com/robfig/cron/v3"
	"github.com/spf13/cobra"
)

const usualListen = "127.0.0.1:8137"

func (a *app) serve() *cobra.Command {
	var listen, backups string
	var at groupListening
	keep := store.UsualKeep
	c := &cobra.Command{Use: "serve", Short: "Serve the shop's pages and keep the weekly report up to date", Args: cobra.NoArgs,
		Long: `Serves the shop's pages on this machine until it is ended. Meanwhile it makes the
weekly report anew when it is due or records came in, and once a day a checked
backup. A backup is removed when a newer good one is there and neither --keep-days
nor --keep-weeks holds it.

Other machines are served only once the owner has set a passphrase and switched the
network on, on the page Settings.

Where --db is a PostgreSQL and no shop is named, it serves the pages of all shops that
share it to the users whom 'freshet group user' lets in, and 'freshet work' does the
shops' work. Put a server that speaks TLS in front.`,
		Example: `  freshet serve
  freshet serve --db postgres://freshet@db.example.com/freshet --host shops.example.com`,
		RunE: func(c *cobra.Command, _ []string) error {
			if a.asOf != "" {
				return usage{errors.New("--as-of: 'freshet serve' keeps a shop's records, which can't be done on another day; 'freshet demo --as-of DAY' shows pages as of a day, and 'freshet report --as-of DAY' a report")}
			}
			if err := a.checkWeeks(); err != nil { // else each night's report would say so
				return err
			}
			if address, err := a.path(); err == nil && store.Shared(address) && !store.NamesShop(address) {
				at.listen = cmp.Or(listen, usualListen)
				return a.withGroup(c, func(g *store.Group) error {
					return managed(c.Context(), func(ctx context.Context) error {
						c.SetContext(ctx)
						return a.serveGroup(c, g, at)
					})
				})
			}
			db, err := a.create(c.Context())
			if err != nil {
				return err
			}
			defer db.Close()
			if keep.Daily < 1 || keep.Weekly < 0 {
				return usage{fmt.Errorf("--keep-days, --keep-weeks: need 1 day or more and no fewer than 0 weeks, have %d and %d", keep.Daily, keep.Weekly)}
			}
			w := a.week(c, db)
			w.Backups, w.Keep = cmp.Or(backups, w.Backups), keep
			return managed(c.Context(), func(ctx context.Context) error {
				c.SetContext(ctx)
				return a.servePages(c, w, listen)
			})
		}}
	a.refusesDay(c)
	c.Flags().StringSliceVar(&at.hosts, "host", nil, "`NAMES`, apart by commas, that a group's pages go by")
	c.Flags().StringVar(&at.metrics, "metrics", usualMetrics, "`ADDRESS`, of this machine alone, of a group's numbers for Prometheus")
	c.Flags().StringVar(&backups, "backups", "", "`FOLDER` of the nightly backups (default backups, beside the database)")
	c.Flags().IntVar(&keep.Daily, "keep-days", keep.Daily, "how many `DAYS`' backups to keep")
	c.Flags().IntVar(&keep.Weekly, "keep-weeks", keep.Weekly, "how many `WEEKS`' backups to keep")
	c.Flags().StringVar(&listen, "listen", "", "`ADDRESS` to serve on (default "+usualListen+", or all of this machine's once the network is switched on)")
	return c
}

// ended gives a context that ends when the program is told to stop.
func ended(ctx context.Context) (context.Context, context.CancelFunc) {
	return signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
}

// servePages serves until the program is told to stop, and does the week's work
// meanwhile.
func (a *app) servePages(c *cobra.Command, w *week.Week, address string) error {
	ctx, stop := ended(c.Context())
	defer stop()
	db := w.Store
	address, err := listening(ctx, db, address)
	if err != nil {
		return err
	}
	if db.Refusal() == nil { // else there may be no place for a lock, and there is nothing to keep apart
		lock, err := store.Lock(db.Path())
		if err != nil {
			return err
		}
		defer lock.Close()
	}
	log, file := logBeside(db.Path(), a.err)
	defer file.Close()
	w.Log = log
	// A damaged database is shown all the same: the pages say which backup there is.
	if err := db.Vet(ctx, false, w.Backups); err != nil && db.Refusal() == nil {
		return err
	}
	l, err := listen("--listen", address)
	if err != nil {
		return err
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50) // the PC has other work too: less memory for a little more time
	}
	anew := &anew{wanted: make(chan struct{}, 1)}
	var beat atomic.Int64 // when the week's work was last begun, in seconds since 1970
	var invented atomic.Value
	defer func() { // once the pages have let go of it
		if dir, made := invented.Load().(string); made {
			os.RemoveAll(dir)
		}
	}()
	pages := web.New(web.Config{Store: db, Log: log, Now: a.now, Pretends: a.asOf != "", Anew: anew.want, Working: anew.busy.Load,
		Demo: func(ctx context.Context) (*store.Store, error) {
			db, err := a.inventedShop(c, ctx)
			if err == nil {
				invented.Store(db.Folder())
			}
			return db, err
		},
		Test: func(ctx context.Context) error { _, err := w.Test(ctx); return err },
		Beat: func() time.Time { return time.Unix(beat.Load(), 0) }})
	defer pages.Close()
	srv := &http.Server{Handler: pages, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second, MaxHeaderBytes: 16 << 10, BaseContext: func(net.Listener) context.Context { return context.WithoutCancel(ctx) }}

	do := func(wish week.Wish) {
		beat.Store(a.now().Unix())
		w.Do(ctx, wish) // keeps and logs what fails
		if len(anew.wanted) == 0 && pages.Warm(ctx) {
			debug.FreeOSMemory() // what a report takes isn't needed again before the next
		}
	}
	worked := make(chan struct{})
	anew.busy.Store(true) // before anyone can ask
	go func() {
		defer close(worked)
		anew.run(ctx, do)
	}()
	// Recover stands innermost: outside SkipIfStillRunning, one panic would
	// stop every later tick.
	ticks := cron.New(cron.WithChain(cron.SkipIfStillRunning(cron.DiscardLogger), cron.Recover(cron.DiscardLogger)))
	ticks.AddFunc("@every 30s", func() { do(week.Due) })
	ticks.Start()
	defer func() { <-ticks.Stop().Done(); <-worked }()

	a.showAddress(l.Addr())
	served := make(chan error, 1)
	go func() { served <- srv.Serve(l) }()
	select {
	case err := <-served:
		stop()
		return err
	case <-ctx.Done():
		end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 4*time.Second)
		defer cancel()
		if err := srv.Shutdown(end); !errors.Is(err, context.DeadlineExceeded) {
			return err
		}
		return srv.Close() // whoever still waits for a page has waited long enough
	}
}

// listen opens an address that a flag names.
func listen(flag, address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("%w: is freshet running already? %s names another address", err, flag)
	}
	return l, nil
}

// listening gives the address to serve on. Other machines are served only once
// the owner has a passphrase and has switched the network on; then they are,
// unless the call says otherwise.
func listening(ctx context.Context, db *store.Store, listen string) (string, error) {
	owner, _, err := db.Passphrase(ctx, "owner")
	if err != nil {
		return "", err
	}
	network, err := db.Setting(ctx, web.SettingNetwork, "")
	if err != nil {
		return "", err
	}
	open := owner != "" && network != ""
	if listen == "" {
		if open {
			return "0.0.0.0:8137", nil
		}
		return usualListen, nil
	}
	host, _, err := net.SplitHostPort(listen)
	if err != nil {
		return "", usage{fmt.Errorf("--listen: need an address such as %s, have %q", usualListen, listen)}
	}
	if ip := net.ParseIP(host); !open && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", usage{fmt.Errorf("--listen: need an address of this machine alone, such as %s, have %q: set an owner's passphrase and switch the network on first, on the page Settings", usualListen, listen)}
	}
	return listen, nil
}

// anew has the report made anew, and tells whether it is.
type anew struct {
	wanted chan struct{}
	busy   atomic.Bool
}

// want asks for a report and doesn't wait for it.
func (n *anew) want() {
	n.busy.Store(true)
	select {
	case n.wanted <- struct{}{}:
	default: // one is asked for already, and will see what is new
	}
}

// run does what is due at the start, then what is wanted, until ctx ends.
func (n *anew) run(ctx context.Context, do func(week.Wish)) {
	do(week.Due)
	for {
		n.busy.Store(len(n.wanted) > 0)
		select {
		case <-n.wanted:
			n.busy.Store(true)
			do(week.Anew)
		case <-ctx.Done():
			return
		}
	}
}

// showAddress says where the pages are, and what other machines call this one
// if they are served to them.
func (a *app) showAddress(at net.Addr) {
	where, tcp := at.String(), at.(*net.TCPAddr)
	port := strconv.Itoa(tcp.Port)
	if tcp.IP.IsUnspecified() {
		where = net.JoinHostPort("localhost", port)
	}
	fmt.Fprintf(a.out, "Open http://%s in a browser. Ctrl-C ends it.\n", where)
	own, err := net.InterfaceAddrs()
	if err != nil || !tcp.IP.IsUnspecified() {
		return
	}
	for _, o := range own {
		if n, ok := o.(*net.IPNet); ok && n.IP.IsGlobalUnicast() && n.IP.To4() != nil {
			fmt.Fprintf(a.out, "On the shop's other machines: http://%s\n", net.JoinHostPort(n.IP.String(), port))
		}
	}
}
