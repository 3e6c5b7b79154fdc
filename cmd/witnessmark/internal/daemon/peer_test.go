package daemon

import (
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

// away is a configuration whose database is never there: the bench works without.
func away(file string) string {
	return strings.Replace(file, "listen:", "database: postgres://witnessmark@127.0.0.1:1/none\nlisten:", 1)
}

// peer is a wrench on the network that the test speaks for.
type peer struct {
	t    *testing.T
	form *profile.Profile
	l    net.Listener
	conn net.Conn
}

// newPeer makes one that speaks a form of the configuration.
func newPeer(t *testing.T, form string) (p *peer, port string) {
	t.Helper()
	f, err := profile.Builtin(form)
	if text, unread := os.ReadFile(form); unread == nil {
		f, err = profile.Parse(form, text)
	}
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p = &peer{t: t, form: f, l: l}
	t.Cleanup(func() { l.Close(); p.hangUp() })
	return p, "tcp://" + l.Addr().String()
}

// accept waits for the daemon to dial.
func (p *peer) accept() {
	p.t.Helper()
	p.hangUp()
	conn, err := p.l.Accept()
	if err != nil {
		p.t.Fatal(err)
	}
	p.conn = conn
}

func (p *peer) hangUp() {
	if p.conn != nil {
		p.conn.Close()
	}
}

func (p *peer) send(text string) {
	p.t.Helper()
	if _, err := p.conn.Write([]byte(text)); err != nil {
		p.t.Fatal(err)
	}
}

func (p *peer) expect(want string) {
	p.t.Helper()
	got := make([]byte, len(want))
	if err := p.conn.SetReadDeadline(time.Now().Add(time.Minute)); err != nil {
		p.t.Fatal(err)
	}
	if n, err := io.ReadFull(p.conn, got); err != nil || string(got) != want {
		p.t.Fatalf("got %q, %v, want the wrench to be sent %q", got[:n], err, want)
	}
}

// line is a pull as the wrench writes it.
func (p *peer) line(count, torque, angle int64, clock string) string {
	a := unit.Angle(angle) * unit.Degree
	return string(p.form.Encode(device.Reading{Torque: unit.Torque(torque) * unit.NewtonMetre, Unit: unit.Nm, Angle: &a,
		Direction: device.Tighten, Counter: &count, Clock: clock, Preset: "07", Judged: device.JudgedPass}))
}
