package profile

import (
	"strconv"
	"strings"
	"time"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// write gives the text of every field as it stands on the wire; empty: nothing.
func (fs *fields) write(r *device.Reading) []string {
	torque, spelled := fs.torque(r)
	texts := make([]string, len(fs.list))
	for i := range fs.list {
		switch f := &fs.list[i]; f.kind {
		case kindTorque:
			texts[i] = f.signed(torque, r.Direction)
		case kindUnit:
			texts[i] = spelled
		default:
			texts[i] = f.write(r)
		}
		if texts[i] == "" {
			texts[i] = fs.list[i].none
		}
	}
	return texts
}

func (f *field) write(r *device.Reading) (text string) {
	switch f.kind {
	case kindAngle:
		return f.writeAngle(r)
	case kindDirection:
		text, _ = f.spell(string(r.Direction))
	case kindJudgement:
		text, _ = f.spell(string(r.Judged))
	case kindStored:
		text, _ = f.spell(storedNo)
		if r.Stored {
			text, _ = f.spell(storedYes)
		}
	case kindCounter:
		if r.Counter != nil {
			text = strconv.FormatInt(*r.Counter, 10)
		}
	case kindBattery:
		if r.Battery != nil {
			text = f.signed(f.scale.undo(strconv.FormatInt(*r.Battery, 10), f.decimals, false), "")
		}
	case kindFixed:
		text = f.is
	case kindClock:
		text = f.writeClock(r.Clock)
	case kindSerial:
		text = r.Serial
	case kindTag:
		text = r.Tag
	case kindPreset:
		text = r.Preset
	case kindError:
		text = r.ErrorCode
	}
	return text
}

func (f *field) writeAngle(r *device.Reading) string {
	switch {
	case r.Angle == nil:
		return ""
	case f.scale.ratio == nil:
		return f.signed(r.Angle.In(f.decimals), r.Direction)
	}
	return f.signed(f.scale.undo(r.Angle.In(3), f.decimals, false), r.Direction)
}

func (f *field) writeClock(clock string) string {
	if !f.unixTime {
		return clock
	}
	t, err := time.Parse(time.RFC3339, clock)
	if err != nil || t.Unix() < 0 {
		return ""
	}
	return strconv.FormatInt(t.Unix(), 10)
}

// signed writes a number with the wrench's decimal sign, and with a minus where that tells the direction.
func (f *field) signed(number string, way device.Direction) string {
	if f.minus == minusLoosens && way == device.Loosen && strings.Trim(number, "0.") != "" {
		number = "-" + number
	}
	if f.sign == ',' {
		number = strings.Replace(number, ".", ",", 1)
	}
	return number
}

// torque is the number on the wire and the spelling of its unit.
func (fs *fields) torque(r *device.Reading) (number, spelled string) {
	f, offered := fs.units()
	for _, s := range offered {
		switch {
		case s.means != string(r.Unit):
		case r.TorqueText != "":
			return f.scale.undo(plain(r.TorqueText), f.decimals, !f.as.whole()), s.text
		default:
			return f.rounded(r.Torque, r.Unit), s.text
		}
	}
	return f.rounded(r.Torque, unit.TorqueUnit(offered[0].means)), offered[0].text
}

// units gives the torque field, and the units in which it can be written.
func (fs *fields) units() (torque *field, offered []spelling) {
	offered = []spelling{{"", string(fs.unit)}}
	for i := range fs.list {
		switch f := &fs.list[i]; f.kind {
		case kindUnit:
			offered = f.spelled
		case kindTorque:
			torque = f
		}
	}
	return torque, offered
}

func (f *field) rounded(t unit.Torque, u unit.TorqueUnit) string {
	if f.scale.ratio == nil {
		return t.In(u, f.decimals)
	}
	return f.scale.undo(t.In(u, 18), f.decimals, false)
}

// plain undoes what signed does.
func plain(number string) string {
	return strings.TrimPrefix(strings.Replace(number, ",", ".", 1), "-")
}
