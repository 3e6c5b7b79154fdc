package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device"
	"witnessmark/device/capture"
	"witnessmark/device/port"
	"witnessmark/device/port/plugtest"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

// alone is a shop without a daemon.
func alone(t *testing.T) (s shop, out, log *bytes.Buffer) {
	t.Helper()
	out, log = new(bytes.Buffer), new(bytes.Buffer)
	return shop{data: filepath.Join(t.TempDir(), "none"), out: out, log: log}, out, log
}

func TestWrenchPorts(t *testing.T) {
	c := plugtest.NewComputer(t)
	used := c.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0", Serial: "A100", Maker: "Plain Works", Title: "Serial"})
	c.Plug(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0"})
	c.Builtin("ttyS0", "4")
	c.File("sys/class/tty/console/active", "ttyS0\n")
	t.Run("as a person reads it", func(t *testing.T) {
		s, out, log := alone(t)
		if err := (&wrenchPorts{}).list(t.Context(), s, c.Root); err != nil {
			t.Fatal(err)
		}
		own := port.Holders(used.Path)[0].String() // the far end of these sockets
		want := `/dev/ttyS0     port of this computer (driver serial8250, the system's console)
/dev/ttyUSB0   Plain Works Serial (1209:0001, driver plain-uart)
  used by      ` + own + `
  usb-serial   A100
  usb-socket   1-2:1.0
  by-id        /dev/serial/by-id/usb-Plain_Works_Serial_A100-if00-port0
  by-path      /dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0
/dev/ttyUSB1   USB adapter (1209:0001, driver plain-uart)
  used by      ` + own + `
  usb-socket   1-3:1.0
  by-id        /dev/serial/by-id/usb-_-if00-port0
  by-path      /dev/serial/by-path/pci-0000:00:14.0-usb-0:3:1.0-port0
`
		got := strings.ReplaceAll(out.String(), c.Root, "")
		if strings.ReplaceAll(got, " ", "") != strings.ReplaceAll(want, " ", "") || log.Len() > 0 {
			t.Errorf("got\n%s%s\nwant\n%s", got, log, want)
		}
	})
	t.Run("as a program reads it", func(t *testing.T) {
		s, out, _ := alone(t)
		if err := (&wrenchPorts{JSON: true}).list(t.Context(), s, c.Root); err != nil {
			t.Fatal(err)
		}
		var all []listedPort
		if err := json.Unmarshal(out.Bytes(), &all); err != nil || len(all) != 3 || all[1].Serial != "A100" || all[1].Node != used.Path || !all[0].Console {
			t.Errorf("got %+v, %v, want the three ports", all, err)
		}
	})
	t.Run("nothing there is said with what to check", func(t *testing.T) {
		s, out, _ := alone(t)
		if err := (&wrenchPorts{}).list(t.Context(), s, plugtest.NewComputer(t).Root); !errors.Is(err, errAttention) || !strings.Contains(out.String(), "Check the cable") {
			t.Errorf("got %q, %v, want to be told what to check", out, err)
		}
	})
}

func TestWrenchPorts_Names(t *testing.T) {
	c := plugtest.NewComputer(t)
	c.Link("dev/bench", "ttyUSB1")
	var plugs []port.Plug
	var all []listedPort
	for _, node := range []string{"ttyUSB0", "ttyUSB1", "ttyUSB2", "ttyUSB3"} {
		p := port.Plug{Node: c.Root + "/dev/" + node}
		plugs, all = append(plugs, p), append(all, listedPort{Plug: p, Holders: []port.Holder{{PID: 7, Name: "witnessmark"}}})
	}
	name([]control.Wrench{
		{ID: "TW-1", Port: "the USB socket 1-2", Where: "by the USB socket 1-2, at " + plugs[0].Node},
		{ID: "TW-2", Port: c.Root + "/dev/bench"},
		{ID: "TW-3", Port: "tcp://192.0.2.7:4001"},
	}, []control.Scanner{{ID: "S-1", Port: plugs[2].Node}}, plugs, all)
	for i, want := range []string{"wrench TW-1", "wrench TW-2", "scanner S-1", "witnessmark (process 7)"} {
		if got := all[i].users(); got != want {
			t.Errorf("%s: got %q, want %q", plugs[i].Node, got, want)
		}
	}
}

func TestWrenchListen_Output(t *testing.T) {
	recorded := write(t, "a.capture", "format: witnessmark/capture/1\nmade by: synthetic, by hand\nwrench: TW-1\n\n"+
		"0 23 31\n5 30 34 32 3b 34 35 2e 32 3b 4e 6d 3b 33 31 2e 34 0d 0a\n2315 00 80 7f\n2320 gone\n62320 21\n")
	const want = `   0.000  23 31 30 34 32 3b 34 35  2e 32 3b 4e 6d 3b 33 31  #1042;45.2;Nm;31
   0.005  2e 34 0d 0a                                       .4␍␊
          ── 2.31 s ──
   2.315  00 80 7f                                          ␀·␡
          ── gone ──
          ── 1m0s ──
  62.320  21                                                !
`
	for name, source := range map[string]string{"a file": recorded, "a spec": "capture://" + recorded} {
		t.Run(name, func(t *testing.T) {
			if code, out, errs := said(t, "wrench", "listen", source); code != exitOK || out != want || errs != "" {
				t.Errorf("got %d, %q and\n%s\nwant\n%s", code, errs, out, want)
			}
		})
	}
}

func TestWrenchListen_Refuses(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	there := write(t, "there.capture", "")
	for rule, tc := range map[string]struct {
		args string
		code int
		says string
	}{
		"a port that is not there":                  {"/dev/none", exitAttention, "nothing is plugged in at /dev/none"},
		"a name alone is one of /dev":               {"none", exitAttention, "nothing is plugged in at /dev/none"},
		"settings that are none":                    {s.Path + " --parity both", exitInput, "parity"},
		"settings beside a profile":                 {s.Path + " --baud 4800 --profile semicolon-xor", exitInput, "name a profile, or the settings"},
		"a profile that is none":                    {s.Path + " --profile nonsense", exitInput, "nonsense"},
		"a profile that reads registers":            {s.Path + " --profile registers-scaled-integers", exitInput, "wrench try"},
		"asking without a profile":                  {s.Path + " --ask", exitInput, "--profile"},
		"a capture that says nothing of its origin": {s.Path + " --record x.capture --wrench TW-1", exitInput, "--made-by"},
		"an origin without a capture":               {s.Path + " --made-by Ada", exitInput, "--record"},
		"to write over a file":                      {s.Path + " --record " + there + " --made-by Ada --wrench TW-1", exitInput, "is there already"},
		"a damaged capture":                         {there, exitInput, "there.capture"},
	} {
		t.Run(rule, func(t *testing.T) {
			code, out, errs := said(t, append([]string{"wrench", "listen"}, strings.Fields(tc.args)...)...)
			if code != tc.code || !strings.Contains(errs, tc.says) || out != "" {
				t.Errorf("got %d, %q, %q, want %d and %q", code, out, errs, tc.code, tc.says)
			}
		})
	}
}

// liveLines is an output that tells when a text has come, time and again.
type liveLines struct {
	lines chan string
	rest  string
}

func (h *liveLines) Write(b []byte) (int, error) {
	h.rest += string(b)
	for {
		line, rest, whole := strings.Cut(h.rest, "\n")
		if !whole {
			return len(b), nil
		}
		h.rest = rest
		h.lines <- line
	}
}

// until passes over lines to the one with the text.
func (h *liveLines) until(t *testing.T, text string) {
	t.Helper()
	limit := time.After(20 * time.Second)
	for {
		select {
		case line := <-h.lines:
			if strings.Contains(line, text) {
				return
			}
		case <-limit:
			t.Fatalf("got nothing with %q", text)
		}
	}
}

func TestWrenchListen_LiveAndRecorded(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	file := filepath.Join(t.TempDir(), "new.capture")
	ctx, interrupt := context.WithCancel(t.Context())
	heard := &liveLines{lines: make(chan string, 100)}
	ended := make(chan int)
	go func() {
		ended <- run(ctx, []string{"wrench", "listen", s.Path, "--profile", "semicolon-xor", "--record", file,
			"--made-by", "this test", "--wrench", "TW-1"}, heard, heard)
	}()
	heard.until(t, "listening at "+s.Path+" with 9600 baud")
	s.Send("#1;45")
	heard.until(t, "#1;45") // though the row is not full
	s.Unplug()
	heard.until(t, "gone: ")
	s.Plug()
	heard.until(t, "the port is back")
	s.Send("!on\r\n")
	heard.until(t, "!on␍␊")
	interrupt()
	if code := <-ended; code != exitOK {
		t.Errorf("got %d, want an interrupt to be a good end", code)
	}
	heard.until(t, "10 bytes in ")
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	got, err := capture.Read(f)
	if err != nil || got.MadeBy != "this test" || got.Wrench != "TW-1" || got.Profile != "semicolon-xor 1" || got.Began.IsZero() {
		t.Errorf("got %+v, %v, want a capture that says where it comes from", got, err)
	}
	var all string
	for _, c := range got.Chunks {
		if all += string(c.Bytes); c.Gone {
			all += "|"
		}
	}
	if all != "#1;45|!on\r\n" {
		t.Errorf("got %q recorded, want all that came and where the port went away", all)
	}
}

func TestWrenchListen_AsksAsTheProfileSays(t *testing.T) {
	asking := write(t, "asking.yaml", strings.Replace(polledForm, "NAME", "asking", 1))
	s := plugtest.New(t)
	s.Plug()
	ctx, interrupt := context.WithCancel(t.Context())
	ended := make(chan int)
	go func() {
		ended <- run(ctx, []string{"wrench", "listen", s.Path, "--profile", asking, "--ask"}, io.Discard, io.Discard)
	}()
	s.Expect("MODE 1\r\nD\r\nD\r\n")
	interrupt()
	<-ended
}

const polledForm = `format: witnessmark/wrench/1
name: NAME
version: "1"
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
frame: {end: CRLF, max: 64}
fields: {separator: ";", list: [{name: torque, kind: torque, unit: N·m}, {name: count, kind: counter}]}
send: {start: ["MODE 1"], poll: {text: "D", every: 30 ms}}
`

func TestWrenchListen_NothingCame(t *testing.T) {
	s := plugtest.New(t)
	s.Plug()
	if code, out, errs := said(t, "wrench", "listen", s.Path, "--for", "10ms"); code != exitAttention || out != "" || !strings.Contains(errs, "0 bytes in ") {
		t.Errorf("got %d, %q, %q, want exit code %d and to be told so", code, out, errs, exitAttention)
	}
}

func TestWrenchWhich_AtThePorts(t *testing.T) {
	c := plugtest.NewComputer(t)
	c.Plug(plugtest.Adapter{Node: "ttyUSB0", Socket: "1-2:1.0"})
	pulled := c.Plug(plugtest.Adapter{Node: "ttyUSB1", Socket: "1-3:1.0"})
	c.Builtin("ttyS0", "4")
	c.File("sys/class/tty/console/active", "ttyS0\n")
	used := c.Plug(plugtest.Adapter{Node: "ttyUSB2", Socket: "1-4:1.0"})
	device, err := os.Open(used.Device())
	if err != nil {
		t.Fatal(err)
	}
	other := exec.Command("sleep", "60")
	other.Stdin = device
	if err := errors.Join(other.Start(), device.Close()); err != nil {
		t.Fatal(err)
	}
	defer func() { other.Process.Kill(); other.Wait() }()
	s, out, log := alone(t)
	pulled.Send("#1;45.2\r\n") // lies in the port until that is opened
	err = (&wrenchWhich{For: 20 * time.Second, lineFlags: lineFlags{Baud: 4800}}).which(t.Context(), s, c.Root)
	if got := out.String(); err != nil || !strings.HasPrefix(got, pulled.Path) || !strings.Contains(got, "1-3:1.0") || !strings.Contains(got, "#1;45.2␍␊") {
		t.Errorf("got %q, %v, want the port, its names and what came", got, err)
	}
	if got := log.String(); !strings.Contains(got, "no daemon answers") || !strings.Contains(got, c.Root+"/dev/ttyUSB0, "+pulled.Path+" with 4800 baud") || strings.Contains(got, "ttyS0") {
		t.Errorf("got %q, want to be told where it listens and why there", got)
	}
	t.Run("nothing came", func(t *testing.T) {
		s, out, _ := alone(t)
		err := (&wrenchWhich{For: 300 * time.Millisecond, At: []string{pulled.Path}}).which(t.Context(), s, c.Root)
		if !errors.Is(err, errAttention) || !strings.Contains(out.String(), "nothing came at "+pulled.Path) {
			t.Errorf("got %q, %v, want to be told so", out, err)
		}
	})
	t.Run("there is no port", func(t *testing.T) {
		s, _, _ := alone(t)
		err := (&wrenchWhich{For: time.Second}).which(t.Context(), s, plugtest.NewComputer(t).Root)
		if err == nil || !strings.Contains(err.Error(), "no port to listen at") {
			t.Errorf("got %v, want to be told so", err)
		}
	})
}

// pull is a line as the wrench writes it.
func pull(t *testing.T, counter int64) string {
	t.Helper()
	p, err := profile.Builtin("semicolon-xor")
	if err != nil {
		t.Fatal(err)
	}
	return string(p.Encode(device.Reading{Torque: 45 * unit.NewtonMetre, Unit: unit.Nm, Direction: device.Tighten, Counter: &counter, Clock: "09:41:07"}))
}

func TestWrenchWhich_WithADaemon(t *testing.T) {
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := free.Addr().String()
	free.Close()
	s := plugtest.New(t)
	s.Plug()
	text := strings.NewReplacer("listen: 127.0.0.1:7680", "listen: 127.0.0.1:0", "database: private", "database: postgres://nobody@127.0.0.1:1/none",
		"tcp://10.0.0.21:4001", "tcp-listen://"+addr, "/dev/serial/by-id/usb-adapter-TW01-if00", s.Path).Replace(string(config.Example()))
	cfg, err := config.Parse("example.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	data := t.TempDir()
	d := works(t, cfg, data, time.Now)
	for _, step := range []struct{ rule, sends, says string }{
		{"a reading", pull(t, 1), "TW-01 (20 to 200 N·m, three-eighths) on bench 1: 45 N·m"},
		{"what is refused", "#1;45.2\r\n", "TW-01 (20 to 200 N·m, three-eighths) on bench 1: what it sent was refused"},
		{"what is known already", pull(t, 1), "TW-01 (20 to 200 N·m, three-eighths) on bench 1: it sent a reading again"},
	} {
		t.Run(step.rule, func(t *testing.T) {
			heard := &liveLines{lines: make(chan string, 10)}
			ended := make(chan int)
			go func() {
				ended <- run(t.Context(), []string{"wrench", "which", "--for", "20s", "--data", data}, heard, heard)
			}()
			heard.until(t, "pull the wrench now")
			s.Send(step.sends)
			heard.until(t, step.says)
			if code := <-ended; code != exitOK {
				t.Errorf("got %d, want 0", code)
			}
		})
	}
	t.Run("nothing", func(t *testing.T) {
		code, out, _ := said(t, "wrench", "which", "--for", "10ms", "--data", data)
		if code != exitAttention || !strings.Contains(out, "no wrench said anything; not connected: TW-02 (") {
			t.Errorf("got %d, %q, want to be told who could not be heard", code, out)
		}
	})
	t.Run("the ports name their wrenches", func(t *testing.T) {
		out := new(bytes.Buffer)
		client := control.NewClient(d.Socket())
		defer client.Close()
		plugs := []port.Plug{{Node: s.Device()}}
		all := []listedPort{{Plug: plugs[0]}}
		if err := (shop{data: data, out: out, log: out}).users(t.Context(), plugs, all); err != nil || all[0].users() != "wrench TW-01" {
			t.Errorf("got %+v, %v, want the wrench named", all, err)
		}
	})
}
