package port_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

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

// The clock of a bubble moves only while everybody waits, so the pauses are exact.
func TestRecorded_Pauses(t *testing.T) {
	const long = `format: witnessmark/capture/1
made by: synthetic, written for this test
wrench: TW-01

250    61
290    62
86400000 63
86400010 gone
`
	path := filepath.Join(t.TempDir(), "long.capture")
	if err := os.WriteFile(path, []byte(long), 0o600); err != nil {
		t.Fatal(err)
	}
	for rule, tc := range map[string]struct {
		play bool
		want []time.Duration // when each byte and the end come
	}{
		"a capture is played as fast as it is taken":                         {false, []time.Duration{0, 0, 0, 0}},
		"or with its own pauses, a long one shortened and the first one too": {true, []time.Duration{250, 290, 1290, 1300}},
	} {
		t.Run(rule, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				p, err := port.Open(t.Context(), "capture://"+path, port.Mode{}, port.Pauses(tc.play))
				if err != nil {
					t.Fatal(err)
				}
				defer p.Close()
				began := time.Now()
				for i, want := range tc.want {
					_, err := p.Read(make([]byte, 1))
					if got := time.Since(began); got != want*time.Millisecond || (err != nil) != (i == 3) {
						t.Errorf("byte %d: got it after %v with %v, want it after %d ms", i, got, err, want)
					}
				}
			})
		})
	}
	t.Run("a close ends a pause", func(t *testing.T) {
		synctest.Test(t, func(t *testing.T) {
			p, err := port.Open(t.Context(), "capture://"+path, port.Mode{}, port.Pauses(true))
			if err != nil {
				t.Fatal(err)
			}
			ended := make(chan error)
			go func() { _, err := p.Read(make([]byte, 1)); ended <- err }()
			synctest.Wait()
			p.Close()
			if err := <-ended; !errors.Is(err, port.ErrClosed) {
				t.Errorf("got %v, want %v", err, port.ErrClosed)
			}
		})
	})
}
