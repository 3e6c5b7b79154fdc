package modbus

import (
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"sync"
	"time"

	"github.com/simonvetter/modbus"
	"witnessmark/device/port"
)

// wire carries questions to a unit, one at a time, and brings back the answers.
//
//	Port ─question→ the library's client ═127.0.0.1═ wire ─bytes→ port.Port ─→ unit
//
// The library writes questions and checks answers. Its own serial port would not do: it knows no lock, hands its
// descriptor to programs that we start, takes one above 1023 with a panic, and reads nothing for ever from a port that
// was pulled. So it is connected to us, and the bytes go over a port of ours, with everything that a port promises.
//
// Only what comes while a question is open reaches the client, and after any trouble there is a fresh client: RTU has
// no number in an answer, and one that comes too late would otherwise be taken for that of the next question, and the
// next one's for that after it, for good.
type wire struct {
	port port.Port
	line line
	unit uint8
	done sync.WaitGroup // the goroutines

	asking sync.Mutex           // held through a question and its answer; guards client
	client *modbus.ModbusClient // nil: none is connected

	mu   sync.Mutex // guards what follows
	near net.Conn   // our end of the client's connection; nil: none is connected
	room int        // bytes that may still pass to the client; 0: no question is open
	last time.Time  // when bytes came last
	lost error      // why the port gives no more; nil: it is open
}

// longest bounds what may come in answer to one question; an answer has 260 bytes at most.
const longest = 1024

func newWire(p port.Port, l line, unit uint8) *wire {
	w := &wire{port: p, line: l, unit: unit}
	w.done.Go(w.listen)
	return w
}

var errOurselves = errors.New("connect to ourselves over 127.0.0.1")

// ask puts one question. Its error is that of the library, or says why the port is gone.
func (w *wire) ask(question func(*modbus.ModbusClient) error) error {
	w.asking.Lock()
	defer w.asking.Unlock()
	if err := w.meet(); err != nil {
		return err
	}
	w.admit(longest)
	err := question(w.client)
	w.admit(0)
	if err == nil || refused(err) {
		return err
	}
	w.part()
	if lost := w.gone(); lost != nil {
		return lost
	}
	return err
}

// meet connects a client where there is none. asking is held.
func (w *wire) meet() error {
	if lost := w.gone(); lost != nil || w.client != nil {
		return lost
	}
	near, client, err := connect(w.line)
	if err != nil {
		return fmt.Errorf("%w: %w", errOurselves, err)
	}
	err = client.SetUnitId(w.unit)
	w.mu.Lock()
	defer w.mu.Unlock()
	if err = errors.Join(w.lost, err); err != nil {
		return errors.Join(err, near.Close(), client.Close())
	}
	w.near, w.client = near, client
	w.done.Go(func() { w.speak(near) })
	return nil
}

// connect makes a client whose other end is ours. Until the listener is closed any program of this computer may call
// it; whoever is not this process is sent away.
func connect(l line) (net.Conn, *modbus.ModbusClient, error) {
	listener, err := net.ListenTCP("tcp4", &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		return nil, nil, err
	}
	defer listener.Close() // it has done its work
	client, err := modbus.NewClient(&modbus.ClientConfiguration{
		URL:     l.scheme + listener.Addr().String(),
		Speed:   uint(l.baud),
		Timeout: l.answer,
		Logger:  log.New(io.Discard, "", 0), // everything that it logs comes as an error too
	})
	if err != nil {
		return nil, nil, err
	}
	if err := client.Open(); err != nil {
		return nil, nil, err
	}
	near, err := accept(listener)
	if err != nil {
		return nil, nil, errors.Join(err, client.Close())
	}
	return near, client, nil
}

// accept takes the connection of this process, which has been made already.
func accept(listener *net.TCPListener) (net.Conn, error) {
	if err := listener.SetDeadline(time.Now().Add(time.Second)); err != nil {
		return nil, err
	}
	for {
		conn, err := listener.AcceptTCP()
		if err != nil {
			return nil, err
		}
		ours, err := ours(conn)
		if ours && err == nil {
			return conn, nil
		}
		conn.Close() // a stranger's
		if err != nil {
			return nil, err
		}
	}
}

// part hangs up on the client. asking is held.
func (w *wire) part() {
	w.mu.Lock()
	if w.near != nil {
		w.near.Close() // both ends are given up: nothing is left to say about them
	}
	w.near = nil
	w.mu.Unlock()
	if w.client != nil {
		w.client.Close()
	}
	w.client = nil
}

func (w *wire) admit(room int) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.room = room
}

func (w *wire) gone() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.lost
}

// silent says for how long nothing has come.
func (w *wire) silent() time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return time.Since(w.last)
}

// listen takes what the unit says until the port is gone.
func (w *wire) listen() {
	chunk := make([]byte, longest)
	for {
		n, err := w.port.Read(chunk)
		w.hear(chunk[:n])
		if err != nil {
			w.end(err)
			return
		}
	}
}

func (w *wire) hear(b []byte) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.last = time.Now()
	n := min(len(b), w.room)
	if n == 0 || w.near == nil {
		return
	}
	w.room -= n
	w.near.Write(b[:n]) // fails only where the client is gone, whose question then ends
}

// speak sends the client's questions to the unit until one of the two is gone.
func (w *wire) speak(near net.Conn) {
	chunk := make([]byte, longest)
	for {
		n, err := near.Read(chunk)
		if n > 0 {
			if _, err := w.port.Write(chunk[:n]); err != nil {
				w.end(err)
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// end books that the port is gone, and ends a question under way.
func (w *wire) end(err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.lost == nil {
		w.lost = err
	}
	if w.near != nil {
		w.near.Close() // as in part
	}
}

// close gives the port back; a question under way ends with port.ErrClosed.
func (w *wire) close() error {
	err := w.port.Close()
	w.end(fmt.Errorf("ask the wrench: %w", port.ErrClosed))
	w.asking.Lock()
	defer w.asking.Unlock()
	w.part()
	if !errors.Is(err, port.ErrStuck) {
		w.done.Wait()
	}
	return err
}
