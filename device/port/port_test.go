package port

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"testing"
	"time"

	"go.bug.st/serial"
	"go.uber.org/goleak"
)

// holdEnv names the port that this program is to open and hold, as another program, until its input ends.
const holdEnv = "WITNESSMARK_TEST_HOLD"

func TestMain(m *testing.M) {
	if path := os.Getenv(holdEnv); path != "" {
		os.Exit(hold(path))
	}
	goleak.VerifyTestMain(m)
}

func hold(path string) int {
	p, err := OpenSerial(context.Background(), path, nine600)
	if err != nil {
		fmt.Println(err)
		return 1
	}
	fmt.Println("held")
	io.Copy(io.Discard, os.Stdin) // ends with the test
	p.Close()
	return 0
}

var nine600 = Mode{Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"}

func TestAt_Refuses(t *testing.T) {
	for _, c := range []struct{ rule, spec, says string }{
		{"an empty spec", "", "absolute path"},
		{"a path that depends on the working folder", "ttyUSB0", "absolute path"},
		{"another scheme", "udp://192.0.2.7:4001", "absolute path"},
		{"no port number", "tcp://192.0.2.7", "host:port"},
		{"no host to dial", "tcp://:4001", "host to dial"},
		{"port 0 to dial", "tcp://192.0.2.7:0", "1 to 65535"},
		{"a port number that is none", "tcp-listen://:http", "1 to 65535"},
		{"a port number too large", "tcp-listen://:65536", "1 to 65535"},
		{"a path after the port", "tcp://192.0.2.7:4001/", "1 to 65535"},
		{"an IPv6 host without brackets", "tcp://2001:db8::7:4001", "square brackets"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			if _, err := At(c.spec, nine600); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("At(%q): got %v, want an error that says %q", c.spec, err, c.says)
			}
		})
	}
}

func TestAt_RefusesMode(t *testing.T) {
	for _, c := range []struct {
		rule string
		mode Mode
		says string
	}{
		{"nothing said", Mode{}, "parity"},
		{"unknown parity", Mode{9600, 8, "both", "1"}, "none, odd, even, mark or space"},
		{"three stop bits", Mode{9600, 8, "none", "3"}, "write 1, 1.5 or 2"},
		{"four data bits", Mode{9600, 4, "none", "1"}, "5, 6, 7 or 8"},
		{"nine data bits", Mode{9600, 9, "none", "1"}, "5, 6, 7 or 8"},
		{"no speed", Mode{0, 8, "none", "1"}, "bits a second"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			if _, err := At("/dev/ttyUSB0", c.mode); err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("got %v, want an error that says %q", err, c.says)
			}
		})
	}
	t.Run("an idle limit too short for keep-alive", func(t *testing.T) {
		if _, err := At("tcp://192.0.2.7:4001", Mode{}, Idle(time.Second)); err == nil || !strings.Contains(err.Error(), "at least 3s") {
			t.Errorf("got %v, want to be told the least", err)
		}
	})
	t.Run("TCP asks for no mode", func(t *testing.T) {
		for _, spec := range []string{"tcp://[2001:db8::7]:4001", "tcp-listen://:0"} {
			if _, err := At(spec, Mode{}); err != nil {
				t.Errorf("At(%q): got %v, want a place", spec, err)
			}
		}
	})
}

func TestMode_Settings(t *testing.T) {
	for _, c := range []struct {
		mode Mode
		want serial.Mode
	}{
		{Mode{4800, 7, "even", "2"}, serial.Mode{BaudRate: 4800, DataBits: 7, Parity: serial.EvenParity, StopBits: serial.TwoStopBits}},
		{Mode{115200, 8, "none", "1"}, serial.Mode{BaudRate: 115200, DataBits: 8, Parity: serial.NoParity, StopBits: serial.OneStopBit}},
		{Mode{9600, 8, "none", "1.5"}, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.NoParity, StopBits: serial.TwoStopBits}},
		{Mode{9600, 5, "odd", "1"}, serial.Mode{BaudRate: 9600, DataBits: 5, Parity: serial.OddParity, StopBits: serial.OneStopBit}},
		{Mode{9600, 8, "mark", "1"}, serial.Mode{BaudRate: 9600, DataBits: 8, Parity: serial.MarkParity, StopBits: serial.OneStopBit}},
		{Mode{9600, 6, "space", "1"}, serial.Mode{BaudRate: 9600, DataBits: 6, Parity: serial.SpaceParity, StopBits: serial.OneStopBit}},
	} {
		got, err := c.mode.settings()
		if err != nil || *got != c.want {
			t.Errorf("%+v: got %+v, %v, want %+v", c.mode, got, err, c.want)
		}
	}
}
