package daemon

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"golang.org/x/sync/errgroup"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/store/journal"
)

// A start that takes long asks the service manager for more time: for a look at a long journal, and then while it gets on.
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
	long, err := os.Stat(Folder(data).Journal())
	if err != nil {
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
	defer func(often time.Duration, slow int64) { progressEvery, slowDisk = often, slow }(progressEvery, slowDisk)
	progressEvery, slowDisk = time.Millisecond, 100_000
	start(t, data, shopFile(port))
	if err := m.conn.Close(); err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("\nEXTEND_TIMEOUT_USEC=%d", (time.Minute + time.Duration(long.Size()/slowDisk)*time.Second).Microseconds())
	if got := <-heard; !strings.HasPrefix(got, "STATUS=every page of the journal is looked at") || !strings.HasSuffix(got, want) {
		t.Errorf("got %q, want what is done and %q", got, want)
	}
	if got := <-heard; !strings.HasPrefix(got, "STATUS=the journal is worked out, ") || !strings.HasSuffix(got, "\nEXTEND_TIMEOUT_USEC=60000000") {
		t.Errorf("got %q, want how far it is and more time", got)
	}
}
