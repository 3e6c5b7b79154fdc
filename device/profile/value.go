package profile

import (
	"bytes"
	"errors"
	"math"
	"strconv"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// read takes what stands in a field, blanks around it passed over, into the draft.
func (f *field) read(t []byte, d *draft) *refusal {
	if len(t) == 0 || f.none != "" && string(t) == f.none {
		if f.optional {
			return nil
		}
		return badForm("found nothing for %s", f.name)
	}
	switch f.kind {
	case kindTorque:
		return f.readTorque(t, d)
	case kindAngle:
		return f.readAngle(t, d)
	case kindCounter:
		return f.readCounter(t, d)
	case kindBattery:
		return f.readBattery(t, d)
	case kindUnit, kindDirection, kindJudgement, kindStored:
		return f.readMeaning(t, d)
	case kindClock:
		return f.readClock(t, d)
	case kindSerial:
		return f.readText(textSerial, t, d)
	case kindTag:
		return f.readText(textTag, t, d)
	case kindPreset:
		return f.readText(textPreset, t, d)
	case kindError:
		return f.readText(textError, t, d)
	case kindFixed:
		if string(t) != f.is {
			why := badForm("found %s %.40q, expected %q", f.name, string(t), f.is)
			why.other = true
			return why
		}
	}
	return nil
}

func (f *field) readTorque(t []byte, d *draft) *refusal {
	number, written, why := f.number(t, d, &d.torque.number)
	if why != nil {
		return why
	}
	if !d.keep(textTorque, written) {
		return f.noNumber(t)
	}
	d.torque.length = copy(d.torque.number[:], number)
	return nil
}

func (f *field) readAngle(t []byte, d *draft) *refusal {
	var room numberRoom
	number, _, why := f.number(t, d, &room)
	if why != nil {
		return why
	}
	a, err := unit.AngleOf(string(number))
	switch {
	case errors.Is(err, unit.ErrTooLarge):
		return badValue("found %s %.40s, expected at most %s", f.name, string(t), MaxAngle)
	case err != nil:
		return f.noNumber(t)
	case a < 0 && f.minus == minusRefused:
		return badValue("found %s %.40s, expected no minus: the sign does not tell the direction here", f.name, string(t))
	}
	d.angle = a
	d.Angle = &d.angle
	return nil
}

// number gives the number with a point as its decimal sign, scaled. written is the same as the wrench wrote it; where
// the sign tells the direction, it is taken off the number.
func (f *field) number(t []byte, d *draft, room *numberRoom) (number, written []byte, why *refusal) {
	if len(t) > len(room) {
		return nil, nil, f.noNumber(t)
	}
	number, written = t, t
	if f.comma {
		if bytes.IndexByte(t, '.') >= 0 {
			return nil, nil, badForm("found %s %.40q, expected a decimal comma", f.name, string(t))
		}
		number = room[:copy(room[:], t)]
		if i := bytes.IndexByte(number, ','); i >= 0 {
			number[i] = '.'
		}
	}
	if f.scale.factor != 0 {
		product, ok, large := f.scale.times(number, room)
		switch {
		case !ok:
			return nil, nil, f.noNumber(t)
		case large:
			return nil, nil, badValue("found %s %.40s, expected a number with fewer digits", f.name, string(t))
		}
		number, written = product, product
	}
	if f.minus == minusLoosens {
		number, why = f.sense(number, t, d)
	}
	return number, written, why
}

func (f *field) noNumber(t []byte) *refusal {
	return badForm("found %s %.40q, expected a number", f.name, string(t))
}

// sense takes the sign off a number and notes the direction that it tells.
func (f *field) sense(number, t []byte, d *draft) ([]byte, *refusal) {
	digits, minus := bytes.CutPrefix(number, []byte("-"))
	if len(digits) == 0 || minus && digits[0] == '+' || digits[0] == '-' {
		return nil, f.noNumber(t)
	}
	if len(bytes.Trim(digits, "+0.")) == 0 {
		return digits, nil // nothing has no direction
	}
	sense := int8(1)
	if minus {
		sense = -1
	}
	if d.sense == -sense {
		return nil, badValue("found %s %.40s, expected the sign of the field before it", f.name, string(t))
	}
	d.sense = sense
	return digits, nil
}

func (f *field) readCounter(t []byte, d *draft) *refusal {
	n, ok := whole(t)
	if !ok {
		return badForm("found %s %.40q, expected a whole number", f.name, string(t))
	}
	d.counter = n
	d.Counter = &d.counter
	return nil
}

// whole reads a whole number below 2^63.
func whole(t []byte) (n int64, ok bool) {
	for _, c := range t {
		digit := int64(c) - '0'
		if digit < 0 || digit > 9 || n > (math.MaxInt64-digit)/10 {
			return 0, false
		}
		n = n*10 + digit
	}
	return n, len(t) > 0
}

func (f *field) readBattery(t []byte, d *draft) *refusal {
	var room numberRoom
	number, _, why := f.number(t, d, &room)
	if why != nil {
		return why
	}
	percent, ok := rounded(number)
	switch {
	case !ok:
		return f.noNumber(t)
	case percent > 100:
		return badValue("found %s %.40s, expected 0 to 100 percent", f.name, string(t))
	}
	d.battery = percent
	d.Battery = &d.battery
	return nil
}

// rounded reads a number that is not below zero, a half rounded up.
func rounded(t []byte) (n int64, ok bool) {
	front, fraction, point := bytes.Cut(t, []byte("."))
	if point {
		if _, ok := whole(fraction); !ok {
			return 0, false
		}
	}
	n, ok = whole(front)
	if ok && point && fraction[0] >= '5' && n < math.MaxInt64 {
		n++
	}
	return n, ok
}

func (f *field) readMeaning(t []byte, d *draft) *refusal {
	means, ok := f.meaning(t)
	if !ok {
		return badForm("found %s %.40q, expected %s", f.name, string(t), f.spellings())
	}
	switch f.kind {
	case kindUnit:
		d.Unit = unit.TorqueUnit(means)
	case kindDirection:
		d.Direction = device.Direction(means)
	case kindJudgement:
		d.Judged = device.Judgement(means)
	case kindStored:
		d.Stored = means == storedYes
	}
	return nil
}

func (f *field) spellings() string {
	texts := make([]string, len(f.spelled))
	for i, s := range f.spelled {
		texts[i] = s.text
	}
	return either(texts)
}

func (f *field) readClock(t []byte, d *draft) *refusal {
	if !f.unixTime {
		return f.readText(textClock, t, d)
	}
	seconds, err := strconv.ParseInt(string(t), 10, 33)
	if err != nil {
		return badForm("found %s %.40q, expected seconds since 1970", f.name, string(t))
	}
	var room numberRoom
	return f.readText(textClock, clockOf(seconds, &room), d)
}

// readText keeps a text as it was written. It must be printable: it goes into the database and onto paper.
func (f *field) readText(which int, t []byte, d *draft) *refusal {
	if !printable(t) {
		return badForm("found %s %.40q, expected printable ASCII", f.name, string(t))
	}
	if !d.keep(which, t) {
		return badForm("found %s of %d characters, expected at most %d in all texts together", f.name, len(t), maxText)
	}
	return nil
}

func printable(t []byte) bool {
	for _, c := range t {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return true
}

// trim passes over blanks.
func trim(b []byte, s span) []byte {
	from, to := int(s.from), int(s.to)
	for from < to && b[from] == ' ' {
		from++
	}
	for from < to && b[to-1] == ' ' {
		to--
	}
	return b[from:to]
}
