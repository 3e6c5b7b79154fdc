package profile

import (
	"strings"

	"witnessmark/device"
)

// Encode writes a reading as the wrench does, ending included: the inverse of Decode, for a simulated wrench. The
// torque is written by its text and unit if the form has that unit, else in the form's first unit and decimals. What
// the form has no field for is left out; text that holds the separator gives a frame that Decode refuses.
func (p *Profile) Encode(r device.Reading) []byte {
	torque, spelled := p.fields.torque(&r)
	parts := make([]string, len(p.fields.list))
	for i := range p.fields.list {
		switch f := &p.fields.list[i]; f.kind {
		case kindTorque:
			parts[i] = f.signed(torque, r.Direction)
		case kindUnit:
			parts[i] = spelled
		default:
			parts[i] = grammars[f.kind].write(f, &r)
		}
	}
	line := p.check.seal(p.lead+strings.Join(parts, p.fields.separator), len(p.lead))
	return append([]byte(line), p.end.Bytes()...)
}

// torque is the number and the spelling of its unit.
func (fs fields) torque(r *device.Reading) (number, spelled string) {
	offered := []spelling{{"", fs.unit}}
	decimals := 0
	for _, f := range fs.list {
		switch f.kind {
		case kindUnit:
			offered = f.spelled
		case kindTorque:
			decimals = f.decimals
		}
	}
	for _, s := range offered {
		switch {
		case s.unit != r.Unit:
		case r.TorqueText != "":
			return plain(r.TorqueText), s.text
		default:
			return r.Torque.In(s.unit, decimals), s.text
		}
	}
	return r.Torque.In(offered[0].unit, decimals), offered[0].text
}

// plain undoes what signed does.
func plain(number string) string {
	return strings.TrimPrefix(strings.Replace(number, ",", ".", 1), "-")
}
