package sheet

import (
	"encoding/json"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/unit"
)

// Joint is one attempt at a joint, from slack fasteners: a run on a bench, and those that took it up again. Run, Bench, By
// and Started are of the first.
type Joint struct {
	Joint    string    `json:"joint"`
	Title    string    `json:"title"`
	Run      uint64    `json:"run"`
	Bench    string    `json:"bench"`
	By       string    `json:"by"`
	Started  time.Time `json:"started"`
	Earlier  bool      `json:"earlier,omitempty"` // the joint was begun anew later
	suspects []bench.Suspect
	Doubts   []string   `json:"doubts,omitempty"`    // what rests on readings of a wrench that was found bad; among Findings too
	Runs     []Run      `json:"runs"`                // all of them, the oldest first
	Closed   *time.Time `json:"closed"`              // null: still on the bench
	State    State      `json:"state"`               // in words, with what is known besides Complete
	Complete bool       `json:"complete"`            // every step done but for verifications, none of these failed, every check answered and accepted
	ToVerify int        `json:"to_verify,omitempty"` // verifications that are still open
	Steps    []Step     `json:"steps"`
	Checks   []Check    `json:"checks"`
	Stray    []Mark     `json:"stray"`           // readings that belong to no step
	Bolts    *Bolts     `json:"bolts,omitempty"` // left out: none is for single use
	Scans    []Scan     `json:"scans"`           // labels of fasteners
	Renewals []Renewal  `json:"renewals,omitempty"`
	Named    []Named    `json:"named,omitempty"` // who said which fastener a reading was
	Hands    []Hand     `json:"hands,omitempty"` // who took it over while it was on the bench
	Clock    []Clock    `json:"clock,omitempty"` // when the clock was set while it was on the bench
	// Order is the order in which it was really done, by stage.
	Order    []StageOrder `json:"order"`
	Findings []string     `json:"findings"` // what a person should look at, a sentence each
	// OfJoint is those of the findings that are about no single reading.
	OfJoint []string `json:"-"`
	// Unanswered are the checks without an answer that counts, in the order of the procedure.
	Unanswered []OpenCheck `json:"-"`
}

// OpenCheck is a check that nobody has answered; Fastener is empty where it is asked for once. Later is true while it waits for
// a verification, and keeps no joint from being complete.
type OpenCheck struct {
	Check, Fastener string
	Later           bool
}

// Run is a joint on a bench, from its start to its close.
type Run struct {
	Run     uint64     `json:"run"`
	Bench   string     `json:"bench"`
	By      string     `json:"by"`
	Started time.Time  `json:"started"`
	Closed  *time.Time `json:"closed"`
}

// Renewal is a new bolt that was fitted; what its fastener had reached before does not count.
type Renewal struct {
	Fastener    string    `json:"fastener"`
	Reason      string    `json:"reason,omitempty"`
	By          string    `json:"by"`
	At          time.Time `json:"at"`
	LedgerIndex int64     `json:"ledger_index"`
}

// Hand is a person into whose hands the joint came: the readings after it are theirs.
type Hand struct {
	By          string    `json:"by"`
	At          time.Time `json:"at"`
	LedgerIndex int64     `json:"ledger_index"`
}

// Clock is a step of the computer's clock: the times of what was recorded before it may be wrong, the order is not.
type Clock struct {
	Milliseconds int64     `json:"milliseconds"` // above 0: set forward
	AtLeast      bool      `json:"at_least,omitempty"`
	At           time.Time `json:"at"` // by the clock as it was set
	LedgerIndex  int64     `json:"ledger_index"`
}

// Step is one fastener in one stage. Target is in the procedure's words.
type Step struct {
	Stage    string `json:"stage"`
	Fastener string `json:"fastener"`
	Target   string `json:"target"`
	State    string `json:"state"` // done, open or failed
	Marks    []Mark `json:"marks"` // in force, the oldest first
	// Replaced are the marks of a bolt that is no longer there.
	Replaced []Mark `json:"replaced,omitempty"`
}

// Mark is a reading with the finding about it. Numbers are decimals as they were recorded, never rounded in between.
type Mark struct {
	Reading    uint64          `json:"reading"`
	Torque     json.Number     `json:"torque"`
	Unit       unit.TorqueUnit `json:"unit"`
	Angle      *json.Number    `json:"angle"` // degrees; null: the wrench sent none
	Direction  string          `json:"direction"`
	Verdict    audit.Verdict   `json:"verdict"`
	Flags      []string        `json:"flags"` // audit.FoundBad is not of the mark: it was found later
	Wrench     string          `json:"wrench"`
	At         time.Time       `json:"at"`
	LocatedBy  audit.LocatedBy `json:"located_by"`
	Confidence json.Number     `json:"confidence"` // 0 … 1
	// Applied is what the fastener got through Adapter, in Unit; both are left out where nothing stood between.
	Applied     json.Number `json:"applied,omitempty"`
	Adapter     string      `json:"adapter,omitempty"`
	Preload     *Preload    `json:"preload,omitempty"` // left out: the procedure does not tell the bolt
	LedgerIndex int64       `json:"ledger_index"`

	sure audit.Share // Confidence, for text
	By   string      `json:"by"`            // in whose hands the joint was; empty: the name was blanked
	Raw  string      `json:"raw,omitempty"` // what the wrench sent, escaped; only where it is asked for
	// Before is what was said of the reading earlier, the oldest first.
	Before []Earlier `json:"before,omitempty"`
}

// Earlier is a mark that a later one superseded.
type Earlier struct {
	Stage       string          `json:"stage"`
	Fastener    string          `json:"fastener"`
	Check       string          `json:"check,omitempty"`
	Verdict     audit.Verdict   `json:"verdict"`
	Flags       []string        `json:"flags"`
	LocatedBy   audit.LocatedBy `json:"located_by"`
	At          time.Time       `json:"at"`
	LedgerIndex int64           `json:"ledger_index"`
}

// Check is an answer to a check. OK says whether the procedure accepts it.
type Check struct {
	Check       string    `json:"check"`
	Fastener    string    `json:"fastener,omitempty"`
	Answer      string    `json:"answer"`
	OK          bool      `json:"ok"`
	By          string    `json:"by"`
	At          time.Time `json:"at"`
	LedgerIndex int64     `json:"ledger_index"`
	// Reading is the number of the reading that measured it, with its wrench and flags; of a person's answer all are left out.
	Reading uint64   `json:"reading,omitempty"`
	Wrench  string   `json:"wrench,omitempty"`
	Flags   []string `json:"flags,omitempty"`
	by      audit.LocatedBy
}

// Bolts compares the new bolts that were used with those that are due to be replaced, as they are for single use.
type Bolts struct {
	Due  int  `json:"due"`
	Used *int `json:"used"` // by the newest answer to the check that counts them; null: nobody did
	// Renewed is how many more were fitted later, in the place of others: each is a renewal of its own.
	Renewed int `json:"renewed,omitempty"`
}

// Scan is the label of a fastener that a person scanned; it says where the next reading was.
type Scan struct {
	Fastener    string    `json:"fastener"` // as the label says it
	By          string    `json:"by"`
	At          time.Time `json:"at"`
	LedgerIndex int64     `json:"ledger_index"`
}
