package profile

import (
	"bytes"
	"errors"
	"time"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// kept is a reading and what it points to, in one piece of memory.
type kept struct {
	device.Reading
	angle   unit.Angle
	counter int64
	battery int64
	raw     [rawRoom]byte // the frame, if it is short
}

// rawRoom spares most frames a piece of memory of their own.
const rawRoom = 96

// keepRaw copies the frame's bytes.
func (k *kept) keepRaw(f []byte) []byte {
	if len(f) > len(k.raw) {
		return bytes.Clone(f[:min(len(f), device.MaxRaw)])
	}
	n := copy(k.raw[:], f)
	return k.raw[:n:n]
}

// draft is a reading while its fields are read; what hangs together is settled when all of them are known. Texts are
// gathered in one place and become one string at the end.
type draft struct {
	*kept
	sense  int8    // by the signs of torque and angle where they tell it: 1 tightened, -1 loosened, 0 not said
	number decimal // the torque, without a sign that tells the direction
	text   [maxText]byte
	used   int
	texts  [numTexts]span // in text
	room   numberRoom     // of the field that is being read
}

// maxText bounds all texts of a reading together.
const maxText = 256

// The texts of a reading.
const (
	textTorque = iota
	textClock
	textSerial
	textTag
	textPreset
	textError
	numTexts
)

// storedYes and storedNo are what a field of kind stored means.
const (
	storedYes = "yes"
	storedNo  = "no"
)

// keep gathers a text; false: there is no more room.
func (d *draft) keep(which int, t []byte) bool {
	if len(t) > len(d.text)-d.used {
		return false
	}
	d.texts[which] = spanOf(d.used, d.used+len(t))
	d.used += copy(d.text[d.used:], t)
	return true
}

// finish hands the texts over.
func (d *draft) finish() {
	all := string(d.text[:d.used])
	of := func(which int) string { return all[d.texts[which].from:d.texts[which].to] }
	d.TorqueText, d.Clock, d.Serial = of(textTorque), of(textClock), of(textSerial)
	d.Tag, d.Preset, d.ErrorCode = of(textTag), of(textPreset), of(textError)
}

// settle makes the torque of its number and unit, and refuses what no wrench can measure.
func (d *draft) settle() *refusal {
	if d.sense < 0 {
		d.Direction = device.Loosen
	}
	written := d.text[d.texts[textTorque].from:d.texts[textTorque].to]
	t, err := d.measure()
	switch {
	case errors.Is(err, unit.ErrTooLarge), t > MaxTorque:
		return badValue("found torque %.40s %s, expected at most %s", string(written), d.Unit, MaxTorque)
	case err != nil:
		return badForm("%s", err.Error())
	case t < 0:
		return badValue("found torque %s %s, expected no minus: the sign does not tell the direction here", string(written), d.Unit)
	}
	d.Torque = t
	return nil
}

// measure is the torque of its number and unit. That of the usual unit is the number itself, in steps of 1 µN·m.
func (d *draft) measure() (unit.Torque, error) {
	if d.Unit == unit.Nm {
		if v, fits := d.number.steps(6); fits {
			return unit.Torque(v), nil
		}
	}
	return unit.TorqueIn(string(d.number.write(&d.room)), d.Unit)
}

// clockOf writes seconds since 1970 as RFC 3339.
func clockOf(seconds int64, into *numberRoom) []byte {
	return time.Unix(seconds, 0).UTC().AppendFormat(into[:0], time.RFC3339)
}
