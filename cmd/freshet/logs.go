package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"

	"freshet/ingest/store"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/mattn/go-sqlite3"
	"gopkg.in/natefinch/lumberjack.v2"
)

// logBeside gives a log in a file beside the database, and on also. The file is
// its owner's alone; at 5 MB a new one is begun, and four old ones are kept.
//
// Errors are logged by their types, innermost last, and with words only where
// those come from the system: an error's text may quote a customer's.
//
// A group's shop has no place for a file: whoever runs freshet keeps what it
// says.
func logBeside(database string, also io.Writer) (*slog.Logger, io.Closer) {
	options := &slog.HandlerOptions{ReplaceAttr: discreet}
	if store.Shared(database) {
		return slog.New(slog.NewTextHandler(also, options)), io.NopCloser(nil)
	}
	name := strings.TrimSuffix(filepath.Base(database), filepath.Ext(database)) + ".log"
	file := &lumberjack.Logger{Filename: filepath.Join(filepath.Dir(database), name), MaxSize: 5, MaxBackups: 4}
	return slog.New(slog.NewTextHandler(io.MultiWriter(also, file), options)), file
}

func discreet(_ []string, a slog.Attr) slog.Attr {
	if err, ok := a.Value.Any().(error); ok {
		a.Value = slog.StringValue(anatomy(err))
	}
	return a
}

// anatomy tells an error's types, and what the system says.
func anatomy(err error) string {
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var parts []string
		for _, e := range joined.Unwrap() {
			parts = append(parts, anatomy(e))
		}
		return strings.Join(parts, "; ")
	}
	name := strings.TrimPrefix(reflect.TypeOf(err).String(), "*")
	if inner := errors.Unwrap(err); inner != nil {
		if name == "fmt.wrapError" {
			return anatomy(inner)
		}
		return name + ": " + anatomy(inner)
	}
	switch e := err.(type) {
	case syscall.Errno:
		return fmt.Sprintf("%s %q", name, e.Error())
	case *store.Newer, *store.Gone: // their words are of versions and shops
		return err.Error()
	case *pgconn.PgError:
		return fmt.Sprintf("%s %s", name, e.Code)
	case sqlite3.Error:
		return fmt.Sprintf("%s %d, %d", name, e.Code, e.ExtendedCode)
	}
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err.Error()
	}
	return name
}
