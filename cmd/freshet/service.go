package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/user"
	"path/filepath"
	"runtime"
	"strings"

	"freshet/ingest/store"

	"github.com/kardianos/service"
	"github.com/spf13/cobra"
)

// serviceName is what the system knows freshet by.
const serviceName = "freshet"

// Names of the systems that freshet can be a service of.
const (
	systemd  = "linux-systemd"
	windows  = "windows-service"
	restarts = "10s" // after a failure
)

// unit is the systemd unit, in the service library's own template language.
const unit = `[Unit]
Description={{Description}}
After=network-online.target
Wants=network-online.target

[Service]
ExecStart={{Path | cmd}}{{range Arguments}} {{. | cmd}}{{end}}
{{if UserName}}User={{UserName}}
{{end}}UMask=0077
NoNewPrivileges=yes
PrivateTmp=yes
ProtectSystem=full
Restart=on-failure
RestartSec=` + restarts + `
TimeoutStopSec=30

[Install]
WantedBy=multi-user.target
`

// installed is how freshet is to run as a service.
type installed struct {
	db, listen, backups string
	user                string // whose rights it has; "" is the system's own choice
}

// config says it to the system. All paths are whole ones, as a service starts in
// a folder of the system's; a group's address is none.
func (i installed) config(system string) (*service.Config, error) {
	c := &service.Config{Name: serviceName, DisplayName: "freshet", Description: "freshet: a repair shop's pages and its weekly letter",
		Option: service.KeyValue{"SystemdScript": unit, "OnFailure": "restart", "OnFailureDelayDuration": restarts, "DelayedAutoStart": true}}
	db, err := i.db, error(nil)
	if !store.Shared(db) {
		if db, err = filepath.Abs(db); err != nil {
			return nil, err
		}
	}
	c.Arguments = []string{"serve", "--db", db}
	if i.backups != "" {
		folder, err := filepath.Abs(i.backups)
		if err != nil {
			return nil, err
		}
		c.Arguments = append(c.Arguments, "--backups", folder)
	}
	if i.listen != "" {
		c.Arguments = append(c.Arguments, "--listen", i.listen)
	}
	if system == systemd {
		c.UserName = i.user
		for k, a := range c.Arguments { // its own marks in a command line
			c.Arguments[k] = strings.NewReplacer(`\`, `\\`, "%", "%%", "$", "$$").Replace(a)
		}
	}
	return c, nil
}

// service is the command that has the system run freshet.
func (a *app) service() *cobra.Command {
	var i installed
	c := &cobra.Command{Use: "service", Short: "Have the system run freshet by itself, from each start on", Args: noSuchCommand,
		Long: `Makes 'freshet serve' a service of Windows or of a Linux with systemd, so that the pages
are there and the letter goes out without anybody logged in. It takes the rights of an
administrator: on Linux with sudo, which may want the program's whole path, on Windows in
a terminal opened as administrator. Unless --db names other records, the service has those
of its user.

The mail password has to come from a file then ('freshet mail --password-file').`,
		Example: `  sudo freshet service install --db /home/ansel/shop.db
  sudo freshet service start
  freshet service status
  sudo freshet service remove`,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() }}
	do := func(use, short, done string, what func(service.Service) error) *cobra.Command {
		return &cobra.Command{Use: use, Short: short, Args: cobra.NoArgs, RunE: func(*cobra.Command, []string) error {
			s, err := a.asService(&i)
			if err == nil {
				err = what(s)
			}
			if err != nil {
				return serviceError(use, err)
			}
			fmt.Fprintln(a.out, done)
			return nil
		}}
	}
	install := do("install", "Make freshet a service, which starts with the system", "It starts with the system; 'freshet service start' starts it at once.", func(s service.Service) error {
		if err := s.Install(); err != nil {
			return err
		}
		fmt.Fprint(a.out, "freshet is a service now. Its records are in ", i.db)
		if i.user != "" {
			fmt.Fprint(a.out, ", and it has the rights of ", i.user)
		}
		fmt.Fprintln(a.out, ".")
		return nil
	})
	install.Flags().StringVar(&i.listen, "listen", "", "`ADDRESS` to serve on, as for 'freshet serve'")
	install.Flags().StringVar(&i.backups, "backups", "", "`FOLDER` of the nightly backups, as for 'freshet serve'")
	install.Flags().StringVar(&i.user, "run-as", "", "`USER` whose rights it has on Linux (default who calls, or calls sudo)")
	remove := do("remove", "End the service and take it out of the system; the records stay", "freshet is no service any more. The records are where they were.", func(s service.Service) error {
		if at, err := s.Status(); err == nil && at == service.StatusRunning {
			if err := s.Stop(); err != nil {
				return err
			}
		}
		return s.Uninstall()
	})
	status := &cobra.Command{Use: "status", Short: "Say whether the service is there and runs", Args: cobra.NoArgs, RunE: func(*cobra.Command, []string) error {
		s, err := a.asService(&i)
		if err != nil {
			return err
		}
		at, err := s.Status()
		switch {
		case errors.Is(err, service.ErrNotInstalled):
			fmt.Fprintln(a.out, "freshet is no service here: 'freshet service install' makes it one.")
		case err != nil:
			return serviceError("status", err)
		case at == service.StatusRunning:
			fmt.Fprintln(a.out, "The service runs.")
		default:
			fmt.Fprintln(a.out, "The service is there and doesn't run: 'freshet service start' starts it.")
		}
		return nil
	}}
	c.AddCommand(install, remove, status,
		do("start", "Start the service now", "The service was started.", service.Service.Start),
		do("stop", "End the service until the next start", "The service was ended.", service.Service.Stop))
	return c
}

// asService gives the service as the system that runs here knows it, and fills in
// what the call left open.
func (a *app) asService(i *installed) (service.Service, error) {
	system := service.ChosenSystem()
	if system == nil || system.String() != systemd && system.String() != windows {
		return nil, fmt.Errorf("need Windows or a Linux with systemd for a service, have %s: start 'freshet serve' in this system's own way", service.Platform())
	}
	var err error
	if i.db, err = a.path(); err != nil {
		return nil, err
	}
	if runtime.GOOS != "windows" {
		if err := i.runAs(a.db == "" && os.Getenv("FRESHET_DB") == ""); err != nil {
			return nil, err
		}
	}
	c, err := i.config(system.String())
	if err != nil {
		return nil, err
	}
	return system.New(nil, c)
}

// runAs settles whose rights the service has: those of whoever calls, or calls
// sudo. A database that the call doesn't name is that user's own, too: sudo would
// have it with root's.
func (i *installed) runAs(unnamed bool) error {
	me, err := user.Current()
	if i.user = cmp.Or(i.user, os.Getenv("SUDO_USER")); i.user == "" {
		if err != nil {
			return fmt.Errorf("need --run-as to say whose rights the service has: %w", err)
		}
		i.user = me.Username
	}
	if !unnamed || err == nil && i.user == me.Username {
		return nil
	}
	whose, err := user.Lookup(i.user)
	if err != nil {
		return fmt.Errorf("need --db to say where the records are: %w", err)
	}
	i.db = filepath.Join(whose.HomeDir, ".config", "freshet", "shop.db")
	return nil
}

// serviceError says what went wrong, and if it may be so, that it was for want
// of rights.
func serviceError(what string, err error) error {
	denied := errors.Is(err, fs.ErrPermission)
	switch {
	case runtime.GOOS == "windows" && denied:
		return fmt.Errorf("service %s: need the rights of an administrator, in a terminal opened as one: %w", what, err)
	case runtime.GOOS != "windows" && (denied || os.Geteuid() != 0):
		return fmt.Errorf("service %s: need the rights of an administrator, as by sudo: %w", what, err)
	}
	return fmt.Errorf("service %s: %w", what, err)
}

// managed runs f until it ends or, where Windows runs this process as a
// service, until Windows says so; systemd says so by a signal.
func managed(ctx context.Context, f func(context.Context) error) error {
	if runtime.GOOS != "windows" || service.Interactive() {
		return f(ctx)
	}
	p := &program{f: f, done: make(chan struct{})}
	p.ctx, p.stop = context.WithCancel(ctx)
	s, err := service.New(p, &service.Config{Name: serviceName})
	if err != nil {
		return err
	}
	return errors.Join(s.Run(), p.err)
}

// program is a function as a service library wants it.
type program struct {
	f    func(context.Context) error
	ctx  context.Context
	stop context.CancelFunc
	done chan struct{}
	err  error
}

// Start begins, and doesn't wait.
func (p *program) Start(service.Service) error {
	go func() {
		defer close(p.done)
		if p.err = p.f(p.ctx); p.err != nil {
			os.Exit(failed) // the system starts it again
		}
	}()
	return nil
}

// Stop has it end, and waits.
func (p *program) Stop(service.Service) error {
	p.stop()
	<-p.done
	return nil
}
