// Package profile decodes the frames of a wrench by a declarative profile, a strict YAML file that draws the wire
// layout: how the line is set, where a frame ends, what guards it, and which field stands where. It also writes frames
// as the wrench does, answers them, and explains them. For the way from a manual to a profile see device/README.md; what
// follows is the whole language.
//
//	format: witnessmark/wrench/1
//	name: semicolon-xor                     # a to z, 0 to 9 and -, after the form of the line
//	version: "1"
//	title: Semicolons, exclusive-or check   # for people; optional
//	serial: {baud: 9600, bits: 8, parity: none, stop: 1}
//	frame: {end: CRLF, max: 128}
//	check: {kind: xor, over: inside, mark: "*"}
//	fields:
//	  lead: "#"
//	  separator: ";"
//	  list:
//	    - {name: count, kind: counter}
//	    - {name: final torque, kind: torque, decimals: 1}
//	    - {name: unit, kind: unit, spelled: {Nm: N·m, LBFT: lbf·ft}}
//	    - {name: final angle, kind: angle, decimals: 1, optional: true}
//	ignore: ["!"]
//	ack: "=%counter%"
//
// Text that stands on the wire is written with control characters by name (<STX> <CR> <TAB> …) and any byte as two
// hexadecimal digits (<A5>); a < itself is <3C>, and <FF> is the byte, not the form feed. Durations are a decimal number
// with ms or s. A profile that is wrong is refused whole, with every fault at its line and column.
//
// # Port
//
// serial: baud; bits 7 or 8; parity none, odd, even, mark or space; stop 1, 1.5 or 2. It is left out only where
// registers are read over TCP.
//
// # Frame
//
//	{end: CRLF, max: 128}                                   # a line: CRLF, CR, LF, or any of them
//	{end: "<ETX>", max: 128}                                # ended by other text
//	{start: "<STX>", end: "<ETX>", after: 1, max: 64}       # after: bytes of the check behind the end; 0 if left out
//	{start: "<A5><5A>", length: 28}                         # of so many bytes in all; start may be left out
//	{start: "<A5>", length: {at: 1, as: u8, plus: 4}, max: 64}
//	{gap: 40 ms, max: 64}                                   # ended by a silence of 5 ms to 1 s
//
// max is the longest frame, from 8 to 512 bytes. A length field stands at an offset from the first byte of the frame, as
// u8 or u16 (order: big or little); plus is what is to be added to have the length of the whole frame. The line of a
// frame, of which fields, lead and ignore speak, is what stands between its start (or a length field right behind that)
// and its end.
//
// # Registers
//
// Instead of frame, for a wrench that keeps its last reading in Modbus registers:
//
//	registers: {unit: 1, table: holding, from: 100, count: 12, every: 200 ms, changes: count}
//
// unit 1 to 247, over TCP also 0 or 255; table holding or input. The frame is the registers, two bytes each, the high
// one first, and its fields are binary. changes names the counter field: a change of it is a new reading. accepted:
// {register: 200, value: counter} is written once the reading is on disk (value: a number, or counter for its low 16
// bits); pass and fail, of the same form, tell the verdict.
//
// # Check
//
// kind: none, xor, sum (modulo 256), sum-negated (what brings the sum to nought), lrc (the same under the name that
// Modbus ASCII has for it; where a manual means the exclusive or of ISO 1155 by it, xor), or the published name of a
// cyclic check, such as CRC-16/MODBUS: package checksum lists them.
//
// over: what it is made of (the drawing stands at type cover):
//
//	inside    between the start of the frame (or else the lead) and the mark
//	through   and the mark too
//	line      all before the mark, start or lead included
//	{from: 2, to: -3}   a range of the frame's bytes from 0, the last one excluded; negative: from the end. Left out,
//	                    to is the end
//
// It stands at the end of the line, behind the mark if there is one; where the frame has bytes after its end, there, and
// the end is its mark; or at an offset (at: 2, negative from the end), and then over must be a range.
//
// sent: hex (digits, read in either case, written in capitals; the usual for frames that only have an end) or bytes (the
// usual for all others). order: high first (the usual) or low first. On a line of 7 bits a check of one byte has 7 bits.
//
// # Fields
//
// A list of at most 48, found in one of five ways. Blanks around a field are passed over everywhere. decimal: comma is
// for all numbers, and can be overridden at each.
//
//	separator: ";"      in order. Between blanks (" ") several in a row count as one
//	columns: true       at: 3..9 in each field, counted from 1 where the line begins, the lead included. A line that
//	                    is shorter than its fields, or has more than blanks behind them, has lost or gained bytes and
//	                    is refused; columns that no field has are not looked at
//	pattern: '…'        RE2, fits the whole line; a field takes the group of its name
//	json: true          one object a line; at: result.torque in each field, a number for the place in a list. A number is
//	                    used as it is written, true and false are text, null is nothing; the same field twice is refused
//	binary: true        at: 4, as: i32 in each field, counted in bytes from 0 where the frame begins; a frame that only
//	                    has an end cannot be binary
//
// lead: text with which the line begins (not for binary fields).
//
// as: u8 i8 u16 i16 u32 i32, f32 f64 (IEEE 754; the shortest decimal number that means the same bits), bcd1 to bcd8
// (that many bytes of two decimal digits each) or text1 to text64 (ASCII; NUL and blanks around it passed over). order:
// big (the usual), little, or word-swapped (32 bits, the low word first), for all fields beside list or at each one.
// bit: 7 or bit: 0..2 takes bits out of a u8, u16 or u32. In a frame that a gap ends the fields reach up to the check.
//
// Every field has a kind; name is for people, and what it is called in a fault. A kind stands once, fixed and unread
// any number of times, and the torque must be there:
//
//	torque      unit: N·m here, or a unit field
//	unit        spelled: {Nm: N·m, LBFT: lbf·ft}
//	angle       in degrees
//	direction   tighten: R, loosen: L; without one the wrench tightened
//	counter     the wrench's own count, a whole number
//	clock       text; epoch: unix makes RFC 3339 of a u32
//	serial      the serial number that the wrench speaks
//	tag         a fastener number
//	preset      the preset or programme that was set
//	judgement   spelled: {OK: pass, LO: low, HI: high, NG: fail}
//	battery     percent
//	error       text
//	stored      yes: M, no: L: kept in the wrench's memory and sent later
//	fixed       is: "R1" must stand there, or it is another kind of frame
//	unread      is not looked at
//
// optional: true where nothing may stand; none: "---" is the text which says that there is nothing, and where the place
// of a field is never empty (a number in bytes, a field between blanks) optional needs it. Numbers (torque, angle,
// battery) have scale: 0.1, by which the number on the wire is multiplied, exactly, and decimals, the digits after the
// point that Encode writes (1, of the battery 0). minus: of a torque refused (the usual) or loosens, of an angle kept
// (the usual), refused or loosens; where a minus loosens, it is the direction. Texts (clock, serial, tag, preset, error)
// are printable ASCII, at most 256 characters of one reading together.
//
// # Lines that are no readings
//
// ignore lists how they begin: of text the line, of binary fields the frame, and what stands between two frames. A line
// is ignored before its check is looked at; a binary frame only if its check fits.
//
// # Answers
//
//	answers:
//	  accepted: "=%counter%"   # once the reading is on disk; ack: "=%counter%" is short for it
//	  refused: "<NAK>"         # to a frame whose check does not fit, that holds a NUL, or that has no end: send it again
//	  pass: "G"                # the verdict, if the wrench can show it
//	  fail: "B"
//	  raw: true
//
// %counter%, %serial% and %tag% stand for the reading's own, %% for a percent sign. To lines the end of a line is
// appended, unless raw says that answers are sent as they stand; to other frames never. A frame whose check fits, but
// which is refused for its form or a value, is accepted too once it is kept as evidence, unless fixed says that it is
// of another kind: a wrench with a memory would send it for ever. Registers, which Modbus guards, always count as such.
//
// # Commands
//
//	send:
//	  start: ["MODE 1"]                        # after the port opened, in this order
//	  poll: {text: "D?", every: 500 ms}        # asks for a reading: a wrench that does not answer is not there
//	  alive: {text: "<ENQ>", every: 10 s}      # only keeps the wrench awake
//	  raw: true                                # as in answers
//
// # Where to find it
//
//	loading      load.go, loadframe.go, loadcheck.go, loadfields.go, loadfield.go, loadplace.go, loadspelling.go,
//	             loadanswers.go, loadregisters.go; the values that all of them read: loadvalue.go, wire.go
//	framing      framing.go
//	checks       check.go
//	fields       decode.go, and by form separator.go, columns.go, pattern.go with match.go, jsonform.go, binary.go
//	values       value.go, decimal.go; a reading while it is made: draft.go
//	writing      encode.go, compose.go
//	answers      answers.go, registers.go
//	explaining   explain.go
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
