package tend

import (
	"context"
	"errors"
	"net"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"witnessmark/cmd/witnessmark/internal/control"
)

// worker is a daemon that may hang.
type worker struct{ hangs atomic.Bool }

func (w *worker) Alive(time.Duration) error {
	if w.hangs.Load() {
		return errors.New("hangs")
	}
	return nil
}

func (w *worker) Status() control.Status {
	return control.Status{Entries: 7, Position: 5, Database: "away"}
}

func TestRun(t *testing.T) {
	path := filepath.Join(t.TempDir(), "notify")
	manager, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer manager.Close()
	t.Setenv("NOTIFY_SOCKET", path)
	t.Setenv("WATCHDOG_USEC", "40000")
	hear := func() string {
		b := make([]byte, 512)
		if err := manager.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
			t.Fatal(err)
		}
		n, err := manager.Read(b)
		if err != nil {
			t.Fatal(err)
		}
		return string(b[:n])
	}
	ctx, stop := context.WithCancel(t.Context())
	Starting(zerolog.Nop(), "40 % done", time.Minute)
	if got := hear(); got != "STATUS=40 % done\nEXTEND_TIMEOUT_USEC=60000000" {
		t.Errorf("got %q of a start that takes long", got)
	}
	var w worker
	ended := make(chan struct{})
	go func() { Run(ctx, &w, zerolog.Nop()); close(ended) }()
	if got := hear(); got != "READY=1" {
		t.Errorf("got %q first, want that it is ready", got)
	}
	status, ping := hear(), hear()
	if status != "STATUS=7 entries, 5 in the database; database: away; disk: in order" || ping != "WATCHDOG=1" {
		t.Errorf("got %q and %q, want the status and a ping, though the database is away", status, ping)
	}
	w.hangs.Store(true)
	for range 2 { // one more ping may be on its way
		hear()
	}
	for range 4 {
		if got := hear(); !strings.HasPrefix(got, "STATUS=") {
			t.Errorf("got %q from one that hangs, want no ping", got)
		}
	}
	stop()
	for hear() != "STOPPING=1" {
	}
	<-ended
}
