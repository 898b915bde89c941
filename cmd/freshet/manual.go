package main

import (
	"fmt"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// manual writes the help of every command as pages. Those in manual/ are made
// by it, and a test holds them to what the commands say.
func (a *app) manual() *cobra.Command {
	var man bool
	c := &cobra.Command{Use: "manual FOLDER", Short: "Write the manual into a folder, a page for each command", Args: cobra.ExactArgs(1),
		Long: `Writes a page for each command into a folder, as Markdown texts, or with --man for the
Unix command man. They say what 'freshet help COMMAND' says.`,
		Example: `  freshet manual pages
  freshet manual --man /usr/local/share/man/man1`,
		RunE: func(c *cobra.Command, args []string) error {
			dir := args[0]
			if err := os.MkdirAll(dir, 0o755); err != nil {
				return err
			}
			root := c.Root()
			root.DisableAutoGenTag = true // the day on which they were made is no part of them
			var err error
			if man {
				now := a.now()
				err = doc.GenManTree(root, &doc.GenManHeader{Section: "1", Source: "freshet " + built().Version, Manual: "freshet", Date: &now}, dir)
			} else {
				err = doc.GenMarkdownTree(root, dir)
			}
			if err == nil {
				fmt.Fprintln(a.out, "The manual is in", filepath.ToSlash(dir))
			}
			return err
		}}
	c.Flags().BoolVar(&man, "man", false, "write pages for the command man")
	return c
}
