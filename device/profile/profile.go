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

	mode     Mode
	end      frame.Ending
	longest  int
	check    check
	lead     string
	fields   fields
	ignore   []string
	ack      []ackPart // nil: this form knows no acknowledgement
	spokenBy string    // what Reading.Profile holds
}

// Result is what became of a frame; exactly one field is set.
type Result struct {
	Reading *device.Reading `json:"reading,omitempty"`
	Refusal *device.Refusal `json:"refusal,omitempty"`
	Ignored bool            `json:"ignored,omitempty"` // a line that the profile names as no reading
}

// Mode is how the wrench's serial port is to be set.
func (p *Profile) Mode() Mode { return p.mode }

// NewFramer cuts the stream of one connection.
func (p *Profile) NewFramer() *frame.Framer { return frame.NewLine(p.end, p.longest) }
