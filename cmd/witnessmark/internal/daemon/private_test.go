package daemon

import (
	"context"
	"io"
	"net"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"

	"witnessmark/store/cluster"
)

// private is a PostgreSQL that a test stops and starts. It is reached by TCP at an address that stays.
type private struct {
	t      *testing.T
	folder string
	at     net.Listener

	mu  sync.Mutex
	now *cluster.Cluster // nil: stopped
}

func newPrivate(t *testing.T) *private {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p := &private{t: t, folder: t.TempDir(), at: l}
	p.start()
	var serving sync.WaitGroup
	serving.Go(func() { p.serve(&serving) })
	t.Cleanup(func() {
		if err := l.Close(); err != nil {
			t.Error(err)
		}
		p.stop()
		serving.Wait()
	})
	return p
}

// serve joins every connection with the socket of the server, if there is one.
func (p *private) serve(serving *sync.WaitGroup) {
	for {
		from, err := p.at.Accept()
		if err != nil {
			return
		}
		to, err := p.dial()
		if err != nil {
			_ = from.Close() // as a server that is away does
			continue
		}
		serving.Go(func() { _, _ = io.Copy(to, from); _ = to.Close() })
		serving.Go(func() { _, _ = io.Copy(from, to); _ = from.Close() })
	}
}

func (p *private) dial() (net.Conn, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now == nil {
		return nil, net.ErrClosed
	}
	c, err := pgconn.ParseConfig(p.now.ConnString())
	if err != nil {
		return nil, err
	}
	network, address := pgconn.NetworkAddress(c.Host, c.Port)
	return net.Dial(network, address)
}

func (p *private) start() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	var err error
	if p.now, err = cluster.Start(context.WithoutCancel(p.t.Context()), p.folder); err != nil {
		p.t.Fatal(err)
	}
}

func (p *private) stop() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.now == nil {
		return
	}
	if err := stop(p.now); err != nil {
		p.t.Error(err)
	}
	p.now = nil
}

// in is a configuration with this database.
func (p *private) in(file string) string {
	return strings.Replace(file, "listen:", "database: postgres://witnessmark@"+p.at.Addr().String()+"/postgres?sslmode=disable\nlisten:", 1)
}
