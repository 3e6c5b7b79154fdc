package store_test

import (
	"bytes"
	"fmt"
	"net"
	"path/filepath"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
)

// proxy stands between a store and PostgreSQL, and does what it was armed with to the next thing said that fits.
type proxy struct {
	t      *testing.T
	listen net.Listener
	socket string // of the server
	pumps  sync.WaitGroup

	mu    sync.Mutex
	armed func(*line, []byte)
	fits  func(piece []byte) bool
	lines []*line
}

// line is one connection through the proxy.
type line struct {
	client, server net.Conn
	cut            sync.Once
	deaf           chan struct{} // closed: what the server says is kept from the client
	answered       chan struct{} // closed when the server has spoken to a deaf line, or has hung up
}

// newProxy listens for one test; url is how to reach the server itself, on its Unix socket.
func newProxy(t *testing.T, url string) *proxy {
	t.Helper()
	c, err := pgx.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	listen, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &proxy{t: t, listen: listen, socket: filepath.Join(c.Host, fmt.Sprintf(".s.PGSQL.%d", c.Port))}
	p.pumps.Go(p.accept)
	t.Cleanup(p.close)
	return p
}

// url is how to reach the same database through the proxy.
func (p *proxy) url(direct string) string {
	c, err := pgx.ParseConfig(direct)
	if err != nil {
		p.t.Fatal(err)
	}
	at, ok := p.listen.Addr().(*net.TCPAddr)
	if !ok {
		p.t.Fatalf("got address %v, want one of TCP", p.listen.Addr())
	}
	return fmt.Sprintf("host=127.0.0.1 port=%d user=%s dbname=%s sslmode=disable", at.Port, c.User, c.Database)
}

// arm says what happens to the next COMMIT, instead of its being passed on.
func (p *proxy) arm(f func(l *line, commit []byte)) {
	p.armAt(func(piece []byte) bool { return piece[0] == 'Q' && bytes.HasSuffix(piece, []byte("commit\x00")) }, f)
}

// armAt is arm for what fits.
func (p *proxy) armAt(fits func(piece []byte) bool, f func(l *line, piece []byte)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.armed, p.fits = f, fits
}

func (p *proxy) accept() {
	for {
		client, err := p.listen.Accept()
		if err != nil {
			return // closed: the test is over
		}
		server, err := net.Dial("unix", p.socket)
		if err != nil {
			p.t.Errorf("reach server: %v", err)
			client.Close()
			continue
		}
		l := &line{client: client, server: server, deaf: make(chan struct{}), answered: make(chan struct{})}
		p.mu.Lock()
		p.lines = append(p.lines, l)
		p.mu.Unlock()
		p.pumps.Go(func() { p.toServer(l) })
		p.pumps.Go(l.toClient)
	}
}

// toServer passes on what the client says. A COMMIT is a simple query that comes alone: the client has waited for
// everything before it.
func (p *proxy) toServer(l *line) {
	piece := make([]byte, 64<<10)
	for {
		n, err := l.client.Read(piece)
		if err != nil {
			select {
			case <-l.deaf: // the line now belongs to what the proxy was armed with
			default:
				l.server.Close()
			}
			return
		}
		if f := p.take(piece[:n]); f != nil {
			f(l, bytes.Clone(piece[:n]))
			continue
		}
		if _, err := l.server.Write(piece[:n]); err != nil {
			l.client.Close()
			return
		}
	}
}

func (p *proxy) take(piece []byte) func(*line, []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.armed == nil || !p.fits(piece) {
		return nil
	}
	f := p.armed
	p.armed = nil
	return f
}

func (l *line) toClient() {
	piece := make([]byte, 64<<10)
	heard := sync.OnceFunc(func() { close(l.answered) })
	for {
		n, err := l.server.Read(piece)
		if err != nil {
			heard()
			l.client.Close()
			return
		}
		select {
		case <-l.deaf:
			heard()
		default:
			if _, err := l.client.Write(piece[:n]); err != nil {
				l.server.Close()
				return
			}
		}
	}
}

// deafen keeps from the client what the server says from now on.
func (l *line) deafen() { l.cut.Do(func() { close(l.deaf) }) }

func (l *line) say(t *testing.T, message []byte) {
	if _, err := l.server.Write(message); err != nil {
		t.Errorf("pass COMMIT on: %v", err)
	}
}

func (l *line) close() {
	l.client.Close()
	l.server.Close()
}

func (p *proxy) close() {
	p.listen.Close()
	p.mu.Lock()
	lines := p.lines
	p.mu.Unlock()
	for _, l := range lines {
		l.close()
	}
	p.pumps.Wait()
}
