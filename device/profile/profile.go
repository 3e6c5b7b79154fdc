// Package profile decodes the frames of a wrench by a declarative profile, a strict YAML file that draws the wire
// layout: how the line is set, where a frame ends, what guards it, and which field stands where.
//
//	format: witnessmark/wrench/1
//	name: semicolon-xor
//	version: "1"
//	serial: {baud: 9600, bits: 8, parity: none, stop: 1}
//	frame: {end: CRLF, max: 128}
//	check: {kind: xor, over: inside, mark: "*"}
//	fields:
//	  lead: "#"
//	  separator: ";"
//	  list:
//	    - {name: count, kind: counter, width: 6}
//	    - {name: final torque, kind: torque, decimals: 1}
//	    - {name: unit, kind: unit, spelled: {Nm: N·m, LBFT: lbf·ft}}
//	    - {name: final angle, kind: angle, decimals: 1, optional: true}
//	ignore: ["!"]
//	ack: "=%counter%"
//
// A profile that is wrong is refused whole, with every fault at its line and column.
package profile

import (
	"time"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// Limits beyond which no wrench measures; a reading outside them is refused.
const (
	MaxTorque = 100_000 * unit.NewtonMetre
	MaxAngle  = 36_000 * unit.Degree
)

// Mode is how a serial port is to be set.
type Mode struct {
	Baud     int    // bits a second
	DataBits int    // 7 or 8
	Parity   string // none, odd, even, mark or space
	StopBits string // 1, 1.5 or 2
}

// Profile is how one form of wrench speaks. It does not change after Parse and may be used by several goroutines.
type Profile struct {
	Name    string
	Version string
	Title   string // for people; may be empty

	mode      Mode
	framing   framing
	check     check
	fields    fields
	ignore    [][]byte
	answers   answers
	sending   sending
	registers *Registers // nil: frames are cut from a stream
	spokenBy  string     // what Reading.Profile holds
}

// Result is what became of a frame: a reading, a refusal, or nothing because it is to be ignored.
type Result struct {
	Reading *device.Reading `json:"reading,omitempty"`
	Refusal *device.Refusal `json:"refusal,omitempty"`
	Ignored bool            `json:"ignored,omitempty"` // a line that the profile names as no reading
	// Answer acknowledges a refused frame whose check fits, once it is kept as evidence; nil: it is not to be answered.
	Answer []byte `json:"answer,omitempty"`
}

// Mode is how the wrench's serial port is to be set; the zero Mode if its registers are read over TCP only.
func (p *Profile) Mode() Mode { return p.mode }

// NewFramer cuts the stream of one connection.
func (p *Profile) NewFramer() *frame.Framer {
	return p.framing.framer(p.fits, p.noNUL())
}

// noNUL says that no byte of a frame can be NUL: numbers can, and so can a length, and a check that is sent as bytes
// (behind the end of the frame it is left out of account).
func (p *Profile) noNUL() bool {
	raw := p.check.sum != nil && !p.check.hex && !p.check.behind
	return p.fields.form != byBinary && p.framing.form != formCounted && !raw
}

// fits says whether the bytes are one frame whose check fits, or that can be read where there is none.
func (p *Profile) fits(f []byte) bool {
	l, why := p.line(f)
	if why != nil || l.ignored || p.check.sum != nil {
		return why == nil
	}
	d := draft{kept: new(kept)}
	return p.fields.read(f, l, &d) == nil
}

// settle is longer than any pause inside a frame, and shorter than a technician's patience.
const settle = 500 * time.Millisecond

// SaysSerial says that its readings hold the serial number that the wrench speaks.
func (p *Profile) SaysSerial() bool { return p.fields.has(kindSerial) }

// Gap is the silence that the Framer must be told of: it ends a frame, or the wait for the rest of one that never began
// (a false start may ask for more bytes than come). 0: no silence means anything.
func (p *Profile) Gap() time.Duration {
	if p.framing.form == formCounted {
		return settle
	}
	return p.framing.gap
}
