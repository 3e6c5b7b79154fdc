package profile

import (
	"bytes"
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
	case kindTorque, kindAngle, kindBattery:
		n, fault := readDecimal(t, f.sign)
		if fault != noFault {
			return f.noNumber(t, fault)
		}
		return f.readNumber(n, t, d)
	case kindCounter:
		return f.readCounter(t, d)
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

// readCount takes a whole number in binary.
func (f *field) readCount(n decimal, d *draft) *refusal {
	switch {
	case f.none != "" && n == f.nothing:
		return nil
	case f.kind != kindCounter:
		return f.readNumber(n, nil, d)
	case n.minus:
		return badForm("found %s -%d, expected a whole number", f.name, n.value)
	}
	d.counter = int64(n.value)
	d.Counter = &d.counter
	return nil
}

// readNumber takes a number that was written as t; nil: in bytes, as it is.
func (f *field) readNumber(n decimal, t []byte, d *draft) *refusal {
	n, fault := f.scale.of(n)
	if fault != noFault {
		return f.noNumber(t, fault) // t is there: a product of 32 bits and nine digits is never too large
	}
	if f.scale.factor != 0 {
		t = nil
	}
	signed := n
	if f.minus == minusLoosens && !d.turns(&n) {
		return badValue("found %s %.40s, expected the sign of the field before it", f.name, signed.or(t))
	}
	switch f.kind {
	case kindAngle:
		return f.readAngle(n, t, d)
	case kindBattery:
		return f.readBattery(n, t, d)
	}
	d.number = n
	if t == nil {
		t = signed.write(&d.room)
	}
	if !d.keep(textTorque, t) {
		return f.noNumber(t, tooLarge)
	}
	return nil
}

func (f *field) noNumber(t []byte, fault numberFault) *refusal {
	real := f.as.kind == float && f.as.size > 0
	switch {
	case fault == tooLarge && f.kind == kindTorque:
		return badValue("found %s %.40s, expected at most %s", f.name, string(t), MaxTorque)
	case fault == tooLarge && f.kind == kindAngle:
		return badValue("found %s %.40s, expected at most %s", f.name, string(t), MaxAngle)
	case fault == tooLarge, real:
		return badValue("found %s %.40s, expected a number that can be measured", f.name, string(t))
	case f.sign == ',' && bytes.IndexByte(t, '.') >= 0:
		return badForm("found %s %.40q, expected a decimal comma", f.name, string(t))
	}
	return badForm("found %s %.40q, expected a number", f.name, string(t))
}

// turns takes the sign off a number and notes the direction that it tells; false: another one was told before.
func (d *draft) turns(n *decimal) bool {
	sense := int8(1)
	if n.minus {
		sense = -1
	}
	n.minus = false
	switch {
	case n.value == 0:
		return true // nothing has no direction
	case d.sense == -sense:
		return false
	}
	d.sense = sense
	return true
}

func (f *field) readAngle(n decimal, t []byte, d *draft) *refusal {
	v, fits := n.steps(3)
	a := unit.Angle(v)
	switch {
	case !fits || a > MaxAngle || a < -MaxAngle:
		return badValue("found %s %.40s, expected at most %s", f.name, n.or(t), MaxAngle)
	case a < 0 && f.minus == minusRefused:
		return badValue("found %s %.40s, expected no minus: the sign does not tell the direction here", f.name, n.or(t))
	}
	d.angle = a
	d.Angle = &d.angle
	return nil
}

func (f *field) readBattery(n decimal, t []byte, d *draft) *refusal {
	percent, fits := n.steps(0)
	if !fits || n.minus || percent > 100 {
		return badValue("found %s %.40s, expected 0 to 100 percent", f.name, n.or(t))
	}
	d.battery = percent
	d.Battery = &d.battery
	return nil
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
