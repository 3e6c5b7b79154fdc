// Package control is the way people's commands reach the running daemon: HTTP and JSON under /api/v1 over a unix
// socket in the data folder. Whoever may open the socket may act; a person's name is taken at their word. Package web
// serves the same over the network to whoever proves who they are, and As says who that is.
//
//	GET    /api/v1/status                  → Status
//	GET    /api/v1/procedures              → []Procedure
//	POST   /api/v1/procedures              NewProcedure → Procedure
//	GET    /api/v1/builds                  → []Build
//	POST   /api/v1/builds                  NewBuild → Build
//	GET    /api/v1/builds/{n}/review       → bench.Review
//	POST   /api/v1/builds/{n}/concessions  Concede → bench.Review
//	POST   /api/v1/builds/{n}/release      Release → bench.Review
//	DELETE /api/v1/builds/{n}/release      Reopen → bench.Review
//	POST   /api/v1/corrections             Correct → Corrected
//	GET    /api/v1/benches                 → []Bench
//	GET    /api/v1/benches/{id}            → bench.View
//	POST   /api/v1/benches/{id}/joint      Start → bench.View
//	DELETE /api/v1/benches/{id}/joint      Close → bench.View
//	POST   /api/v1/benches/{id}/answers    Answer → bench.View
//	POST   /api/v1/benches/{id}/names      Name → bench.View
//	POST   /api/v1/benches/{id}/adapter    Fit → bench.View
//	DELETE /api/v1/benches/{id}/adapter    TakeOff → bench.View
//	POST   /api/v1/benches/{id}/renewals   Renew → bench.View
//	POST   /api/v1/benches/{id}/hand       HandOver → bench.View
//	GET    /api/v1/benches/{id}/watch      → server-sent events "bench", each an Update; the first is the present state
//	GET    /api/v1/wrenches                → []Wrench
//	GET    /api/v1/badges                  → []Badge
//	POST   /api/v1/badges                  NewBadge → Badge
//	GET    /api/v1/scanners                → []Scanner
//	POST   /api/v1/ledger/key              NewKey → KeyChange
//	POST   /api/v1/findings                Finding → Recorded
//	POST   /api/v1/forgotten               Forget → Recorded
//	GET    /api/v1/tokens                  → []Token
//	POST   /api/v1/tokens                  NewToken → Token
//	DELETE /api/v1/tokens/{name}           TakeToken → Token
//
// and over the socket alone, never over the network:
//
//	GET    /api/v1/backup/journal          → the journal as it is now, in the form of journal.ReadCopy
//	POST   /api/v1/passwords               NewPassword → PasswordGiven
//
// Every refusal is {"error": sentence} with a status of 4xx: 400 the request is malformed, 404 no such thing, 409 it
// cannot be done now. 5xx: the daemon cannot, whatever is asked.
package control

import (
	"context"
	"errors"
	"net/http"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/label"
)

// Status says how far the readings and actions have got.
type Status struct {
	Shop     string `json:"shop"`
	Entries  uint64 `json:"entries"`          // entries in the journal
	Position uint64 `json:"position"`         // the last one that is in PostgreSQL, as far as is known
	Database string `json:"database"`         // "up", or why not
	Disk     string `json:"disk,omitempty"`   // what is wrong with the disk of the journal; empty: nothing
	Clock    string `json:"clock,omitempty"`  // what is to be known of the clock of the computer; empty: a time service keeps it right
	Listen   string `json:"listen,omitempty"` // address of the public page
	Version  string `json:"version"`
}

// Procedure is one revision in the shop. Used: a build was opened on it.
type Procedure struct {
	Family   string `json:"family"`
	Revision string `json:"revision"`
	Title    string `json:"title"`
	Used     bool   `json:"used"`
}

// NewProcedure asks to add a revision. File is the name to show in faults.
type NewProcedure struct {
	File string `json:"file"`
	Text string `json:"text"`
}

// Build is an opened build.
type Build struct {
	ID uint64 `json:"id"`
	audit.BuildOpened
	Standing bench.Standing `json:"standing"`
	InDoubt  string         `json:"in_doubt,omitempty"` // a sentence where a wrench was found bad, before or after the release
}

// NewBuild asks to open a build. Without a revision: the one of the family that was added last.
type NewBuild struct {
	Engine    string `json:"engine"`
	Family    string `json:"family"`
	Revision  string `json:"revision,omitempty"`
	WorkOrder string `json:"work_order"`
	Unit      string `json:"unit,omitempty"`
	Person    string `json:"person"` // the person's name
}

// Bench is a configured bench.
type Bench struct {
	ID       string   `json:"id"`
	Title    string   `json:"title"`
	Wrenches []string `json:"wrenches"`
}

// Start asks to put a joint of a build on the bench: one that was left unfinished is taken up again, unless Afresh says
// that all of it was loosened. Here, as in Close, Answer, Name, Fit, TakeOff and Renew, an empty Person is the one who is
// signed in at the bench.
type Start struct {
	Build  uint64 `json:"build"`
	Joint  string `json:"joint"`
	Afresh bool   `json:"afresh,omitempty"`
	Person string `json:"person"`
}

// Close asks to take the joint off the bench.
type Close struct {
	Person string `json:"person"`
}

// Answer answers a check of the joint on the bench. Value is the measured value with its unit, empty for yes or no.
type Answer struct {
	Check    string `json:"check"`
	Fastener string `json:"fastener,omitempty"`
	Yes      bool   `json:"yes"`
	Value    string `json:"value,omitempty"`
	Person   string `json:"person"`
}

// Name says which fastener a reading was. Reading 0 is the last one of the bench; an empty Fastener: none of this joint.
type Name struct {
	Reading  uint64 `json:"reading,omitempty"`
	Fastener string `json:"fastener"`
	Person   string `json:"person"`
}

// Fit says what stands between a wrench and the fastener at the bench from now on. Lengths are with their unit, 400 mm; an
// empty Wrench is every wrench at the bench that has no adapter of its own, an empty Angle is 0°.
type Fit struct {
	Adapter      string `json:"adapter"`
	Wrench       string `json:"wrench,omitempty"`
	WrenchLength string `json:"wrench_length"`
	Extension    string `json:"extension"`
	Angle        string `json:"angle,omitempty"`
	Person       string `json:"person"`
}

// TakeOff says that nothing stands there any more.
type TakeOff struct {
	Wrench string `json:"wrench,omitempty"`
	Person string `json:"person"`
}

// Renew says that new bolts were fitted. One that cannot be is refused with all the others.
type Renew struct {
	Fasteners []string `json:"fasteners"`
	Reason    string   `json:"reason,omitempty"`
	Person    string   `json:"person"`
}

// HandOver asks to put the joint on the bench into the hands of Person: the readings from then on are theirs. Over the network
// that is who asks, as nobody else can say that they have come.
type HandOver struct {
	Person string `json:"person"`
}

// Wrench is a configured wrench and how it fares. What is counted is counted since the daemon started.
type Wrench struct {
	ID       string           `json:"id"`
	Title    string           `json:"title"`
	Bench    string           `json:"bench"`
	Port     string           `json:"port"` // as configured, or what it is found by
	Profile  string           `json:"profile"`
	State    string           `json:"state"`               // fresh, stale or gone
	Since    time.Time        `json:"since"`               // when it came into that state
	Up       bool             `json:"up"`                  // its port is open
	Reason   string           `json:"reason,omitempty"`    // why it is not fresh
	Where    string           `json:"where,omitempty"`     // by which rule its port was found and where that is; empty: it is looked for nowhere else
	LastSeen *time.Time       `json:"last_seen,omitempty"` // when bytes last came; nil: not yet
	Readings int64            `json:"readings"`            // that were recorded since the daemon started
	Last     string           `json:"last,omitempty"`      // the newest of these, for people: 45.2 N·m, 31°
	Resent   int              `json:"resent"`              // readings that came again
	Skipped  int64            `json:"skipped"`             // counts of the wrench that never came
	Refused  map[string]int64 `json:"refused,omitempty"`   // frames that did not become a reading, by reason
	Epoch    int64            `json:"epoch"`               // how often its counter has begun anew, since we know it
	Due      *time.Time       `json:"due,omitempty"`       // when its calibration ends; nil: never said
	Cycles   int64            `json:"cycles,omitempty"`    // … or after so many readings; 0: never said
	Pulls    int64            `json:"pulls,omitempty"`     // that it has taken of these
	// Uncalibrated says why its next reading would be out of calibration; empty: it would not, as far as is known.
	Uncalibrated string `json:"uncalibrated,omitempty"`
}

// Badge is a badge and the name of the person who has it.
type Badge struct {
	Badge  string `json:"badge"`
	Person string `json:"person"`
}

// NewBadge asks to give a badge to a person, from whoever has it now. An empty To takes it back.
type NewBadge struct {
	Badge  string `json:"badge"`
	To     string `json:"to"`     // name of the person who gets it
	Person string `json:"person"` // name of the person who gives it
}

// Scanner is a configured barcode scanner and how it fares.
type Scanner struct {
	ID       string     `json:"id"`
	Bench    string     `json:"bench"`
	Port     string     `json:"port"`
	Up       bool       `json:"up"`
	Reason   string     `json:"reason,omitempty"`    // why it is not up
	LastSeen *time.Time `json:"last_seen,omitempty"` // when bytes last came; nil: not since the daemon started
	Refused  int64      `json:"refused"`             // labels that were not understood since then
}

// Scan is a label that was scanned at a bench.
type Scan struct {
	Label label.Kind `json:"label,omitempty"` // empty: not understood
	Value string     `json:"value,omitempty"` // empty for a badge that signed its person in
	Note  string     `json:"note,omitempty"`
}

// Update is what a watcher of a bench gets: the view after an entry, and the marks that the entry led to.
type Update struct {
	View bench.View   `json:"view"`
	Kind string       `json:"kind,omitempty"` // kind of the entry; empty: the present state, sent first
	Mark []audit.Mark `json:"marks,omitempty"`
	Scan *Scan        `json:"scan,omitempty"` // nil: the entry is no scan
	// Refused says why the entry changed nothing; empty for an ordinary one.
	Refused string `json:"refused,omitempty"`
}

// Desk answers the requests; the daemon is one. An *Error goes to the person as it is, any other error as a 500.
type Desk interface {
	ReleaseDesk
	RecordDesk
	LedgerDesk
	TokenDesk
	Status() Status
	Procedures() []Procedure
	AddProcedure(context.Context, NewProcedure) (Procedure, error)
	Builds() []Build
	OpenBuild(context.Context, NewBuild) (Build, error)
	Benches() []Bench
	View(bench string) (bench.View, error)
	StartJoint(ctx context.Context, bench string, s Start) (bench.View, error)
	CloseJoint(ctx context.Context, bench string, c Close) (bench.View, error)
	Answer(ctx context.Context, bench string, a Answer) (bench.View, error)
	Name(ctx context.Context, bench string, n Name) (bench.View, error)
	FitAdapter(ctx context.Context, bench string, f Fit) (bench.View, error)
	RemoveAdapter(ctx context.Context, bench string, t TakeOff) (bench.View, error)
	Renew(ctx context.Context, bench string, r Renew) (bench.View, error)
	HandOver(ctx context.Context, bench string, h HandOver) (bench.View, error)
	// Watch gives the present state and every later update until stop is called. The channel is closed when the
	// watcher falls behind or the desk closes: it then asks anew and has missed nothing that matters.
	Watch(bench string) (updates <-chan Update, stop func(), err error)
	Wrenches() []Wrench
	Badges() []Badge
	GiveBadge(context.Context, NewBadge) (Badge, error)
	Scanners() []Scanner
}

// Error is a refusal in one sentence that says what to do.
type Error struct {
	Status   int
	Sentence string
}

func (e *Error) Error() string { return e.Sentence }

// Refuse is an Error for what cannot be done as things stand.
func Refuse(sentence string) error { return &Error{http.StatusConflict, sentence} }

// ErrNoDaemon is that nothing listens where the daemon was looked for; the error that wraps it says where.
var ErrNoDaemon = errors.New("no daemon answers")

// Unknown is an Error for a thing that does not exist.
func Unknown(sentence string) error { return &Error{http.StatusNotFound, sentence} }

// Malformed is an Error for a request that makes no sense.
func Malformed(sentence string) error { return &Error{http.StatusBadRequest, sentence} }
