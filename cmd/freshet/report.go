package main

import (
	"fmt"
	"io"
	"os"

	"freshet/cmd/freshet/internal/desk"
	"freshet/report"
	"freshet/report/html"

	"github.com/spf13/cobra"
)

func (a *app) report() *cobra.Command {
	var out, again string
	var send bool
	c := &cobra.Command{Use: "report", Short: "Write the weekly report as one page that opens anywhere, or mail it", Args: cobra.NoArgs,
		Long: `Makes the weekly report: what is coming, whether the crew's hours meet it, and what to
decide by when. It prints the report's first sentences; --out writes all of it into
one file that any browser opens and any printer prints, and --send mails it, after
the watched folder was looked through. --again makes a past week's report as it was,
whatever came in since.`,
		Example: `  freshet report --out report.html
  freshet report --send
  freshet report --again 2026-W48 --out then.html`,
		RunE: func(c *cobra.Command, _ []string) error {
			if again != "" {
				return a.reportAgain(c.Context(), again, out)
			}
			write := func(d *desk.Desk, ask desk.Ask) (report.Report, []string, error) {
				r, err := d.Report(c.Context(), ask, built().Version)
				if err == nil && out != "" {
					err = writeFile(out, func(w io.Writer) error { return html.Write(w, r) })
				}
				return r, r.Warnings, err
			}
			if send {
				return a.atDesk(c, func(d *desk.Desk, ask desk.Ask) error {
					if out != "" {
						if _, _, err := write(d, ask); err != nil {
							return err
						}
					}
					return a.sendNow(c, d.Store)
				})
			}
			return answer(a, c, write, func(r report.Report) error {
				for _, line := range r.Headline {
					fmt.Fprintln(a.out, line)
				}
				if out != "" {
					fmt.Fprintln(a.out, "\nThe report is in", out)
				}
				return nil
			})
		}}
	c.Flags().StringVar(&out, "out", "", "write the page to this `FILE`")
	c.Flags().BoolVar(&send, "send", false, "mail this week's letter now, as 'freshet mail' says")
	c.Flags().StringVar(&again, "again", "", "make the report of a past `WEEK`, such as 2026-W48, again as it was")
	notBoth(c, "send", "again")
	return c
}

// writeFile writes a file whole or not at all: into a neighbour first.
func writeFile(path string, write func(io.Writer) error) error {
	temp := path + ".part"
	f, err := os.OpenFile(temp, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	err = write(f)
	if e := f.Sync(); err == nil {
		err = e
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(temp, path)
	}
	if err != nil {
		os.Remove(temp)
	}
	return err
}
