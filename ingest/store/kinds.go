package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"freshet/ingest"

	"github.com/jmoiron/sqlx"
)

// A Kind is a group of the shop's own words for one kind of job. Forecasts,
// alerts and plans know groups only; job lines keep the word that was imported.
type Kind struct {
	Name     string `json:"kind"`
	Words    []Word `json:"words"` // the most frequent first
	Jobs     int    `json:"jobs"`
	LastSeen string `json:"last_seen"` // YYYY-MM-DD, the last drop-off
}

// A Word is a word for a kind of job as it was imported.
type Word struct {
	Word     string `json:"word"`
	Jobs     int    `json:"jobs"`
	LastSeen string `json:"last_seen"`
}

// groups maps a word to the group that it stands in, if it isn't its own.
type groups map[string]string

func (g groups) of(word string) string {
	if name, ok := g[word]; ok {
		return name
	}
	return word
}

// groups reads today's grouping. It holds for any day that is asked about: it
// says what words mean, not what happened.
func (s *Store) groups(ctx context.Context) (groups, error) {
	var rows []struct{ Word, Group string }
	err := s.r.SelectContext(ctx, &rows, `SELECT word, group_ AS "group" FROM kind_words JOIN
		(SELECT word, max(step) AS step FROM kind_words WHERE step NOT IN (SELECT step FROM kind_undos) GROUP BY word) AS newest USING (word, step)`)
	g := make(groups, len(rows))
	for _, r := range rows {
		g[r.Word] = r.Group
	}
	return g, wrap(err)
}

// Kinds gives all groups, the one with the most jobs first.
func (s *Store) Kinds(ctx context.Context) ([]Kind, error) {
	var words []struct {
		Word string
		Jobs int
		Last string
	}
	if err := s.r.SelectContext(ctx, &words, "SELECT kind AS word, sum(lines) AS jobs, max(last) AS last FROM weekly GROUP BY kind ORDER BY jobs DESC, kind"); err != nil {
		return nil, wrap(err)
	}
	g, err := s.groups(ctx)
	if err != nil {
		return nil, err
	}
	byName := map[string]*Kind{}
	for _, w := range words {
		name := g.of(w.Word)
		k := byName[name]
		if k == nil {
			k = &Kind{Name: name}
			byName[name] = k
		}
		k.Words = append(k.Words, Word{w.Word, w.Jobs, w.Last})
		k.Jobs += w.Jobs
		k.LastSeen = max(k.LastSeen, w.Last)
	}
	kinds := make([]Kind, 0, len(byName))
	for _, k := range byName {
		kinds = append(kinds, *k)
	}
	slices.SortFunc(kinds, func(a, b Kind) int { return cmp.Or(cmp.Compare(b.Jobs, a.Jobs), cmp.Compare(a.Name, b.Name)) })
	return kinds, nil
}

// A Suggestion says that one group may belong into another, and why.
type Suggestion struct {
	Kind string `json:"kind"`
	Jobs int    `json:"jobs"`
	Into string `json:"into"` // a group with more jobs
	Why  string `json:"why"`
	rank float64
}

// mostCompared bounds the work of Suggest: every kind is compared with every
// one that has more jobs.
const mostCompared = 1000

// Suggest looks for groups that mean one thing, see [ingest.Alike], the
// strongest reason first. Each group is suggested for one other.
func (s *Store) Suggest(ctx context.Context) ([]Suggestion, error) {
	kinds, err := s.Kinds(ctx)
	if err != nil {
		return nil, err
	}
	out := []Suggestion{}
	for i, k := range kinds[:min(len(kinds), mostCompared)] {
		best := Suggestion{Kind: k.Name, Jobs: k.Jobs}
		for _, into := range kinds[:i] {
			if why, rank := ingest.Alike(k.Name, into.Name); rank > best.rank {
				best.Into, best.Why, best.rank = into.Name, why, rank
			}
		}
		if best.Why != "" {
			out = append(out, best)
		}
	}
	slices.SortStableFunc(out, func(a, b Suggestion) int { return cmp.Compare(b.rank, a.rank) })
	return out, nil
}

// NoKind is the error of a kind that isn't there.
type NoKind struct {
	Name string
	Have []string
}

func (e *NoKind) Error() string {
	named := slices.DeleteFunc(slices.Clone(e.Have), func(name string) bool { return name == "" })
	if len(named) == 0 {
		return fmt.Sprintf("store: need a kind or a word of one, have %q; there are no kinds yet", e.Name)
	}
	return fmt.Sprintf("store: need a kind or a word of one, have %q; there are %s", e.Name, strings.Join(named, ", "))
}

// Merge puts groups, or single words, into the group into, which need not be
// there yet. Nothing is lost: Undo takes the step back.
func (s *Store) Merge(ctx context.Context, names []string, into string, now time.Time) error {
	if into == "" || len(names) == 0 {
		return fmt.Errorf("store: need kinds and the name of a group to put them into, have %q into %q", names, into)
	}
	kinds, err := s.Kinds(ctx)
	if err != nil {
		return err
	}
	// The group's own words are written down too: a word of its name that
	// is known to stand elsewhere would stay there.
	words := []string{}
	if slices.ContainsFunc(kinds, func(k Kind) bool { return k.Name == into }) {
		if words, err = find(kinds, into); err != nil {
			return err
		}
	}
	for _, name := range names {
		found, err := find(kinds, name)
		if err != nil {
			return err
		}
		words = append(words, found...)
	}
	return s.step(ctx, "merge", words, func(string) string { return into }, now)
}

// Rename gives a group another name. A name that is taken is an error: Merge
// makes one of two.
func (s *Store) Rename(ctx context.Context, name, to string, now time.Time) error {
	kinds, err := s.Kinds(ctx)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(kinds, func(k Kind) bool { return k.Name == name })
	if i < 0 {
		return &NoKind{name, names(kinds)}
	}
	if to == "" || slices.ContainsFunc(kinds, func(k Kind) bool { return k.Name == to }) {
		return fmt.Errorf("store: need a new name for %q that no kind has, have %q", name, to)
	}
	words, err := find(kinds, name)
	if err != nil {
		return err
	}
	return s.step(ctx, "rename", words, func(string) string { return to }, now)
}

// Split makes every word of a group, or a single word, a group of its own.
func (s *Store) Split(ctx context.Context, name string, now time.Time) error {
	kinds, err := s.Kinds(ctx)
	if err != nil {
		return err
	}
	words, err := find(kinds, name)
	if err != nil {
		return err
	}
	return s.step(ctx, "split", words, func(word string) string { return word }, now)
}

// KindStep is one change to the grouping.
type KindStep struct {
	What  string   `json:"what"` // merge, rename or split
	Words []string `json:"words"`
}

// ErrNoKindsToUndo is UndoKinds's answer when no step stands.
var ErrNoKindsToUndo = errors.New("store: need a change of kinds to undo, have none")

// LastKinds gives the newest step that stands, which UndoKinds would take back;
// false if none does.
func (s *Store) LastKinds(ctx context.Context) (step KindStep, stands bool, err error) {
	_, step, err = newestStep(ctx, s.r)
	if errors.Is(err, ErrNoKindsToUndo) {
		return step, false, nil
	}
	return step, err == nil, err
}

// newestStep gives the newest step that stands, or ErrNoKindsToUndo.
func newestStep(ctx context.Context, q sqlx.QueryerContext) (id int64, step KindStep, err error) {
	var ids []int64
	if err := sqlx.SelectContext(ctx, q, &ids, "SELECT id FROM kind_steps WHERE id NOT IN (SELECT step FROM kind_undos) ORDER BY id DESC LIMIT 1"); err != nil {
		return 0, step, wrap(err)
	}
	if len(ids) == 0 {
		return 0, step, ErrNoKindsToUndo
	}
	if err := sqlx.GetContext(ctx, q, &step.What, "SELECT what FROM kind_steps WHERE id = ?", ids[0]); err != nil {
		return 0, step, wrap(err)
	}
	err = sqlx.SelectContext(ctx, q, &step.Words, "SELECT word FROM kind_words WHERE step = ? ORDER BY word", ids[0])
	return ids[0], step, wrap(err)
}

// UndoKinds takes the newest step that stands back, and tells what it was.
func (s *Store) UndoKinds(ctx context.Context, now time.Time) (KindStep, error) {
	var step KindStep
	err := s.within(ctx, func(tx *sqlx.Tx) error {
		id, newest, err := newestStep(ctx, tx)
		if err != nil {
			return err
		}
		step = newest
		_, err = tx.Exec("INSERT INTO kind_undos(step, made_at) VALUES(?, ?)", id, now.UTC().Format(time.RFC3339))
		return wrap(err)
	})
	return step, err
}

// step writes one change down.
func (s *Store) step(ctx context.Context, what string, words []string, group func(word string) string, now time.Time) error {
	return s.within(ctx, func(tx *sqlx.Tx) error {
		var id int64
		if err := tx.Get(&id, "INSERT INTO kind_steps(what, made_at) VALUES(?, ?) RETURNING id", what, now.UTC().Format(time.RFC3339)); err != nil {
			return wrap(err)
		}
		slices.Sort(words)
		for _, w := range slices.Compact(words) {
			if _, err := tx.Exec("INSERT INTO kind_words(step, word, group_) VALUES(?, ?, ?)", id, w, group(w)); err != nil {
				return wrap(err)
			}
		}
		return nil
	})
}

// find gives the words of the group that has a name, or else the one word, as
// it is or else alone in folding alike.
func find(kinds []Kind, name string) ([]string, error) {
	same := func(s string) bool { return s == name }
	alike := func(s string) bool { return ingest.Fold(s) == ingest.Fold(name) && ingest.Fold(s) != "" }
	for _, fits := range []func(string) bool{same, alike} {
		var found [][]string
		for _, k := range kinds {
			if fits(k.Name) {
				var all []string
				for _, w := range k.Words {
					all = append(all, w.Word)
				}
				found = append(found, all)
			}
		}
		if len(found) == 0 {
			for _, k := range kinds {
				for _, w := range k.Words {
					if fits(w.Word) {
						found = append(found, []string{w.Word})
					}
				}
			}
		}
		if len(found) == 1 {
			return found[0], nil
		}
	}
	return nil, &NoKind{name, names(kinds)}
}

func names(kinds []Kind) []string {
	var out []string
	for _, k := range kinds {
		out = append(out, k.Name)
	}
	return out
}
