package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/mattn/go-sqlite3"
	"github.com/spf13/cobra"
)

func (a *app) version() *cobra.Command {
	return &cobra.Command{Use: "version", Short: "Say which freshet this is", Args: cobra.NoArgs, RunE: func(*cobra.Command, []string) error {
		b := built()
		if a.json {
			return a.writeJSON(b)
		}
		fmt.Fprintf(a.out, "freshet %s\n", b.Version)
		if b.Commit != "" {
			changed := ""
			if b.Changed {
				changed = ", with changes since"
			}
			fmt.Fprintf(a.out, "commit %s of %s%s\n", b.Commit, b.Time, changed)
		}
		fmt.Fprintf(a.out, "%s for %s/%s, SQLite %s\n", b.Go, b.OS, b.Arch, b.SQLite)
		return nil
	}}
}

// build is what this program was made of and for.
type build struct {
	Version string `json:"version"` // newest tag, or a pseudo-version of the commit, or "devel"
	Commit  string `json:"commit,omitempty"`
	Time    string `json:"time,omitempty"`
	Changed bool   `json:"changed,omitempty"` // built from files that no commit has
	Go      string `json:"go"`
	OS      string `json:"os"`
	Arch    string `json:"arch"`
	SQLite  string `json:"sqlite"`
}

func built() build {
	b := build{Version: "devel", Go: runtime.Version(), OS: runtime.GOOS, Arch: runtime.GOARCH}
	b.SQLite, _, _ = sqlite3.Version()
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return b
	}
	if v := info.Main.Version; v != "" && v != "(devel)" {
		b.Version = v
	}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			b.Commit = s.Value
		case "vcs.time":
			b.Time = s.Value
		case "vcs.modified":
			b.Changed = s.Value == "true"
		}
	}
	return b
}
