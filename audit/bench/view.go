// Package bench is the pure state machine of a shop: entries go in, marks and the view of each bench come out.
package bench

import (
	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// View is what a technician sees of a bench; it is complete in itself and safe to keep.
type View struct {
	Bench     string       `json:"bench"`
	Seq       uint64       `json:"seq"`               // the last entry that it takes into account
	Person    string       `json:"person,omitempty"`  // name of who is signed in
	Hand      string       `json:"hand,omitempty"`    // name of the one whose the readings are
	Build     uint64       `json:"build,omitempty"`   // in hand, also before a joint is started
	Run       uint64       `json:"run,omitempty"`     // 0: no joint on the bench
	Resumed   bool         `json:"resumed,omitempty"` // an earlier run of the joint was taken up again
	Engine    string       `json:"engine,omitempty"`  // without a build: scanned, and waits for its work order
	WorkOrder string       `json:"work_order,omitempty"`
	Joint     string       `json:"joint,omitempty"`
	Title     string       `json:"title,omitempty"`
	Next      *Next        `json:"next,omitempty"`    // nil: nothing is left to tighten
	Fitted    []Fitted     `json:"fitted,omitempty"`  // adapters between wrench and fastener
	Scanned   string       `json:"scanned,omitempty"` // the fastener that the next reading will be, by its label
	Ask       *Ask         `json:"ask,omitempty"`     // the check to answer now
	Left      int          `json:"left"`              // steps still open, but for verifications
	Steps     int          `json:"steps"`             // steps in all, but for verifications
	Last      *LastReading `json:"last,omitempty"`
	Summary   Summary      `json:"summary"`
}

// Next is the step that comes next, in words a person reads from afar.
type Next struct {
	Stage    string            `json:"stage"`
	Fastener string            `json:"fastener"`
	Target   string            `json:"target"`           // e.g. "60 N·m (57 … 63 N·m)"
	Verify   bool              `json:"verify,omitempty"` // all is tightened, and this is its verification
	Figures  procedure.Figures `json:"-"`
}

// Ask is a check that waits for an answer.
type Ask struct {
	Check    string `json:"check"`
	Fastener string `json:"fastener,omitempty"`
	Text     string `json:"text"`
	Accept   string `json:"accept,omitempty"`    // e.g. "0.07 … 0.23 mm"; empty: yes or no
	ByWrench bool   `json:"by_wrench,omitempty"` // a reading of a wrench may answer it
	Lot      bool   `json:"lot,omitempty"`       // typed as it stands on the box, or scanned
}

// LastReading is the newest reading with its mark and what to do about it.
type LastReading struct {
	Seq    uint64 `json:"seq"`
	Torque string `json:"torque"` // e.g. "45.2 N·m"
	Angle  string `json:"angle,omitempty"`
	// Applied is what the fastener got through the adapter that Mark names, e.g. "60.3 N·m"; empty: what was shown.
	Applied string     `json:"applied,omitempty"`
	Wrench  string     `json:"wrench"`
	Mark    audit.Mark `json:"mark"`
	Advice  string     `json:"advice"` // one sentence: what to do now
	// Preload is what the fastener may clamp with now, for information: empty where the procedure does not tell the bolt.
	Preload string `json:"preload,omitempty"`
}

// Summary says whether a joint is complete and what needs a person. A joint is complete when all of it is tightened and
// nothing speaks against it, also while a verification is still open; one that was verified and failed is not.
type Summary struct {
	Complete     bool        `json:"complete"`
	Open         []OpenStage `json:"open"`
	Verification []OpenStage `json:"verification,omitempty"` // still open; it may be done in a later run, by another person
	Attention    []string    `json:"attention"`
	BoltsDue     int         `json:"bolts_due,omitempty"` // bolts for single use, which are due to be replaced
}

// OpenStage lists the fasteners of a stage that are not done. Missed counts how many of Candidates were missed, where
// the position cannot be known; then Fasteners names the presumed ones.
type OpenStage struct {
	Stage      string   `json:"stage"`
	Fasteners  []string `json:"fasteners"`
	Candidates []string `json:"candidates,omitempty"`
}
