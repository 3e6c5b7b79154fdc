package profile

import (
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
}

// draft is a reading while its fields are read; what hangs together is settled when all of them are known. Texts are
// gathered in one place and become one string at the end.
type draft struct {
	*kept
	sense  int8 // by the signs of torque and angle where they tell it: 1 tightened, -1 loosened, 0 not said
	torque struct {
		number numberRoom // with a point, and no sign that tells the direction
		length int
	}
	text  [maxText]byte
	used  int
	texts [len(textFields)]span // in text
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
)

var textFields = [...]func(*device.Reading) *string{
	textTorque: func(r *device.Reading) *string { return &r.TorqueText },
	textClock:  func(r *device.Reading) *string { return &r.Clock },
	textSerial: func(r *device.Reading) *string { return &r.Serial },
	textTag:    func(r *device.Reading) *string { return &r.Tag },
	textPreset: func(r *device.Reading) *string { return &r.Preset },
	textError:  func(r *device.Reading) *string { return &r.ErrorCode },
}

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
	for i, of := range textFields {
		if s := d.texts[i]; s.to > s.from {
			*of(&d.Reading) = all[s.from:s.to]
		}
	}
}

// settle makes the torque of its number and unit, and refuses what no wrench can measure.
func (d *draft) settle() *refusal {
	if d.sense < 0 {
		d.Direction = device.Loosen
	}
	written := d.text[d.texts[textTorque].from:d.texts[textTorque].to]
	t, err := unit.TorqueIn(string(d.torque.number[:d.torque.length]), d.Unit)
	switch {
	case errors.Is(err, unit.ErrTooLarge), t > MaxTorque:
		return badValue("found torque %.40s %s, expected at most %s", string(written), d.Unit, MaxTorque)
	case err != nil:
		return badForm("found torque %.40q, expected a number", string(written))
	case t < 0:
		return badValue("found torque %s %s, expected no minus: the sign does not tell the direction here", string(written), d.Unit)
	case d.Angle != nil && max(*d.Angle, -*d.Angle) > MaxAngle:
		return badValue("found angle %s, expected at most %s", *d.Angle, MaxAngle)
	}
	d.Torque = t
	return nil
}

// clockOf writes seconds since 1970 as RFC 3339.
func clockOf(seconds int64, into *numberRoom) []byte {
	return time.Unix(seconds, 0).UTC().AppendFormat(into[:0], time.RFC3339)
}
