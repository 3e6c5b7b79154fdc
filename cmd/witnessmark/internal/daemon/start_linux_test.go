package daemon

import (
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/store/journal"
)

// A start that takes long asks the service manager for more time while it gets on.
func TestDaemon_LongStart(t *testing.T) {
	_, port := newWrench(t)
	data := t.TempDir()
	j, err := journal.Open(Folder(data).Journal(), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	var group errgroup.Group
	for range 200 {
		group.Go(func() error {
			for range 40 {
				if _, err := j.Append(t.Context(), audit.FrameRefused{Bench: "1", Refusal: device.Refusal{Wrench: "TW-01", Reason: "noise", Raw: []byte("x")}}); err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err := group.Wait(); err != nil {
		t.Fatal(err)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	m := newManager(t)
	t.Setenv("NOTIFY_SOCKET", m.path)
	heard := make(chan string, 100_000)
	go func() {
		defer close(heard)
		for text := make([]byte, 512); ; {
			n, err := m.conn.Read(text)
			if err != nil {
				return
			}
			heard <- string(text[:n])
		}
	}()
	defer func(often time.Duration) { progressEvery = often }(progressEvery)
	progressEvery = time.Millisecond
	start(t, data, shopFile(port))
	if err := m.conn.Close(); err != nil {
		t.Fatal(err)
	}
	if got := <-heard; !strings.HasPrefix(got, "STATUS=the journal is worked out, ") || !strings.HasSuffix(got, "\nEXTEND_TIMEOUT_USEC=60000000") {
		t.Errorf("got %q, want how far it is and more time", got)
	}
}
