package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Keep says how many of the nightly backups stay: the newest of each of the
// last Daily days that have one, and of the last Weekly weeks.
type Keep struct{ Daily, Weekly int }

// UsualKeep lets a mistake be found a month later.
var UsualKeep = Keep{Daily: 7, Weekly: 4}

const backupDay = "2006-01-02"

// Nightly makes a day's backup in a folder, which it makes if need be, unless
// that day has one, and gives its path, or "" if there was nothing to do, as for
// a group's shop, which PostgreSQL's own means back up. The day is that of now
// in its zone; the file is named after the database and the
// day. As with [Store.Backup], only a copy that was checked gets its name. Then,
// and only then, older backups that keep doesn't hold are removed: while none
// succeeds, none is removed. Files of other names are left alone. A database that
// is found damaged is only read from then on, see [Store.Vet]. It panics if
// keep holds less than one day or weeks below zero.
func (s *Store) Nightly(ctx context.Context, folder string, keep Keep, now time.Time) (made string, err error) {
	if keep.Daily < 1 || keep.Weekly < 0 {
		panic(fmt.Sprintf("store: need one day's backup or more and no fewer than 0 weeks', have %+v", keep))
	}
	if s.group != nil {
		return "", nil
	}
	path := filepath.Join(folder, s.backupName(now))
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return "", wrap(err)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return "", wrap(err)
	}
	if _, err := s.Backup(ctx, path, now); err != nil {
		if damaged(err) { // the copy, or what was copied
			err = errors.Join(err, s.Vet(ctx, true, folder))
		}
		return "", err
	}
	return path, s.prune(folder, keep)
}

// backupStem is what the database's backups are named before the day.
func (s *Store) backupStem() string {
	base := filepath.Base(s.path)
	return strings.TrimSuffix(base, filepath.Ext(base)) + "-"
}

func (s *Store) backupName(day time.Time) string {
	return s.backupStem() + day.Format(backupDay) + ".db"
}

// backupDays gives the days of the nightly backups in a folder, newest first.
func (s *Store) backupDays(folder string) ([]time.Time, error) {
	files, err := os.ReadDir(folder)
	if err != nil {
		return nil, wrap(err)
	}
	var days []time.Time
	for _, f := range files {
		name, ours := strings.CutPrefix(f.Name(), s.backupStem())
		if day, err := time.Parse(backupDay+".db", name); ours && err == nil {
			days = append(days, day)
		}
	}
	slices.SortFunc(days, func(a, b time.Time) int { return b.Compare(a) })
	return days, nil
}

// prune removes the nightly backups that keep doesn't hold.
func (s *Store) prune(folder string, keep Keep) error {
	days, err := s.backupDays(folder)
	if err != nil {
		return err
	}
	weeks := map[[2]int]bool{}
	for i, day := range days {
		var week [2]int
		week[0], week[1] = day.ISOWeek()
		newest := !weeks[week] && len(weeks) < keep.Weekly
		weeks[week] = true
		if i < keep.Daily || newest {
			continue
		}
		if err := os.Remove(filepath.Join(folder, s.backupName(day))); err != nil {
			return wrap(err)
		}
	}
	return nil
}
