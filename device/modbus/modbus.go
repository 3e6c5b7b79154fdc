// Package modbus reads wrenches that keep their last reading in Modbus registers and have to be asked for it. It polls
// a block of registers and gives, for each new reading, the bytes of the block as one frame; the way from there on is
// that of any wrench.
//
//	/dev/serial/by-id/usb-…        Modbus RTU on a serial port
//	tcp://192.0.2.7:502            Modbus TCP
//	rtu+tcp://192.0.2.7:4001       Modbus RTU behind a serial server
//
//	poll: registers 100…105 = 002B 0000 01C4 …   the counter, register 100, was 002A
//	gives:                     00 2B 00 00 01 C4 …   two bytes a register, the high one first
//	is told: 00 C8 00 2B       register 200 becomes 002B: the reading is on disk
//
// New is a reading whose counter is another one than at the poll before. After opening nothing is known, so the block
// that is there is given once; whoever keeps readings knows it again if it came before. A counter of zero tells of no
// reading where it is met on opening, where every register of the block is zero, and where nothing but the counter
// changed: nothing was pulled since the wrench was switched on or its counter set back. A counter that comes round to
// zero with another pull is a reading like any other.
//
// A wrench that is pulled twice between two polls shows the second pull only; its counter tells that one is missing.
// A crash leaves nothing behind: what the wrench was not told to be on disk is still in its registers.
package modbus

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"witnessmark/device/port"
	"witnessmark/device/profile"
)

// What stands before an address.
const (
	tcpScheme     = "tcp://"
	serialServer  = "rtu+"
	captureScheme = "capture://"
)

// slowest bounds how long a question takes.
const slowest = 1200

// maxUnit is the highest address on a serial line; 0 there is a broadcast, to which nobody answers.
const maxUnit = 247

// At understands a spec for a wrench whose registers are read: a path, tcp://host:port or rtu+tcp://host:port, or
// capture:///path, which plays the blocks that it holds. Nothing is touched: the error says that spec and profile can
// never work.
func At(spec string, p *profile.Profile) (port.Place, error) {
	return at(spec, port.Mode(p.Mode()), *p.Registers())
}

func at(spec string, mode port.Mode, r profile.Registers) (port.Place, error) {
	dialled, server := strings.CutPrefix(spec, serialServer)
	dials := strings.HasPrefix(dialled, tcpScheme)
	serial := filepath.IsAbs(spec)
	switch {
	case strings.HasPrefix(spec, captureScheme):
		return port.At(spec, mode)
	case !dials && !serial:
		return nil, fmt.Errorf("port %q: write an absolute path, %shost:port or %s%shost:port, because the profile reads registers", spec, tcpScheme, serialServer, tcpScheme)
	case serial && mode == port.Mode{}:
		return nil, fmt.Errorf("port %q: the profile does not say how a serial port is to be set: write serial there", spec)
	case serial && mode.DataBits != 8:
		return nil, fmt.Errorf("port %q: found %d data bits, Modbus RTU needs 8", spec, mode.DataBits)
	case (serial || server) && mode.Baud != 0 && mode.Baud < slowest:
		return nil, fmt.Errorf("port %q: found %d baud, Modbus RTU needs %d or more", spec, mode.Baud, slowest)
	case (serial || server) && (r.Unit == 0 || r.Unit > maxUnit):
		return nil, fmt.Errorf("port %q: found unit %d, write 1 to %d on a serial line", spec, r.Unit, maxUnit)
	}
	inner, err := port.At(dialled, mode)
	if err != nil {
		return nil, err
	}
	return over(inner, spec, mode, r), nil
}

// over polls registers over whatever inner opens: by Modbus TCP or through a serial server if spec says so, else as on a
// serial port.
func over(inner port.Place, spec string, mode port.Mode, r profile.Registers) port.Place {
	l := onWire(mode.Baud, r.Count)
	switch {
	case strings.HasPrefix(spec, tcpScheme):
		l = line{scheme: "tcp://", answer: thinking + network}
	case strings.HasPrefix(spec, serialServer):
		l.answer += network
	}
	return &place{inner: inner, name: spec, registers: r, line: l}
}

// amends is the pause before a wrench is asked again that the profile was found not to fit: that takes a person, and
// readings may well have come until then, so that nobody else sees a reason to wait.
const amends = 2 * time.Second

// place is where a wrench is polled.
type place struct {
	inner     port.Place
	name      string
	registers profile.Registers
	line      line
	last      *Port // the one opened last
}

// Open returns a port only once the wrench has answered: one that is switched off behind an adapter is not there.
func (p *place) Open(ctx context.Context) (port.Port, error) {
	if p.last != nil && p.last.misfit.Load() {
		pause(ctx.Done(), amends)
	}
	p.last = nil
	inner, err := p.inner.Open(ctx)
	if err != nil {
		return nil, err
	}
	opened := newPort(inner, p.name, p.registers, p.line)
	stop := context.AfterFunc(ctx, func() { opened.Close() }) // ends the question; Close below gives its error
	_, err = opened.read()
	if !stop() {
		err = fmt.Errorf("ask the wrench at %s: %w", p.name, ctx.Err())
	}
	if err != nil {
		return nil, errors.Join(err, opened.Close())
	}
	p.last = opened
	return opened, nil
}

func (p *place) Close() error { return p.inner.Close() }

// Where tells which rule found the port, if inner knows.
func (p *place) Where() string {
	if w, tells := p.inner.(interface{ Where() string }); tells {
		return w.Where()
	}
	return ""
}

// line is how questions travel.
type line struct {
	scheme string // of the library
	baud   int
	answer time.Duration // from the question to the end of the answer, at most
}

// How long a wrench may think about an answer, and what a network may add.
const (
	thinking = 500 * time.Millisecond
	network  = 500 * time.Millisecond
)

// commonBaud is taken where a serial server sets the line and the profile does not say how.
const commonBaud = 19200

// onWire allows for the bytes themselves: a block of 125 registers takes two seconds at 1200 bits a second.
//
//	question: unit function from from count count crc crc    answer: unit function bytes … crc crc
func onWire(baud int, count uint16) line {
	if baud == 0 {
		baud = commonBaud
	}
	const bits = 11 // of a byte on the wire: start, 8 bits, parity or a second stop, stop
	bytes := 8 + 5 + 2*int(count)
	return line{"rtuovertcp://", baud, thinking + time.Duration(bytes*bits)*time.Second/time.Duration(baud)}
}

// pause waits that long, or until done; it says whether the whole time passed.
func pause(done <-chan struct{}, d time.Duration) bool {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-done:
		return false
	}
}
