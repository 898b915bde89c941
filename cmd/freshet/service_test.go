package main

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/kardianos/service"
)

// asSystemd has the service library take systemd for the system's manager, for
// one user, with a systemctl that writes down what it is told.
func asSystemd(t *testing.T) (unitFile string, told func() string) {
	t.Helper()
	if runtime.GOOS != "linux" {
		t.Skip("systemd is of Linux")
	}
	all := service.AvailableSystems()
	i := -1
	for k, s := range all {
		if s.String() == systemd {
			i = k
		}
	}
	if i < 0 {
		t.Fatal("the service library knows no systemd")
	}
	service.ChooseSystem(always{all[i]})
	t.Cleanup(func() { service.ChooseSystem(all...) })
	home := t.TempDir()
	t.Setenv("HOME", home)
	calls := filepath.Join(home, "calls")
	script := "#!/bin/sh\necho \"$@\" >> " + calls + "\ncase \"$1\" in is-active) cat " + home + "/state 2>/dev/null || { echo inactive; exit 3; };; list-unit-files) [ -f " + home + "/.config/systemd/user/freshet.service ] && echo freshet.service enabled;; esac\nexit 0\n"
	if err := os.WriteFile(filepath.Join(home, "systemctl"), []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", home+":"+os.Getenv("PATH"))
	return filepath.Join(home, ".config", "systemd", "user", "freshet.service"), func() string {
		b, _ := os.ReadFile(calls)
		return string(b)
	}
}

// always is a manager that takes the system for its own, and services for those
// of one user: what is tested touches nothing outside the test's folder.
type always struct{ service.System }

func (always) Detect() bool { return true }
func (s always) New(i service.Interface, c *service.Config) (service.Service, error) {
	c.Option["UserService"] = true
	return s.System.New(i, c)
}

// The life of a service, with the unit that systemd is given.
func TestService(t *testing.T) {
	unitFile, told := asSystemd(t)
	home := os.Getenv("HOME")
	t.Setenv("FRESHET_DB", filepath.Join(home, `100% "own" $shop`, "shop.db"))
	step := func(want string, args ...string) {
		t.Helper()
		if status, out, errs := call(t, append([]string{"service"}, args...)...); status != done || !strings.Contains(out, want) {
			t.Fatalf("%v: want %q, have %d %s%s", args, want, status, out, errs)
		}
	}
	step("is no service here", "status")
	step("is a service now", "install", "--listen", "127.0.0.1:9", "--run-as", "ansel")
	text, err := os.ReadFile(unitFile)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`"serve" "--db" "` + home + `/100%% \"own\" $$shop/shop.db" "--listen" "127.0.0.1:9"` + "\n", "User=ansel\n", "UMask=0077\n", "Restart=on-failure\n", "WantedBy=multi-user.target\n", "NoNewPrivileges=yes\n"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("want %q in the unit, have\n%s", want, text)
		}
	}
	if strings.Contains(string(text), "{{") {
		t.Errorf("want the template filled, have\n%s", text)
	}
	verify(t, unitFile)
	step("doesn't run", "status")
	step("was started", "start")
	if err := os.WriteFile(filepath.Join(home, "state"), []byte("active\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	step("The service runs", "status")
	if status, _, errs := call(t, "service", "install"); status != failed || !strings.Contains(errs, "service install") {
		t.Errorf("want a second install refused, have %d %s", status, errs)
	}
	step("no service any more", "remove")
	step("is a service now", "install", "--db", "postgres://freshet@db.example.com/freshet")
	if text, err := os.ReadFile(unitFile); err != nil || !strings.Contains(string(text), `"serve" "--db" "postgres://freshet@db.example.com/freshet"`) {
		t.Errorf("want a group's address as it is, have %v\n%s", err, text)
	}
	step("no service any more", "remove")
	// Records that aren't named are the user's, not those of whom sudo makes of him.
	t.Setenv("FRESHET_DB", "")
	t.Setenv("SUDO_USER", "daemon")
	daemon, err := user.Lookup("daemon")
	if err != nil {
		t.Fatal(err)
	}
	step("Its records are in "+daemon.HomeDir+"/.config/freshet/shop.db, and it has the rights of daemon.", "install")
	step("no service any more", "remove")
	if _, err := os.Stat(unitFile); !errors.Is(err, fs.ErrNotExist) {
		t.Error("the unit is still there")
	}
	for _, want := range []string{"enable --user freshet.service", "start --user freshet.service", "stop --user freshet.service", "disable --user freshet.service"} {
		if !strings.Contains(told(), want) {
			t.Errorf("want systemctl told %q, have\n%s", want, told())
		}
	}
}

// verify has systemd itself look at a unit, where it is there. That its user is
// known is this machine's business, not the unit's.
func verify(t *testing.T, unitFile string) {
	t.Helper()
	path, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Log("no systemd-analyze here, so that systemd itself doesn't look at the unit: apt-get install systemd")
		return
	}
	if out, err := exec.Command(path, "verify", "--man=no", unitFile).CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("systemd says %s%v", out, err)
	}
}

// A system that freshet can't be a service of, and missing rights, are said.
func TestServiceRefused(t *testing.T) {
	err := serviceError("install", &fs.PathError{Op: "open", Path: "/etc/systemd/system/freshet.service", Err: fs.ErrPermission})
	if !strings.Contains(err.Error(), "need the rights of an administrator") {
		t.Errorf("have %v", err)
	}
	all := service.AvailableSystems()
	service.ChooseSystem()
	defer service.ChooseSystem(all...)
	if status, _, errs := call(t, "service", "status"); status != failed || !strings.Contains(errs, "need Windows or a Linux with systemd") {
		t.Errorf("have %d %s", status, errs)
	}
}

// A service is told to stop and waited for.
func TestManaged(t *testing.T) {
	p := &program{done: make(chan struct{}), f: func(ctx context.Context) error { <-ctx.Done(); return nil }}
	p.ctx, p.stop = context.WithCancel(t.Context())
	if err := p.Start(nil); err != nil {
		t.Fatal(err)
	}
	select {
	case <-p.done:
		t.Error("want it running")
	default:
	}
	if err := p.Stop(nil); err != nil {
		t.Fatal(err)
	}
	<-p.done
}
