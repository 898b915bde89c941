package week

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
	"freshet/ingest/store"
	"freshet/report"
)

// SettingFolder names the setting that says which folder is watched for new
// exports.
const SettingFolder = "week.folder"

// CheckFolder gives a folder's full name, or says why it can't be watched. An
// empty name is none.
func CheckFolder(name string) (string, error) {
	if name == "" {
		return "", nil
	}
	full, err := filepath.Abs(name)
	if err != nil {
		return "", err
	}
	info, err := os.Stat(full)
	if err != nil {
		return "", fmt.Errorf("need a folder to watch: %w", err)
	}
	if !info.IsDir() {
		return "", fmt.Errorf("need a folder to watch, have the file %s", full)
	}
	return full, nil
}

// watched are the endings of files that may be exports, among them those of
// spreadsheets that can't be read, so that somebody is told.
var watched = []string{".csv", ".tsv", ".txt", ".xlsx", ".ics", ".xls", ".xlsb", ".ods", ".numbers"}

const (
	rest  = 10 * time.Second // that a file must lie untouched before it is read
	lease = time.Hour        // of a file that a process takes in
	again = 20 * time.Hour   // after which a file that was left is looked at again
)

// takeIn takes in what is new in the watched folder, the oldest file first, so
// that the newest has the last word. A file that is still being written is
// waited for; one that was taken in before, by whatever name and way, isn't
// taken again; one that isn't understood is left where it is, and is the error.
func (w *Week) takeIn(ctx context.Context, _ Wish) (tried bool, err error) {
	if w.Store.Folder() == "" { // a group's shop: its workers are on other machines than a folder that was watched before
		return true, nil
	}
	folder, err := w.Store.Setting(ctx, SettingFolder, "")
	if err != nil {
		return true, err
	}
	if demo, err := w.Store.Setting(ctx, desk.SettingDemo, ""); err != nil || demo != "" || folder == "" {
		return true, err
	}
	root, err := os.OpenRoot(folder)
	if err != nil {
		return true, fmt.Errorf("it can't be read: %w", err)
	}
	defer root.Close()
	files, err := w.look(ctx, root)
	if err != nil {
		return true, err
	}
	changed, err := w.Store.Changed(ctx)
	if err != nil {
		return true, err
	}
	var left []error
	for _, f := range files {
		switch {
		case f.State == store.FolderTaken:
			continue
		case f.State == store.FolderLeft && !changed.After(f.At) && w.Now().Sub(f.At) < again:
			left = append(left, leftFor(f))
			continue
		case f.State == store.FolderSeen && !w.rests(f):
			continue
		}
		became, err := w.takeInFile(ctx, root, f)
		if err != nil {
			return true, err
		}
		if became.State == store.FolderLeft {
			left = append(left, leftFor(became))
		}
	}
	return true, errors.Join(left...)
}

func leftFor(f store.FolderFile) error {
	return fmt.Errorf("%s was left where it is, %s", f.Name, f.Said)
}

// rests tells whether nobody is writing a file: it was written a while ago, or
// was seen a while ago and hasn't changed.
func (w *Week) rests(f store.FolderFile) bool {
	now := w.Now()
	return now.Sub(f.Written) >= rest || now.Sub(f.At) >= rest
}

// look lists the folder's exports by the time at which they were written, with
// what is kept of each. A file that is new or has changed is seen now.
func (w *Week) look(ctx context.Context, root *os.Root) ([]store.FolderFile, error) {
	entries, err := fs.ReadDir(root.FS(), ".")
	if err != nil {
		return nil, fmt.Errorf("it can't be read: %w", err)
	}
	kept, err := w.Store.FolderFiles(ctx)
	if err != nil {
		return nil, err
	}
	known := map[string]store.FolderFile{}
	for _, f := range kept {
		known[f.Name] = f
	}
	var files []store.FolderFile
	for _, e := range entries {
		name := e.Name()
		if !e.Type().IsRegular() || strings.HasPrefix(name, ".") || strings.HasPrefix(name, "~") || !slices.Contains(watched, strings.ToLower(filepath.Ext(name))) {
			continue
		}
		info, err := e.Info()
		if errors.Is(err, fs.ErrNotExist) {
			continue // gone meanwhile
		} else if err != nil {
			return nil, fmt.Errorf("it can't be read: %w", err)
		}
		f := store.FolderFile{Name: name, Size: info.Size(), Written: info.ModTime(), State: store.FolderSeen, At: w.Now()}
		if k, ok := known[name]; ok && (k.Same(f) || k.State == store.FolderTaking) {
			f = k
		} else if err := w.Store.SetFolderFile(ctx, f); err != nil {
			return nil, err
		}
		delete(known, name)
		files = append(files, f)
	}
	for name := range known {
		if err := w.Store.ForgetFolderFile(ctx, name); err != nil {
			return nil, err
		}
	}
	slices.SortFunc(files, func(a, b store.FolderFile) int {
		return cmp.Or(a.Written.Compare(b.Written), strings.Compare(a.Name, b.Name))
	})
	return files, nil
}

// takeInFile takes in one file, and keeps what became of it. Its error is the
// database's; that of a file that isn't understood stands in what is given.
func (w *Week) takeInFile(ctx context.Context, root *os.Root, f store.FolderFile) (store.FolderFile, error) {
	f.At = w.Now()
	if ours, err := w.Store.ClaimFolderFile(ctx, f, lease); err != nil || !ours {
		f.State = store.FolderTaking
		return f, err
	}
	said, err := w.read(ctx, root, &f)
	switch {
	case ctx.Err() != nil:
		f.State = store.FolderSeen
		return f, errors.Join(ctx.Err(), w.Store.SetFolderFile(context.WithoutCancel(ctx), f))
	case errors.Is(err, errWritten):
		f.State = store.FolderSeen
	case err != nil:
		f.State, f.Said = store.FolderLeft, Unread(err)
		w.Log.Warn("a file in the watched folder was left: the page Records says why", "error", err)
	default:
		f.State, f.Said = store.FolderTaken, said
		w.Log.Info("a file in the watched folder was taken in: the page Records says more")
	}
	return f, w.Store.SetFolderFile(ctx, f)
}

// errWritten is the answer to a file that somebody is writing.
var errWritten = errors.New("week: it is being written")

// read takes in a file's rows, and says how many.
func (w *Week) read(ctx context.Context, root *os.Root, f *store.FolderFile) (string, error) {
	file, err := root.Open(f.Name)
	if errors.Is(err, fs.ErrNotExist) {
		return "", errWritten
	}
	if err != nil {
		return "", err
	}
	defer file.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, file); err != nil {
		return "", err
	}
	if before, err := w.Store.WasTakenIn(ctx, store.Hash(sum.Sum(nil))); err != nil || before {
		return "It was taken in before.", err
	}
	untouched := func() error {
		info, err := file.Stat()
		if err == nil && (info.Size() != f.Size || !info.ModTime().Equal(f.Written)) {
			f.Size, f.Written = info.Size(), info.ModTime()
			return errWritten
		}
		return err
	}
	if err := untouched(); err != nil {
		return "", err
	}
	loc, err := (&desk.Desk{Store: w.Store}).Zone(ctx)
	if err != nil {
		return "", err
	}
	tomorrow := forecast.DateOf(w.Now().In(loc)) + 1
	b, err := w.Store.TakeIn(ctx, store.HandIn{Name: f.Name, File: file, Size: f.Size, Zone: loc}, tomorrow, w.Now(), nil)
	if err != nil {
		return "", err
	}
	said := Account(b.Batch)
	if err := w.Store.Note(ctx, store.Change{At: w.Now(), Who: "the watched folder", What: "took in " + f.Name + ", " + said}); err != nil {
		return "", err
	}
	return said, untouched()
}

// Account says what became of the rows of a file that was taken in.
func Account(b store.Batch) string {
	return fmt.Sprintf("%s: %d added, %d updated, %d unchanged, %d rejected.", report.Count(float64(b.Rows), "row"), b.Added, b.Updated, b.Unchanged, b.Rejected)
}

// Unread says why a file wasn't taken in, and what helps.
func Unread(err error) string {
	said := Plain(err)
	switch {
	case errors.As(err, new(*store.NoPerson)):
		return "since a person has to say whose calendar it is: name its events after people on the crew, or “shop”, or take it in once with freshet import and --who (" + said + ")"
	case errors.As(err, new(*store.Undecided)), errors.As(err, new(*store.Undetected)), errors.As(err, new(*ingest.AmbiguousDates)), errors.As(err, new(*ingest.Unmapped)):
		return "since a person has to say how it is meant: take it in once on the page Records, and the next such file needs no word (" + said + ")"
	}
	return "since it could not be read: " + said
}
