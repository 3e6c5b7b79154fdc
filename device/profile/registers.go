package profile

import (
	"encoding/binary"
	"time"

	"witnessmark/device"
)

// Registers say how a wrench is read that keeps its last reading in Modbus registers. A frame is Count registers from
// From, two bytes each, the high one first.
type Registers struct {
	Unit    uint8
	Input   bool // input registers; otherwise holding registers
	From    uint16
	Count   uint16
	Every   time.Duration
	Changes struct{ Offset, Size int } // bytes of the frame that change with every new reading

	Accepted, Pass, Fail *RegisterWrite // nil: this form knows no such answer
}

// RegisterWrite is an answer in a register.
type RegisterWrite struct {
	Register uint16
	Value    uint16
	Counter  bool // the value is the low 16 bits of the reading's counter
}

// Registers is nil unless the wrench is read by registers. Ack and Tell then give four bytes: register and value, the
// high byte first.
func (p *Profile) Registers() *Registers { return p.registers }

func (w *RegisterWrite) write(r *device.Reading) []byte {
	if w == nil || w.Counter && r.Counter == nil {
		return nil
	}
	value := w.Value
	if w.Counter {
		value = uint16(*r.Counter)
	}
	return binary.BigEndian.AppendUint16(binary.BigEndian.AppendUint16(nil, w.Register), value)
}
