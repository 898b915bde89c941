package store

import (
	"context"
	"time"
)

// FolderState says how far a file in the watched folder has come.
type FolderState string

// The states. A file that was seen is waited for until it rests; one that was
// left isn't understood, and a person has to see to it.
const (
	FolderSeen   FolderState = "seen"
	FolderTaking FolderState = "taking"
	FolderTaken  FolderState = "taken"
	FolderLeft   FolderState = "left"
)

// FolderFile is a file in the watched folder.
type FolderFile struct {
	Name    string
	Size    int64
	Written time.Time // as the folder says
	State   FolderState
	At      time.Time // since when it is in this state
	Said    string    // what became of it
}

// Same tells whether two are one file: by name, size and time of writing.
func (f FolderFile) Same(g FolderFile) bool {
	return f.Name == g.Name && f.Size == g.Size && f.Written.Equal(g.Written)
}

// FolderFiles gives all files that were seen in the folder, the newest first.
func (s *Store) FolderFiles(ctx context.Context) ([]FolderFile, error) {
	var rows []struct {
		Name, Written, At, Said string
		Size                    int64
		State                   FolderState
	}
	if err := s.r.SelectContext(ctx, &rows, "SELECT name, size, written, state, at, said FROM folder_files ORDER BY at DESC, name"); err != nil {
		return nil, wrap(err)
	}
	out := make([]FolderFile, len(rows))
	for i, r := range rows {
		f := FolderFile{Name: r.Name, Size: r.Size, State: r.State, Said: r.Said}
		var err error
		if f.Written, err = time.Parse(time.RFC3339Nano, r.Written); err != nil {
			return nil, wrap(err)
		}
		if f.At, err = time.Parse(time.RFC3339, r.At); err != nil {
			return nil, wrap(err)
		}
		out[i] = f
	}
	return out, nil
}

// SetFolderFile keeps what became of a file.
func (s *Store) SetFolderFile(ctx context.Context, f FolderFile) error {
	_, err := s.exec(ctx, `INSERT INTO folder_files(name, size, written, state, at, said) VALUES(?, ?, ?, ?, ?, ?)
		ON CONFLICT(name) DO UPDATE SET size = excluded.size, written = excluded.written, state = excluded.state, at = excluded.at, said = excluded.said`,
		f.Name, f.Size, f.Written.UTC().Format(time.RFC3339Nano), string(f.State), instant(f.At), f.Said)
	return err
}

// ClaimFolderFile gives a file to one process alone to take it in, and is false
// if another has it. One that went away before it was done loses the file at
// the lease's end.
func (s *Store) ClaimFolderFile(ctx context.Context, f FolderFile, lease time.Duration) (ours bool, err error) {
	r, err := s.exec(ctx, `INSERT INTO folder_files(name, size, written, state, at) VALUES(?, ?, ?, 'taking', ?)
		ON CONFLICT(name) DO UPDATE SET size = excluded.size, written = excluded.written, state = 'taking', at = excluded.at, said = ''
		WHERE folder_files.state <> 'taking' OR folder_files.at < ?`, f.Name, f.Size, f.Written.UTC().Format(time.RFC3339Nano), instant(f.At), instant(f.At.Add(-lease)))
	if err != nil {
		return false, err
	}
	n, err := r.RowsAffected()
	return n == 1, wrap(err)
}

// ForgetFolderFile drops what was kept of a file that is in the folder no more.
func (s *Store) ForgetFolderFile(ctx context.Context, name string) error {
	_, err := s.exec(ctx, "DELETE FROM folder_files WHERE name = ?", name)
	return err
}

// WasTakenIn tells whether a file of this content was ever taken in, be it that
// it was taken back out since.
func (s *Store) WasTakenIn(ctx context.Context, sha256 string) (bool, error) {
	var n int
	err := s.r.GetContext(ctx, &n, "SELECT count(*) FROM (SELECT 1 FROM batches WHERE sha256 = ? LIMIT 1) AS found", sha256)
	return n > 0, wrap(err)
}

// Failure is a step of the week's work that failed when it was last tried.
type Failure struct {
	Step string
	Said string
	At   time.Time // since when
}

// Failures gives the steps that failed when they were last tried.
func (s *Store) Failures(ctx context.Context) ([]Failure, error) {
	var rows []struct{ Step, Said, At string }
	if err := s.r.SelectContext(ctx, &rows, "SELECT step, said, at FROM failures ORDER BY at, step"); err != nil {
		return nil, wrap(err)
	}
	out := make([]Failure, len(rows))
	for i, r := range rows {
		at, err := time.Parse(time.RFC3339, r.At)
		if err != nil {
			return nil, wrap(err)
		}
		out[i] = Failure{r.Step, r.Said, at}
	}
	return out, nil
}

// SetFailure keeps that a step failed and why, or, if said is empty, that it
// went well, and tells whether that is new. A failure that goes on keeps the
// time at which it began.
func (s *Store) SetFailure(ctx context.Context, f Failure) (changed bool, err error) {
	var have string
	if err := s.r.GetContext(ctx, &have, "SELECT coalesce((SELECT said FROM failures WHERE step = ?), '')", f.Step); err != nil || have == f.Said {
		return false, wrap(err)
	}
	if f.Said == "" {
		_, err = s.exec(ctx, "DELETE FROM failures WHERE step = ?", f.Step)
	} else {
		_, err = s.exec(ctx, "INSERT INTO failures(step, said, at) VALUES(?, ?, ?) ON CONFLICT(step) DO UPDATE SET said = excluded.said", f.Step, f.Said, instant(f.At))
	}
	return err == nil, err
}
