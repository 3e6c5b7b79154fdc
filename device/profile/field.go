package profile

import (
	"errors"
	"strconv"
	"strings"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// fieldKind is what a field of the line means.
type fieldKind string

const (
	kindTorque    fieldKind = "torque"
	kindUnit      fieldKind = "unit"
	kindAngle     fieldKind = "angle"
	kindDirection fieldKind = "direction"
	kindCounter   fieldKind = "counter"
	kindClock     fieldKind = "clock"
	kindSerial    fieldKind = "serial"
	kindTag       fieldKind = "tag"
	kindUnread    fieldKind = "unread" // stands in the line and is not looked at
)

// fields is the body of a line.
type fields struct {
	separator string
	list      []field
	unit      unit.TorqueUnit // of the torque, if no field says it
}

// field is one place in the line. Which of the settings have a meaning depends on the kind.
type field struct {
	name     string
	kind     fieldKind
	optional bool
	decimals int  // torque, angle: digits after the point that the wrench writes
	comma    bool // torque, angle: the decimal sign is a comma
	loosens  bool // torque, angle: a minus says that the wrench loosened
	spelled  []spelling
	tighten  string // direction
	loosen   string
}

// spelling is how the wrench writes a unit.
type spelling struct {
	text string
	unit unit.TorqueUnit
}

// reader and writer of every kind; read gets text that is not empty and has no blanks around it.
type grammar struct {
	read  func(f *field, text string, d *draft) *refusal
	write func(f *field, r *device.Reading) string
}

var grammars = map[fieldKind]grammar{
	kindTorque:    {readTorque, nil}, // written together with its unit
	kindUnit:      {readUnit, nil},
	kindAngle:     {readAngle, writeAngle},
	kindDirection: {readDirection, writeDirection},
	kindCounter:   {readCounter, writeCounter},
	kindClock:     text(func(r *device.Reading) *string { return &r.Clock }),
	kindSerial:    text(func(r *device.Reading) *string { return &r.Serial }),
	kindTag:       text(func(r *device.Reading) *string { return &r.Tag }),
	kindUnread: {
		func(*field, string, *draft) *refusal { return nil },
		func(*field, *device.Reading) string { return "" },
	},
}

func (f *field) read(raw string, d *draft) *refusal {
	t := strings.Trim(raw, " ")
	if t == "" {
		if f.optional || f.kind == kindUnread {
			return nil
		}
		return badForm("found nothing for %s", f.name)
	}
	return grammars[f.kind].read(f, t, d)
}

// number gives the text with a point as its decimal sign. Where the sign tells the direction, it is taken off.
func (f *field) number(t string, d *draft) (string, *refusal) {
	if f.comma {
		if strings.Contains(t, ".") {
			return "", badForm("found %s %.40q, expected a decimal comma", f.name, t)
		}
		t = strings.Replace(t, ",", ".", 1)
	}
	if !f.loosens {
		return t, nil
	}
	digits, minus := strings.CutPrefix(t, "-")
	if minus && strings.HasPrefix(digits, "+") || strings.HasPrefix(digits, "-") {
		return "", badForm("found %s %.40q, expected a number", f.name, t)
	}
	if strings.Trim(digits, "+0.") == "" {
		return digits, nil // nothing has no direction
	}
	sense := 1
	if minus {
		sense = -1
	}
	if d.sense == -sense {
		return "", badValue("found %s %.40s, expected the sign of the field before it", f.name, t)
	}
	d.sense = sense
	return digits, nil
}

func readTorque(f *field, t string, d *draft) (why *refusal) {
	d.TorqueText = t
	d.number, why = f.number(t, d)
	return why
}

func readUnit(f *field, t string, d *draft) *refusal {
	for _, s := range f.spelled {
		if s.text == t {
			d.Unit = s.unit
			return nil
		}
	}
	return badForm("found %s %.40q, expected one that the profile spells", f.name, t)
}

func readAngle(f *field, t string, d *draft) *refusal {
	number, why := f.number(t, d)
	if why != nil {
		return why
	}
	a, err := unit.AngleOf(number)
	if errors.Is(err, unit.ErrTooLarge) {
		return badValue("found %s %.40s, expected at most %s", f.name, t, MaxAngle)
	}
	if err != nil {
		return badForm("found %s %.40q, expected a number", f.name, t)
	}
	d.Angle = &a
	return nil
}

func writeAngle(f *field, r *device.Reading) string {
	if r.Angle == nil {
		return ""
	}
	return f.signed(r.Angle.In(f.decimals), r.Direction)
}

// signed writes a number with the wrench's decimal sign, and with a minus where that tells the direction.
func (f *field) signed(number string, way device.Direction) string {
	if f.loosens && way == device.Loosen && strings.Trim(number, "0.") != "" {
		number = "-" + number
	}
	if f.comma {
		number = strings.Replace(number, ".", ",", 1)
	}
	return number
}

func readDirection(f *field, t string, d *draft) *refusal {
	switch t {
	case f.tighten:
		d.Direction = device.Tighten
	case f.loosen:
		d.Direction = device.Loosen
	default:
		return badForm("found %s %.40q, expected %s or %s", f.name, t, f.tighten, f.loosen)
	}
	return nil
}

func writeDirection(f *field, r *device.Reading) string {
	if r.Direction == device.Loosen {
		return f.loosen
	}
	return f.tighten
}

func readCounter(f *field, t string, d *draft) *refusal {
	n, err := strconv.ParseUint(t, 10, 63)
	if err != nil {
		return badForm("found %s %.40q, expected a whole number", f.name, t)
	}
	count := int64(n)
	d.Counter = &count
	return nil
}

func writeCounter(_ *field, r *device.Reading) string {
	if r.Counter == nil {
		return ""
	}
	return strconv.FormatInt(*r.Counter, 10)
}

// text is a field that is kept as it was written. It must be printable: it goes into the database and onto paper.
func text(of func(*device.Reading) *string) grammar {
	return grammar{
		func(f *field, t string, d *draft) *refusal {
			if !printable(t) {
				return badForm("found %s %.40q, expected printable ASCII", f.name, t)
			}
			*of(&d.Reading) = t
			return nil
		},
		func(_ *field, r *device.Reading) string { return *of(r) },
	}
}

func printable(s string) bool {
	for _, c := range []byte(s) {
		if c < ' ' || c > '~' {
			return false
		}
	}
	return true
}
