// Package audit says what a reading means. It is pure: no clock, no input or output, no SQL, no HTTP, no randomness;
// the same events in the same order give the same marks on any machine.
package audit

import (
	"encoding/json"
	"fmt"
	"time"

	"witnessmark/device"
)

// Entry is one event in the one order of events of a shop. The journal numbers entries 1, 2, 3 … without a gap.
type Entry struct {
	Seq   uint64
	At    time.Time // UTC by the daemon's clock, whole microseconds
	Event Event
}

// Event is something that happened: a reading, a refused frame, or an action of a person.
// Every kind is a flat struct; its db tags are the columns of its table, its json tags the names in journal and ledger.
type Event interface {
	// Kind names the event in the journal and the ledger, e.g. "reading".
	Kind() string
}

// ProcedureAdded brings a procedure revision into the shop. Text is the whole file.
type ProcedureAdded struct {
	Family   string `json:"family" db:"family"`
	Revision string `json:"revision" db:"revision"`
	Title    string `json:"title" db:"title"`
	Text     string `json:"text" db:"text"`
}

// PersonAdded makes a person known. Everything else names a person by the random id only, so that the name can be
// blanked one day without touching the ledger.
type PersonAdded struct {
	Person string `json:"person" db:"person"`
	Name   string `json:"name" db:"name"`
}

// LeafHidden keeps the name out of the ledger.
func (PersonAdded) LeafHidden() []string { return []string{"name"} }

// WrenchDeclared states a wrench and the calibration in force from now on.
type WrenchDeclared struct {
	Wrench      string     `json:"wrench" db:"wrench"`
	Title       string     `json:"title" db:"title"`
	Certificate string     `json:"certificate,omitempty" db:"certificate"`
	Calibrated  *time.Time `json:"calibrated,omitempty" db:"calibrated"` // nil: never said
	Due         *time.Time `json:"due,omitempty" db:"due"`               // nil: no calibration known
	RangeLow    int64      `json:"range_low" db:"range_low"`             // µN·m; both zero: not said
	RangeHigh   int64      `json:"range_high" db:"range_high"`
	Class       string     `json:"class,omitempty" db:"class"`             // type and class of ISO 6789-1, as the certificate has it
	Permissible int64      `json:"permissible,omitempty" db:"permissible"` // deviation that its class allows (ISO 6789-1), in millionths; 0: not said
	Deviation   int64      `json:"deviation,omitempty" db:"deviation"`     // measured, in millionths of the true value: above 0 it shows too much
	Uncertainty int64      `json:"uncertainty,omitempty" db:"uncertainty"` // expanded (k = 2), in millionths of the reading; 0: not said
	Cycles      int64      `json:"cycles,omitempty" db:"cycles"`           // to be calibrated again after so many readings; 0: not said
}

// BuildOpened begins one rebuild of one engine under one work order. Its id is the sequence number of this entry.
type BuildOpened struct {
	Engine    string `json:"engine" db:"engine"`
	Family    string `json:"family" db:"family"`
	Revision  string `json:"revision" db:"revision"`
	WorkOrder string `json:"work_order" db:"work_order"`
	Unit      string `json:"unit" db:"unit"`
	Person    string `json:"person" db:"person"`
}

// JointStarted puts a joint of a build on a bench; readings of that bench belong to it from now on.
// The run's id is the sequence number of this entry.
type JointStarted struct {
	Bench  string `json:"bench" db:"bench"`
	Build  uint64 `json:"build" db:"build"`
	Joint  string `json:"joint" db:"joint"`
	Person string `json:"person" db:"person"`
	// Afresh says that all was loosened and the joint is begun anew, whatever had been reached before.
	Afresh bool `json:"afresh,omitempty" db:"afresh"`
	// Continues is the unfinished run of this joint that is taken up again, 0: none, every fastener is slack.
	Continues uint64 `json:"continues,omitempty" db:"continues"`
}

// JointClosed takes the joint off the bench.
type JointClosed struct {
	Bench  string `json:"bench" db:"bench"`
	Run    uint64 `json:"run" db:"run"`
	Person string `json:"person" db:"person"`
}

// CheckAnswered answers a check of the joint on the bench. Value is the text of the measured value, empty for a yes.
type CheckAnswered struct {
	Bench    string `json:"bench" db:"bench"`
	Run      uint64 `json:"run" db:"run"`
	Check    string `json:"check_id" db:"check_id"`
	Fastener string `json:"fastener,omitempty" db:"fastener"`
	Yes      bool   `json:"yes" db:"yes"`
	Value    string `json:"value,omitempty" db:"value"`
	Person   string `json:"person" db:"person"`
}

// FastenerNamed is a person's word on which fastener a reading was. An empty Fastener says: none of this joint.
type FastenerNamed struct {
	Bench    string `json:"bench" db:"bench"`
	Run      uint64 `json:"run" db:"run"`
	Reading  uint64 `json:"reading" db:"reading"` // sequence number of the reading's entry
	Fastener string `json:"fastener" db:"fastener"`
	Person   string `json:"person" db:"person"`
}

// BoltReplaced says that a new bolt was fitted: whatever its fastener had reached is open again.
type BoltReplaced struct {
	Bench    string `json:"bench" db:"bench"`
	Run      uint64 `json:"run" db:"run"`
	Fastener string `json:"fastener" db:"fastener"`
	Reason   string `json:"reason,omitempty" db:"reason"`
	Person   string `json:"person" db:"person"`
}

// ReadingTaken is a reading that arrived at a bench.
type ReadingTaken struct {
	Bench string `json:"bench" db:"bench"`
	device.Reading
}

// FrameRefused is a frame that could not be decoded, kept as it came.
type FrameRefused struct {
	Bench string `json:"bench" db:"bench"`
	device.Refusal
}

// Kind implements Event.
func (ProcedureAdded) Kind() string { return "procedure" }

// Kind implements Event.
func (PersonAdded) Kind() string { return "person" }

// Kind implements Event.
func (WrenchDeclared) Kind() string { return "wrench" }

// Kind implements Event.
func (BuildOpened) Kind() string { return "build" }

// Kind implements Event.
func (JointStarted) Kind() string { return "joint start" }

// Kind implements Event.
func (JointClosed) Kind() string { return "joint close" }

// Kind implements Event.
func (CheckAnswered) Kind() string { return "check answer" }

// Kind implements Event.
func (FastenerNamed) Kind() string { return "fastener named" }

// Kind implements Event.
func (BoltReplaced) Kind() string { return "bolt replaced" }

// Kind implements Event.
func (ReadingTaken) Kind() string { return "reading" }

// Kind implements Event.
func (FrameRefused) Kind() string { return "refusal" }

// decoders holds, for every kind, how its JSON becomes the event again.
var decoders = map[string]func([]byte) (Event, error){
	ProcedureAdded{}.Kind(): decode[ProcedureAdded],
	PersonAdded{}.Kind():    decode[PersonAdded],
	WrenchDeclared{}.Kind(): decode[WrenchDeclared],
	BuildOpened{}.Kind():    decode[BuildOpened],
	JointStarted{}.Kind():   decode[JointStarted],
	JointClosed{}.Kind():    decode[JointClosed],
	CheckAnswered{}.Kind():  decode[CheckAnswered],
	FastenerNamed{}.Kind():  decode[FastenerNamed],
	BoltReplaced{}.Kind():   decode[BoltReplaced],
	HandedOver{}.Kind():     decode[HandedOver],
	BadgeGiven{}.Kind():     decode[BadgeGiven],
	RolesGiven{}.Kind():     decode[RolesGiven],
	TokenGiven{}.Kind():     decode[TokenGiven],
	LabelScanned{}.Kind():   decode[LabelScanned],
	KeyChanged{}.Kind():     decode[KeyChanged],
	AdapterFitted{}.Kind():  decode[AdapterFitted],
	ReadingTaken{}.Kind():   decode[ReadingTaken],
	FrameRefused{}.Kind():   decode[FrameRefused],

	ConcessionGranted{}.Kind(): decode[ConcessionGranted],
	CorrectionMade{}.Kind():    decode[CorrectionMade],
	BuildReleased{}.Kind():     decode[BuildReleased],
	BuildReopened{}.Kind():     decode[BuildReopened],

	CalibrationFound{}.Kind(): decode[CalibrationFound],
	PersonForgotten{}.Kind():  decode[PersonForgotten],
	LossAccepted{}.Kind():     decode[LossAccepted],
	ClockSet{}.Kind():         decode[ClockSet],
}

func decode[E Event](body []byte) (Event, error) {
	var e E
	if err := json.Unmarshal(body, &e); err != nil {
		return nil, err
	}
	return e, nil
}

// Encode gives the JSON body of an event for the journal.
func Encode(e Event) ([]byte, error) { return json.Marshal(e) }

// Decode is the inverse of Encode. A kind that this version does not know is an error: the journal of a newer
// version must not be read by an older one.
func Decode(kind string, body []byte) (Event, error) {
	d, ok := decoders[kind]
	if !ok {
		return nil, fmt.Errorf("unknown kind of event %q: this journal was written by a newer version, use that one", kind)
	}
	e, err := d(body)
	if err != nil {
		return nil, fmt.Errorf("decode event of kind %q: %w", kind, err)
	}
	return e, nil
}
