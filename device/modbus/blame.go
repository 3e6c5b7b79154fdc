package modbus

import (
	"errors"
	"fmt"

	"github.com/simonvetter/modbus"
	"witnessmark/device/port"
)

// refused reports whether the unit, or a gateway before it, understood the question and said no.
func refused(err error) bool {
	switch err {
	case modbus.ErrIllegalFunction, modbus.ErrIllegalDataAddress, modbus.ErrIllegalDataValue,
		modbus.ErrServerDeviceFailure, modbus.ErrAcknowledge, modbus.ErrServerDeviceBusy, modbus.ErrMemoryParityError,
		modbus.ErrGWPathUnavailable, modbus.ErrGWTargetFailedToRespond:
		return true
	}
	return false
}

// illegal reports whether the same question will be refused for ever.
func illegal(err error) bool {
	return err == modbus.ErrIllegalFunction || err == modbus.ErrIllegalDataAddress || err == modbus.ErrIllegalDataValue
}

// because says in one sentence what became of a question and what to do about it. refusal is what to say of one that
// is illegal.
func (p *Port) because(err error, refusal string) error {
	from := fmt.Sprintf("unit %d at %s", p.registers.Unit, p.name)
	switch {
	case p.wire.gone() != nil, errors.Is(err, errOurselves):
		return err
	case illegal(err):
		p.misfit.Store(true)
		return fmt.Errorf("%s %s in the profile: %w", from, refusal, err)
	case err == errRestless:
		p.misfit.Store(true)
		return fmt.Errorf("the field that the profile polls for changes is never the same twice at %s: let changes name the counter of readings", from)
	case err == modbus.ErrBadUnitId:
		p.misfit.Store(true)
		return fmt.Errorf("another unit answers in place of %s: correct unit in the profile: %w", from, err)
	case err == modbus.ErrRequestTimedOut:
		return fmt.Errorf("%s does not answer: switch the wrench on, look at the cable, and at unit and serial in the profile: %w", from, port.ErrUnplugged)
	case err == modbus.ErrGWPathUnavailable, err == modbus.ErrGWTargetFailedToRespond:
		return fmt.Errorf("the gateway does not reach %s: switch the wrench on, or correct unit in the profile: %w: %w", from, port.ErrUnplugged, err)
	case refused(err):
		return fmt.Errorf("%s cannot answer for a fault of its own: switch it off and on again: %w", from, err)
	}
	return fmt.Errorf("%s answers what is no Modbus: look at the cable, at serial in the profile, and whether another program asks it too: %w: %w", from, port.ErrUnplugged, err)
}

// absent is what to say of registers that cannot be read.
func (p *Port) absent(err error) string {
	table, other := "holding", "input"
	if p.registers.Input {
		table, other = other, table
	}
	last := int(p.registers.From) + int(p.registers.Count) - 1
	switch err {
	case modbus.ErrIllegalFunction:
		return fmt.Sprintf("knows no %s registers: write table: %s", table, other)
	case modbus.ErrIllegalDataAddress:
		return fmt.Sprintf("has no %s registers %d to %d: correct from, count or table", table, p.registers.From, last)
	}
	return fmt.Sprintf("does not give %d registers at once: correct count", p.registers.Count)
}
