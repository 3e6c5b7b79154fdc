package profile

import (
	"strconv"
	"strings"

	"witnessmark/device"
	"witnessmark/device/strictyaml"
)

// ackPart is a piece of the acknowledgement: text, or the field whose value stands there.
type ackPart struct {
	text  string
	field fieldKind // empty: the text
}

// ackable are the fields that an acknowledgement can repeat.
var ackable = []fieldKind{kindCounter, kindSerial, kindTag}

// Ack is what is sent to the wrench once the reading is durable, ending included; nil if this form knows no
// acknowledgement or the reading lacks what it must repeat.
func (p *Profile) Ack(r device.Reading) []byte {
	if p.ack == nil {
		return nil
	}
	var line []byte
	for _, part := range p.ack {
		value, ok := part.of(&r)
		if !ok {
			return nil
		}
		line = append(line, value...)
	}
	return append(line, p.end.Bytes()...)
}

func (a ackPart) of(r *device.Reading) (string, bool) {
	switch a.field {
	case kindCounter:
		if r.Counter == nil {
			return "", false
		}
		return strconv.FormatInt(*r.Counter, 10), true
	case kindSerial:
		return r.Serial, r.Serial != ""
	case kindTag:
		return r.Tag, r.Tag != ""
	}
	return a.text, true
}

// readAck reads text with placeholders: %counter%, %serial%, %tag%, and %% for a percent sign.
func readAck(n strictyaml.Node, fs fields) []ackPart {
	text, ok := n.Text()
	if !ok {
		return nil
	}
	text = controls.Replace(text)
	pieces := strings.Split(text, "%")
	if text == "" || !onWire(text) || len(pieces)%2 == 0 {
		n.Faultf("found %.40q, expected ASCII text in which %%counter%%, %%serial%% and %%tag%% stand for the "+
			"reading's own and %%%% for a percent sign", text)
		return nil
	}
	var parts []ackPart
	for i, piece := range pieces {
		part := ackPart{text: piece}
		switch {
		case i%2 == 1 && piece == "":
			part.text = "%"
		case i%2 == 1:
			part.field = fieldKind(piece)
			fs.mustAlwaysSend(n, part.field)
		}
		parts = append(parts, part)
	}
	return parts
}

// mustAlwaysSend faults a placeholder that a reading might not fill: such a reading could never be acknowledged.
func (fs fields) mustAlwaysSend(n strictyaml.Node, kind fieldKind) {
	for _, k := range ackable {
		if k != kind {
			continue
		}
		for _, f := range fs.list {
			if f.kind == kind && !f.optional {
				return
			}
		}
		n.Faultf("found %%%s%%, expected a field of that kind that is not optional", kind)
		return
	}
	n.Faultf("found %%%.40s%%, expected %%counter%%, %%serial%% or %%tag%%", kind)
}
