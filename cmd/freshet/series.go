package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"

	"freshet/forecast"
	"freshet/forecast/combine"
	"freshet/forecast/counts"
	"freshet/forecast/ets"
	"freshet/forecast/harmonic"
	"freshet/forecast/naive"
	"freshet/forecast/smooth"
	"freshet/forecast/stl"
	"freshet/forecast/theta"
)

// seriesModels are the models that --model names; auto is made of its flags.
var seriesModels = map[string]forecast.Model{
	"seasonal-naive":              naive.Seasonal{},
	"drift":                       naive.Drift{},
	"simple-smoothing":            smooth.Simple{},
	"double-smoothing":            smooth.Double{},
	"ets":                         ets.Model{},
	"holt-winters-additive":       smooth.HoltWinters{},
	"holt-winters-multiplicative": smooth.HoltWinters{Multiplicative: true},
	"theta":                       theta.Model{},
	"stl-ets":                     stl.Model{Of: ets.Model{}},
	"harmonic":                    harmonic.Model{},
	"counts":                      counts.Model{},
}

// seriesRun is one call of series: how to forecast, and how many at a time.
type seriesRun struct {
	period      float64
	horizon     int
	model       string
	counts      bool
	nonNegative bool
	workers     int
}

func (a *app) series() *cobra.Command {
	var r seriesRun
	names := "auto, " + strings.Join(slices.Sorted(maps.Keys(seriesModels)), ", ")
	c := &cobra.Command{
		Use:   "series FILE",
		Short: "Forecast plain numbers, without a shop (for programs)",
		Long: `Forecasts each line of FILE: a name, then values, oldest first, apart by commas; an
empty one is missing. It answers with a line of JSON for each, in their order, and
goes on where one can't be forecast: that line holds "error". Quantiles are those of
each step by itself. Nothing is drawn at random: the same file gives the same bytes
whatever --seed.

--nonnegative holds forecasts at 0 or more: what a model puts below 0 counts as
0. --counts does too, and with auto or counts the quantiles are whole numbers.`,
		Example: "  freshet series months.csv --period 12 --horizon 18",
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			if err := r.check(names); err != nil {
				return usage{err}
			}
			f, err := os.Open(args[0])
			if err != nil {
				return err
			}
			defer f.Close()
			if err := r.stream(c.Context(), f, a.out); err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			return nil
		},
	}
	f := c.Flags()
	f.Float64Var(&r.period, "period", 1, "`STEPS` in a season, such as 12 or 52.18; 1 is no season")
	f.IntVar(&r.horizon, "horizon", 12, "how many `STEPS` ahead")
	f.StringVar(&r.model, "model", "auto", "`NAME` of the model: "+names)
	f.BoolVar(&r.counts, "counts", false, "values are counts: 0, 1, 2 and so on")
	f.BoolVar(&r.nonNegative, "nonnegative", false, "values are never negative")
	f.IntVar(&r.workers, "workers", runtime.GOMAXPROCS(0), "`NUMBER` of series at a time")
	f.Lookup("workers").DefValue = "one a core" // the manual is the same on every machine
	return c
}

func (r seriesRun) check(names string) error {
	const farthest = 10_000
	switch _, known := seriesModels[r.model]; {
	case !known && r.model != "auto":
		return fmt.Errorf("--model: need one of %s, have %q", names, r.model)
	case !(r.period >= 1) || math.IsInf(r.period, 0):
		return fmt.Errorf("--period: need 1 step or more, have %v", r.period)
	case r.horizon < 1 || r.horizon > farthest:
		return fmt.Errorf("--horizon: need 1 to %d steps, have %d", farthest, r.horizon)
	case r.workers < 1:
		return fmt.Errorf("--workers: need 1 or more, have %d", r.workers)
	}
	return nil
}

// recipe gives the model that the flags ask for.
func (r seriesRun) recipe() forecast.Model {
	if r.model == "auto" {
		return combine.Auto{Counts: r.counts, NonNegative: r.nonNegative}
	}
	m := seriesModels[r.model]
	if _, whole := m.(counts.Model); !whole && (r.counts || r.nonNegative) {
		m = combine.NonNegative{Of: m}
	}
	return m
}

// stream answers the lines of in on out, in their order, r.workers at a time.
func (r seriesRun) stream(ctx context.Context, in io.Reader, out io.Writer) error {
	type answer = chan []byte
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	// queue holds the answers in order; its room bounds what is under way.
	queue := make(chan answer, r.workers-1)
	var unread error
	go func() {
		defer close(queue)
		// A spreadsheet's CSV begins with a mark of its encoding, which is no part of a name.
		lines := csv.NewReader(transform.NewReader(in, unicode.BOMOverride(transform.Nop)))
		lines.FieldsPerRecord = -1
		lines.LazyQuotes = true
		for {
			fields, err := lines.Read()
			if err != nil {
				if err != io.EOF {
					unread = err
				}
				return
			}
			done := make(answer, 1)
			select {
			case queue <- done:
			case <-ctx.Done():
				unread = ctx.Err()
				return
			}
			go func() { done <- r.line(fields) }()
		}
	}()
	for done := range queue {
		if _, err := out.Write(<-done); err != nil {
			return err
		}
	}
	return unread
}

// seriesLine is one answer. Mean and Quantiles are left out where Error is
// set.
type seriesLine struct {
	ID         string               `json:"id"`
	N          int                  `json:"n"`
	Model      string               `json:"model"`
	Error      string               `json:"error,omitempty"`
	Mean       []float64            `json:"mean,omitempty"`
	Quantiles  map[string][]float64 `json:"quantiles,omitempty"`
	Parameters map[string]*float64  `json:"parameters"`
	LogLik     *float64             `json:"loglik"`
	AICc       *float64             `json:"aicc"`
	Warnings   []string             `json:"warnings"`
}

// line answers one line of the file: its fields are the id and the values.
func (r seriesRun) line(fields []string) []byte {
	l := seriesLine{ID: fields[0], N: len(fields) - 1, Model: r.model, Warnings: []string{}}
	if err := r.forecast(&l, fields[1:]); err != nil {
		l.Error, l.Mean, l.Quantiles = err.Error(), nil, nil
	}
	b, err := json.Marshal(l)
	if err != nil {
		panic(err) // every number was seen to be finite
	}
	return append(b, '\n')
}

func (r seriesRun) forecast(l *seriesLine, fields []string) error {
	values, err := numbers(fields)
	if err != nil {
		return err
	}
	m := r.recipe()
	fit, err := m.Fit(forecast.Plain(values, r.period))
	if err != nil {
		return err
	}
	l.describe(m, fit)
	f := fit.Forecast(r.horizon)
	for _, w := range f.Warnings {
		l.Warnings = append(l.Warnings, w.Error())
	}
	l.Mean = f.Means()
	finite := allFinite(l.Mean)
	l.Quantiles = map[string][]float64{}
	for _, p := range []float64{.025, .1, .5, .9, .975} {
		q := f.Quantiles(p)
		finite = finite && allFinite(q)
		l.Quantiles[strconv.FormatFloat(p, 'g', -1, 64)] = q
	}
	if !finite {
		return errors.New("the forecast leaves the range of numbers")
	}
	return nil
}

// describe says which model it was, and what its fit can tell of itself.
func (l *seriesLine) describe(m forecast.Model, fit forecast.Fit) {
	l.Model = m.String()
	switch f := fit.(type) {
	case *combine.Chosen:
		l.Model = f.Model.String()
	case *ets.Fit:
		l.Model = f.Model().String()
	}
	if d, ok := fit.(forecast.Describer); ok {
		for name, v := range d.Parameters() {
			if l.Parameters == nil {
				l.Parameters = map[string]*float64{}
			}
			l.Parameters[name] = number(v)
		}
	}
	if d, ok := fit.(forecast.Likelihood); ok {
		l.LogLik, l.AICc = number(d.LogLik()), number(d.AICc())
	}
}

// number gives v for JSON, or nil for what JSON can't say.
func number(v float64) *float64 {
	if !allFinite([]float64{v}) {
		return nil
	}
	return &v
}

func allFinite(values []float64) bool {
	return !slices.ContainsFunc(values, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) })
}

// numbers reads values, NaN for an empty field.
func numbers(fields []string) ([]float64, error) {
	out := make([]float64, len(fields))
	for i, f := range fields {
		f = strings.TrimSpace(f)
		if f == "" {
			out[i] = math.NaN()
			continue
		}
		v, err := strconv.ParseFloat(f, 64)
		if err != nil || !allFinite([]float64{v}) {
			return nil, fmt.Errorf("value %d: need a number, have %q", i+1, f)
		}
		out[i] = v
	}
	return out, nil
}
