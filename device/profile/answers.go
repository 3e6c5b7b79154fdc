package profile

import (
	"strconv"
	"time"

	"witnessmark/device"
)

// answers are what is said to the wrench; nil: this form knows no such answer.
type answers struct {
	accepted, pass, fail []piece
	refused              []piece
}

// piece is a part of an answer: text, or the field whose value stands there.
type piece struct {
	text  []byte
	field fieldKind // empty: the text
}

// spoken are the fields that an answer can repeat.
var spoken = []fieldKind{kindCounter, kindSerial, kindTag}

// Call is what is sent to the wrench again and again.
type Call struct {
	Text  []byte
	Every time.Duration
	Poll  bool // it asks for a reading: a wrench that does not answer is not there
}

// sending is what the wrench is told unasked.
type sending struct {
	start [][]byte
	calls []Call
}

// Start is what is to be sent in this order after the port was opened, endings included.
func (p *Profile) Start() [][]byte { return p.sending.start }

// Calls are what is to be sent again and again while the port is open, endings included.
func (p *Profile) Calls() []Call { return p.sending.calls }

// Ack is what is sent to the wrench once the reading is durable, ending included; nil if this form knows no
// acknowledgement or the reading lacks what it must repeat.
func (p *Profile) Ack(r device.Reading) []byte {
	if p.registers != nil {
		return p.registers.Accepted.write(&r)
	}
	return say(p.answers.accepted, &r)
}

// Tell is what tells the wrench the verdict, ending included; nil if this form knows no such answer or the reading
// lacks what it must repeat.
func (p *Profile) Tell(r device.Reading, pass bool) []byte {
	switch {
	case p.registers != nil && pass:
		return p.registers.Pass.write(&r)
	case p.registers != nil:
		return p.registers.Fail.write(&r)
	case pass:
		return say(p.answers.pass, &r)
	}
	return say(p.answers.fail, &r)
}

// Refuse is what asks the wrench to send a frame again that came broken, ending included; nil if this form knows no
// such answer, or the frame came whole: the wrench would send it for ever. Noise outside of frames is not answered
// either: an adapter that echoes would make noise of the answer.
func (p *Profile) Refuse(r device.Refusal) []byte {
	switch r.Reason {
	case device.ReasonChecksum, device.ReasonNUL, device.ReasonTooLong:
		return say(p.answers.refused, &device.Reading{})
	}
	return nil
}

// answerAnyway acknowledges a frame that came whole but is no reading: once it is kept as evidence, sending it again
// helps nobody. A frame without a check is never known to have come whole, and one of another kind is not for us: what
// it would be told might make the wrench forget a reading that has not come yet.
func (p *Profile) answerAnyway(r *device.Reading) []byte {
	if p.check.sum == nil && p.registers == nil { // Modbus has a check of its own
		return nil
	}
	return p.Ack(*r)
}

func say(pieces []piece, r *device.Reading) []byte {
	var line []byte
	for _, part := range pieces {
		value, ok := part.of(r)
		if !ok {
			return nil
		}
		line = append(line, value...)
	}
	return line
}

func (a piece) of(r *device.Reading) ([]byte, bool) {
	switch a.field {
	case kindCounter:
		if r.Counter == nil {
			return nil, false
		}
		return strconv.AppendInt(nil, *r.Counter, 10), true
	case kindSerial:
		return []byte(r.Serial), r.Serial != ""
	case kindTag:
		return []byte(r.Tag), r.Tag != ""
	}
	return a.text, true
}
