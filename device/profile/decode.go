package profile

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
)

// refusal is why a frame did not become a reading: one of the device.Reason constants and a sentence.
type refusal struct{ reason, detail string }

func badForm(format string, args ...any) *refusal {
	return &refusal{device.ReasonForm, fmt.Sprintf(format, args...)}
}

func badValue(format string, args ...any) *refusal {
	return &refusal{device.ReasonValue, fmt.Sprintf(format, args...)}
}

var faultDetails = map[string]string{
	device.ReasonTorn:    "the port closed in the middle of a frame",
	device.ReasonTooLong: "no end of frame within the %d bytes that the profile allows",
	device.ReasonNUL:     "found a NUL byte: a break, a wrong setting of the line, or a disturbed cable",
}

// Decode makes a reading of a frame, or says why there is none. The wrench is its id in this shop. Nothing in the
// result refers to the frame's bytes.
func (p *Profile) Decode(wrench string, f frame.Frame) Result {
	if f.Fault != "" {
		detail := faultDetails[f.Fault]
		if f.Fault == device.ReasonTooLong {
			detail = fmt.Sprintf(detail, p.longest)
		}
		return refused(wrench, f, &refusal{f.Fault, detail})
	}
	line := bytes.TrimRight(f.Bytes, "\r\n")
	for _, prefix := range p.ignore {
		if bytes.HasPrefix(line, []byte(prefix)) {
			return Result{Ignored: true}
		}
	}
	r, why := p.read(string(line))
	if why != nil {
		return refused(wrench, f, why)
	}
	r.Wrench, r.Raw, r.Profile = wrench, rawOf(f), p.spokenBy
	return Result{Reading: r}
}

func refused(wrench string, f frame.Frame, why *refusal) Result {
	return Result{Refusal: &device.Refusal{Wrench: wrench, Reason: why.reason, Detail: why.detail, Raw: rawOf(f)}}
}

func rawOf(f frame.Frame) []byte { return bytes.Clone(f.Bytes[:min(len(f.Bytes), device.MaxRaw)]) }

// read takes a line without its ending.
func (p *Profile) read(line string) (*device.Reading, *refusal) {
	if !strings.HasPrefix(line, p.lead) {
		return nil, badForm("found a line that begins %.20q, expected it to begin %q", line, p.lead)
	}
	body, why := p.check.strip(line, len(p.lead))
	if why != nil {
		return nil, why
	}
	return p.fields.read(body[len(p.lead):])
}

// draft is a reading while its fields are read; what hangs together is settled when all of them are known.
type draft struct {
	device.Reading
	number string // the torque with a point and no sign that tells the direction
	sense  int    // by the signs of torque and angle where they tell it: 1 tightened, -1 loosened, 0 not said
}

func (fs fields) read(body string) (*device.Reading, *refusal) {
	var d draft
	d.Direction, d.Unit = device.Tighten, fs.unit
	rest, more := body, true
	for i := range fs.list {
		if !more {
			return nil, badForm("found %d fields, expected %d", i, len(fs.list))
		}
		var text string
		text, rest, more = strings.Cut(rest, fs.separator)
		if why := fs.list[i].read(text, &d); why != nil {
			return nil, why
		}
	}
	if more {
		found := len(fs.list) + strings.Count(rest, fs.separator) + 1
		return nil, badForm("found %d fields, expected %d", found, len(fs.list))
	}
	if why := d.settle(); why != nil {
		return nil, why
	}
	return &d.Reading, nil
}

func (d *draft) settle() *refusal {
	if d.sense < 0 {
		d.Direction = device.Loosen
	}
	t, err := unit.TorqueIn(d.number, d.Unit)
	switch {
	case errors.Is(err, unit.ErrTooLarge), t > MaxTorque:
		return badValue("found torque %.40s %s, expected at most %s", d.TorqueText, d.Unit, MaxTorque)
	case err != nil:
		return badForm("found torque %.40q, expected a number", d.TorqueText)
	case t < 0:
		return badValue("found torque %s %s, expected no minus: the sign does not tell the direction here", d.TorqueText, d.Unit)
	case d.Angle != nil && max(*d.Angle, -*d.Angle) > MaxAngle:
		return badValue("found angle %s, expected at most %s", *d.Angle, MaxAngle)
	}
	d.Torque = t
	return nil
}
