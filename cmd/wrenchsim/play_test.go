package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"go.uber.org/goleak"

	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/profile"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// daemon is the other end of wrenches: it decodes, remembers every count once, and acknowledges.
type daemon struct {
	net.Listener
	heard chan device.Reading
}

func newDaemon(t *testing.T) *daemon {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d := &daemon{l, make(chan device.Reading, 256)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		d.serve(t)
	}()
	t.Cleanup(func() { l.Close(); <-done })
	return d
}

func (d *daemon) serve(t *testing.T) {
	p, err := profile.Builtin("semicolon-xor")
	if err != nil {
		t.Error(err)
		return
	}
	for {
		c, err := d.Accept()
		if err != nil {
			return
		}
		d.converse(c, p)
		c.Close()
	}
}

func (d *daemon) converse(c net.Conn, p *profile.Profile) {
	framer := p.NewFramer()
	chunk := make([]byte, 256)
	for {
		n, err := c.Read(chunk)
		framer.Push(chunk[:n], func(f frame.Frame) {
			if r := p.Decode("w1", f).Reading; r != nil {
				d.heard <- *r
				c.Write(p.Ack(*r)) // a wrench that is gone sends again
			}
		})
		if err != nil {
			return
		}
	}
}

// counts are the counts heard, each once, in the order of their first arrival.
func (d *daemon) counts() (once []int64) {
	seen := map[int64]bool{}
	for {
		select {
		case r := <-d.heard:
			if !seen[*r.Counter] {
				once = append(once, *r.Counter)
			}
			seen[*r.Counter] = true
		default:
			return once
		}
	}
}

func TestPlay_ExampleOverTCP(t *testing.T) {
	d := newDaemon(t)
	file := filepath.Join(t.TempDir(), "bench.yaml")
	var script, out, notes bytes.Buffer
	if code := run(t.Context(), []string{"example"}, &script, &notes); code != 0 {
		t.Fatalf("example: got exit code %d, %s", code, &notes)
	}
	if err := os.WriteFile(file, script.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	code := run(t.Context(), []string{"play", file, "--dial", d.Addr().String(), "--speed", "0", "--resend", "20ms", "--json"}, &out, &notes)
	if code != 0 {
		t.Fatalf("play: got exit code %d, %s", code, &notes)
	}
	var told []int64
	for lines := bufio.NewScanner(&out); lines.Scan(); {
		var truth sim.Truth
		if err := json.Unmarshal(lines.Bytes(), &truth); err != nil {
			t.Fatal(err)
		}
		told = append(told, *truth.Reading.Counter)
	}
	heard := d.counts()
	if len(told) != 16 || len(heard) != len(told) {
		t.Fatalf("got %d pulls told and %d readings heard, want 16 of each", len(told), len(heard))
	}
	for i := range told {
		if heard[i] != told[i] {
			t.Errorf("reading %d: got count %d, want %d", i+1, heard[i], told[i])
		}
	}
}

func TestLoad_AllAcknowledged(t *testing.T) {
	d := newDaemon(t)
	var out, notes bytes.Buffer
	args := []string{"load", "--dial", d.Addr().String(), "--wrenches", "1", "--rate", "0", "--count", "25"}
	if code := run(t.Context(), args, &out, &notes); code != 0 {
		t.Fatalf("got exit code %d, %s", code, &notes)
	}
	if got := len(d.counts()); got != 25 {
		t.Errorf("got %d readings, want 25", got)
	}
	if !strings.HasPrefix(out.String(), "25 of 25 readings acknowledged") {
		t.Errorf("got %q, want a sum of 25 of 25", &out)
	}
}

func TestRun_ExitCodes(t *testing.T) {
	wrong := filepath.Join(t.TempDir(), "wrong.yaml")
	if err := os.WriteFile(wrong, []byte("format: witnessmark/script/1\nsteps: []\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		args []string
		code int
		says string
	}{
		"help is no mistake":               {[]string{"--help"}, 0, ""},
		"a script with faults names them":  {[]string{"play", wrong, "--pty", "x"}, 2, wrong + ":1:1: found no key \"wrenches\", expected it here\n"},
		"a file that is not there":         {[]string{"play", "absent.yaml", "--pty", "x"}, 2, "read the script"},
		"no place":                         {[]string{"load"}, 2, "missing flags"},
		"two kinds of place":               {[]string{"load", "--pty", "x", "--dial", "y:1"}, 2, "can't be used together"},
		"an unknown profile":               {[]string{"load", "--pty", "x", "--profile", "morse"}, 2, "morse"},
		"a place too few":                  {[]string{"load", "--wrenches", "3", "--pty", "x", "--pty", "y"}, 2, "name one place for each wrench"},
		"an address without a port":        {[]string{"load", "--dial", "host"}, 2, "write host:port"},
		"a negative speed":                 {[]string{"play", wrong, "--pty", "x", "--speed=-1"}, 2, "a speed below 0"},
		"registers on a line that sends":   {[]string{"load", "--wrenches", "1", "--pty", "x", "--profile", "registers-swapped-floats"}, 2, "give the wrench an address with --listen"},
		"registers at any port":            {[]string{"load", "--wrenches", "1", "--listen", "127.0.0.1:0", "--profile", "registers-swapped-floats"}, 1, "with a port above 0"},
		"an address that cannot be served": {[]string{"load", "--wrenches", "1", "--listen", "192.0.2.1:1"}, 1, "listen for the daemon"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, notes bytes.Buffer
			if code := run(t.Context(), c.args, &out, &notes); code != c.code || !strings.Contains(notes.String(), c.says) {
				t.Errorf("got exit code %d, %q, want %d and %q", code, &notes, c.code, c.says)
			}
		})
	}
}

func TestPlaceFlags_Counted(t *testing.T) {
	for name, c := range map[string]struct {
		flags placeFlags
		want  []string
	}{
		"links get a number":    {placeFlags{Pty: []string{"/tmp/w"}}, []string{"/tmp/w-1", "/tmp/w-2"}},
		"ports count on":        {placeFlags{Dial: []string{"h:7001"}}, []string{"h:7001", "h:7002"}},
		"port 0 stays any port": {placeFlags{Listen: []string{"[::1]:0"}}, []string{"[::1]:0", "[::1]:0"}},
	} {
		t.Run(name, func(t *testing.T) {
			p, err := c.flags.counted(2)
			got := append(append(p.Pty, p.Listen...), p.Dial...)
			if err != nil || strings.Join(got, " ") != strings.Join(c.want, " ") {
				t.Errorf("got %v (%v), want %v", got, err, c.want)
			}
		})
	}
}
