package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"witnessmark/audit/procedure"
	"witnessmark/store/cluster"
)

//go:embed procedure.yaml
var procedureText string

// crowd is how many wrenches there are; a bench each. A daemon is started with the first of them.
const crowd = 256

// shop is the shop that is measured: its wrenches stay plugged in while daemons come and go.
type shop struct {
	opt       options
	dir       string
	benches   []*bench
	api       *api
	procedure *procedure.Procedure

	had     int       // readings in the record before this run
	running int       // benches of the daemon
	cmd     *exec.Cmd // the daemon; nil: none runs
	log     *os.File
	started time.Duration // from its start until readings were taken
	writing time.Duration // … and until they were written to PostgreSQL
	cluster *cluster.Cluster
	load    string  // average of the computer at the beginning
	at64    float64 // readings a second with 64 wrenches
}

func newShop(ctx context.Context, o options, dir string) (*shop, error) {
	s := &shop{opt: o, dir: dir, api: newAPI(filepath.Join(dir, "data", "control.sock"))}
	load, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return nil, err
	}
	s.load, _, _ = strings.Cut(string(load), " ")
	if err := os.WriteFile(filepath.Join(dir, "peer.py"), []byte(peerText), 0o600); err != nil {
		return nil, err
	}
	if s.procedure, err = procedure.Parse("bench", []byte(procedureText)); err != nil {
		return nil, err
	}
	if s.log, err = os.Create(filepath.Join(dir, "log")); err != nil {
		return nil, err
	}
	for i := range crowd {
		b, err := newBench(s, i)
		if err == nil {
			err = b.plugIn(ctx)
		}
		if err != nil {
			return nil, errors.Join(err, s.close())
		}
		s.benches = append(s.benches, b)
	}
	return s, nil
}

func (s *shop) close() error {
	errs := []error{s.stop(), s.log.Close()}
	for _, b := range s.benches {
		errs = append(errs, b.port.Close())
	}
	return errors.Join(errs...)
}

func (s *shop) data(name string) string { return filepath.Join(s.dir, "data", name) }

// config is that of the first n benches.
func (s *shop) config(n int) string {
	var benches, wrenches strings.Builder
	for i := range n {
		fmt.Fprintf(&benches, "  - {id: b%d, title: Bench %d, wrenches: [w%d]}\n", i, i, i)
		fmt.Fprintf(&wrenches, "  - {id: w%d, title: Load, port: %s, profile: semicolon-xor, calibration: {certificate: C-1, done: 2020-01-01, due: 2099-12-31, range: 1..500 N·m}}\n",
			i, s.benches[i].link)
	}
	return "format: witnessmark/config/1\nshop: {id: bench, name: Bench}\nlisten: 127.0.0.1:0\nbenches:\n" + benches.String() + "wrenches:\n" + wrenches.String()
}

// start has a daemon with n wrenches, and returns when it writes to its database. One that runs is stopped first.
func (s *shop) start(ctx context.Context, n int) error {
	if err := s.stop(); err != nil {
		return err
	}
	s.running = n
	file := filepath.Join(s.dir, "shop.yaml")
	if err := os.WriteFile(file, []byte(s.config(n)), 0o600); err != nil {
		return err
	}
	s.cmd = exec.Command(s.opt.program, "serve", "--config", file, "--data", s.data(""))
	s.cmd.Stdout, s.cmd.Stderr = s.log, s.log
	s.cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGTERM} // however the bench ends
	began := time.Now()
	if err := s.cmd.Start(); err != nil {
		return err
	}
	if err := s.api.until(ctx, func(status) bool { return true }); err != nil {
		return s.wrong(err)
	}
	s.started = time.Since(began)
	if err := s.settled(ctx); err != nil {
		return err
	}
	s.writing = time.Since(began)
	var err error
	if s.cluster, err = cluster.Attach(ctx, s.data("postgres")); err != nil {
		return err
	}
	return s.api.post(ctx, "/api/v1/procedures", map[string]any{"file": "bench", "text": procedureText}, nil)
}

// settled waits until all that is journaled is in the database.
func (s *shop) settled(ctx context.Context) error {
	if err := s.api.until(ctx, func(st status) bool { return st.Database == "up" && st.Position == st.Entries }); err != nil {
		return s.wrong(err)
	}
	return nil
}

// wrong adds what the daemon said last.
func (s *shop) wrong(err error) error {
	text, _ := os.ReadFile(s.log.Name()) // what it cannot tell stands in err
	return fmt.Errorf("%w; the program said last: %s", err, text[max(0, len(text)-1000):])
}

func (s *shop) stop() error {
	if s.cmd == nil {
		return nil
	}
	err := s.cmd.Process.Signal(syscall.SIGTERM)
	if s.cluster != nil {
		err = errors.Join(err, s.cluster.Stop(context.Background())) // attached: lets go of the folder only
	}
	err = errors.Join(err, s.cmd.Wait())
	s.cmd, s.cluster = nil, nil
	s.api.forget()
	return err
}

// used is the processor time so far of the daemon that runs and of its database.
func (s *shop) used() (u used, err error) {
	if u.program, err = cpu(s.cmd.Process.Pid); err != nil {
		return u, err
	}
	server, err := s.server()
	if err != nil {
		return u, err
	}
	u.database, err = family(server)
	return u, err
}

// server is the process of the private PostgreSQL.
func (s *shop) server() (pid int, err error) {
	text, err := os.ReadFile(s.data("postgres/postmaster.pid"))
	if err == nil {
		_, err = fmt.Sscan(string(text), &pid)
	}
	return pid, err
}
