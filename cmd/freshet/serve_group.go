package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"

	"freshet/cmd/freshet/internal/web"
	"freshet/cmd/freshet/internal/week"
	"freshet/cmd/freshet/internal/workers"
	"freshet/ingest/store"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/spf13/cobra"
)

// groupListening says where a group's pages and numbers are served.
type groupListening struct {
	listen, metrics string
	hosts           []string
}

// serveGroup serves the pages of all shops of a group until the program is told
// to stop. Workers do the shops' work.
func (a *app) serveGroup(c *cobra.Command, g *store.Group, at groupListening) error {
	ctx, stop := ended(c.Context())
	defer stop()
	if host, _, err := net.SplitHostPort(at.metrics); err != nil || !net.ParseIP(host).IsLoopback() {
		return usage{fmt.Errorf("--metrics: need an address of this machine alone, such as %s, have %q", usualMetrics, at.metrics)}
	}
	if err := g.Readable(ctx); err != nil {
		return err
	}
	log, _ := logBeside("postgres://", a.err)
	hands, err := workers.NewHands(g)
	if err != nil {
		return err
	}
	pages, err := web.NewGroup(ctx, web.GroupConfig{Group: g, Log: log, Now: a.now, Hosts: at.hosts,
		Anew: func(shop string) {
			if err := hands.Anew(ctx, shop, a.now()); err != nil {
				log.Error("a shop's work can't be asked for", "shop", shop, "error", err)
			}
		},
		Working: func(ctx context.Context, shop string) bool {
			busy, err := hands.Busy(ctx, shop)
			if err != nil {
				log.Error("what the workers do can't be read", "error", err)
			}
			return busy
		},
		Test: func(ctx context.Context, shop string) error {
			db, err := g.Open(ctx, shop)
			if err != nil {
				return err
			}
			defer db.Close()
			_, err = (&week.Week{Store: db, Now: a.now, Getenv: os.Getenv, Log: log}).Test(ctx)
			return err
		}})
	if err != nil {
		return err
	}
	defer pages.Close()
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), jobs{hands, log})
	numbers := http.NewServeMux()
	numbers.Handle("GET /metrics", promhttp.HandlerFor(registry, promhttp.HandlerOpts{}))
	l, err := listen("--listen", at.listen)
	if err != nil {
		return err
	}
	defer l.Close()
	m, err := listen("--metrics", at.metrics)
	if err != nil {
		return err
	}
	ended := make(chan error, 2)
	var servers []*http.Server
	for _, s := range []struct {
		on      net.Listener
		handler http.Handler
	}{{l, counted(registry, pages)}, {m, numbers}} {
		srv := &http.Server{Handler: s.handler, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second, MaxHeaderBytes: 16 << 10}
		servers = append(servers, srv)
		go func() { ended <- srv.Serve(s.on) }()
	}
	a.showAddress(l.Addr())
	select {
	case err = <-ended:
	case <-ctx.Done():
	}
	end, cancel := context.WithTimeout(context.WithoutCancel(ctx), 4*time.Second)
	defer cancel()
	for _, s := range servers {
		if failed := s.Shutdown(end); failed != nil && !errors.Is(failed, context.DeadlineExceeded) {
			err = errors.Join(err, failed)
		}
		s.Close()
	}
	return err
}

const usualMetrics = "127.0.0.1:8138"

// counted counts requests by their status, and how long they took.
func counted(r prometheus.Registerer, h http.Handler) http.Handler {
	count := prometheus.NewCounterVec(prometheus.CounterOpts{Name: "freshet_requests_total", Help: "Requests answered, by status."}, []string{"code"})
	took := prometheus.NewHistogram(prometheus.HistogramOpts{Name: "freshet_request_seconds", Help: "Seconds that requests took.", Buckets: prometheus.ExponentialBuckets(.001, 2, 14)})
	r.MustRegister(count, took)
	return promhttp.InstrumentHandlerCounter(count, http.HandlerFunc(func(w http.ResponseWriter, req *http.Request) {
		begun := time.Now()
		defer func() { took.Observe(time.Since(begun).Seconds()) }()
		h.ServeHTTP(w, req)
	}))
}

// jobs are the workers' jobs by state, asked for whenever the numbers are read.
type jobs struct {
	hands *workers.Hands
	log   *slog.Logger
}

var jobsDesc = prometheus.NewDesc("freshet_jobs", "Jobs of the workers, by state.", []string{"state"}, nil)

func (j jobs) Describe(to chan<- *prometheus.Desc) { to <- jobsDesc }

func (j jobs) Collect(to chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	counts, err := j.hands.Counts(ctx)
	if err != nil {
		j.log.Error("the workers' jobs can't be counted", "error", err)
		to <- prometheus.NewInvalidMetric(jobsDesc, err)
		return
	}
	for state, n := range counts {
		to <- prometheus.MustNewConstMetric(jobsDesc, prometheus.GaugeValue, n, state)
	}
}
