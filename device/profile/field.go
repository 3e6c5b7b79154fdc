package profile

import (
	"witnessmark/device/unit"
)

// fieldKind is what a field of the frame means.
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
	kindPreset    fieldKind = "preset"
	kindJudgement fieldKind = "judgement"
	kindBattery   fieldKind = "battery"
	kindError     fieldKind = "error"
	kindStored    fieldKind = "stored"
	kindFixed     fieldKind = "fixed"
	kindUnread    fieldKind = "unread" // stands in the frame and is not looked at
)

// kinds lists the field kinds in the order in which they are to be named.
var kinds = []fieldKind{kindTorque, kindUnit, kindAngle, kindDirection, kindCounter, kindClock, kindSerial, kindTag,
	kindPreset, kindJudgement, kindBattery, kindError, kindStored, kindFixed, kindUnread}

// fieldForm is how fields are found in a line.
type fieldForm string

const (
	bySeparator fieldForm = "separator"
	byColumns   fieldForm = "columns"
	byPattern   fieldForm = "pattern"
	byJSON      fieldForm = "json"
	byBinary    fieldForm = "binary"
)

// maxFields bounds the fields of a frame.
const maxFields = 48

// fields is the body of a frame.
type fields struct {
	form      fieldForm
	lead      []byte
	separator []byte
	pattern   *pattern
	paths     *member         // of JSON: the top of what is looked for
	list      []field         //
	unit      unit.TorqueUnit // of the torque, if no field says it
	reach     int             // columns, binary: how far the last field reaches
	needs     int             // columns: how far a line must reach
}

// field is one place in the frame. Which of the settings have a meaning depends on the kind and the form.
type field struct {
	name     string
	kind     fieldKind
	optional bool
	none     string    // the text which says that there is no value; empty: no text does
	nothing  decimal   // the same of a whole number in binary
	decimals int       // numbers: digits after the point that the wrench writes
	sign     byte      // numbers: the decimal sign, a point or a comma
	minus    minusRule // torque, angle
	scale    scale     // numbers
	spelled  []spelling
	is       string // fixed
	unixTime bool   // clock: seconds since 1970
	at       span   // columns: in the line, from 0; binary: in the frame
	as       number // binary
	counted  bool   // binary: it is a number, and a whole one on the wire
	path     []string
}

// minusRule is what a minus before a number means.
type minusRule string

const (
	minusRefused minusRule = "refused"
	minusKept    minusRule = "kept" // angle: it is an angle below zero
	minusLoosens minusRule = "loosens"
)

// spelling is how the wrench writes one of several meanings: a unit, a direction, a judgement, yes or no.
type spelling struct{ text, means string }

// meaning finds what is spelled so.
func (f *field) meaning(t []byte) (string, bool) {
	for i := range f.spelled {
		if string(t) == f.spelled[i].text {
			return f.spelled[i].means, true
		}
	}
	return "", false
}

// spell is the inverse of meaning.
func (f *field) spell(means string) (string, bool) {
	for _, s := range f.spelled {
		if s.means == means {
			return s.text, true
		}
	}
	return "", false
}

// span is where something stands: bytes from up to to. A place that is not there begins before 0.
type span struct{ from, to int16 }

func spanOf(from, to int) span { return span{int16(from), int16(to)} }

// spans are the places of all fields of one frame.
type spans [maxFields]span
