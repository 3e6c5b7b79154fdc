package port_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/device/port"
)

const tape = `format: witnessmark/capture/1
made by: synthetic, written for this test
wrench: TW-01

0    61 62
5    63
9    gone
40   64
`

func until(t *testing.T, p port.Port) (got string, err error) {
	t.Helper()
	buf := make([]byte, 1)
	for {
		n, err := p.Read(buf)
		got += string(buf[:n])
		if err != nil {
			return got, err
		}
	}
}

func TestRecorded_PlaysEveryByteAndUnplugs(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.capture")
	if err := os.WriteFile(path, []byte(tape), 0o600); err != nil {
		t.Fatal(err)
	}
	place, err := port.At("capture://"+path, port.Mode{})
	if err != nil {
		t.Fatal(err)
	}
	defer place.Close()
	for _, want := range []string{"abc", "d"} {
		p, err := place.Open(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if n, err := p.Write([]byte("ack")); n != 3 || err != nil {
			t.Errorf("got %d, %v from a write, want it taken", n, err)
		}
		if got, err := until(t, p); got != want || !errors.Is(err, port.ErrUnplugged) {
			t.Errorf("got %q, %v, want %q and then unplugged", got, err, want)
		}
		p.Close()
		if _, err := p.Read(make([]byte, 1)); err == nil {
			t.Error("a read after the close: got no error")
		}
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := place.Open(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("after the end: got %v, want a wait that ends with the context", err)
	}
}

func TestRecorded_Refuses(t *testing.T) {
	if _, err := port.At("capture://a.capture", port.Mode{}); err == nil || !strings.Contains(err.Error(), "absolute path") {
		t.Errorf("a relative path: got %v", err)
	}
	wrong := filepath.Join(t.TempDir(), "wrong")
	if err := os.WriteFile(wrong, []byte("hello"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{wrong, wrong + "-not-there"} {
		place, err := port.At("capture://"+path, port.Mode{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := place.Open(t.Context()); err == nil || !strings.Contains(err.Error(), "the capture") {
			t.Errorf("%s: got %v", path, err)
		}
	}
}
