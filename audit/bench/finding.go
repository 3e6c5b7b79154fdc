package bench

import (
	"slices"
	"strings"
)

// Subject says what a finding is about.
type Subject string

// The subjects, the worst first.
const (
	StepFailed    Subject = "failed step"
	WrenchFound   Subject = "wrench found bad" // by a calibration since, and verdicts would turn
	StepDoubted   Subject = "doubted steps"    // done by what is held, but another reading of the same facts leaves one open
	StepOpen      Subject = "open step"
	JointOpen     Subject = "joint not started"
	CheckRefused  Subject = "check not accepted"
	CheckOpen     Subject = "check not answered"
	BoltWorn      Subject = "bolt to be renewed"
	WrenchFinding Subject = "wrench"
	MarkUnsure    Subject = "unsure mark"
	MarkFlagged   Subject = "flagged mark"
	JointOnBench  Subject = "joint on a bench"
	Note          Subject = "note" // to be known, blocks nothing
)

var worst = []Subject{StepFailed, WrenchFound, StepDoubted, StepOpen, JointOpen, CheckRefused, CheckOpen, BoltWorn, WrenchFinding, MarkUnsure, MarkFlagged, JointOnBench, Note}

// Finding is something that a person who releases a build must know. Its ID stays the same while it is about the same step,
// check, joint or reading; Text changes with the facts.
type Finding struct {
	ID       string    `json:"id"` // e.g. step:caps/seat/7, check:caps/end-float, unsure:812
	Subject  Subject   `json:"subject"`
	Joint    string    `json:"joint"`
	Stage    string    `json:"stage,omitempty"`
	Fastener string    `json:"fastener,omitempty"`
	Check    string    `json:"check,omitempty"`
	Reading  uint64    `json:"reading,omitempty"`
	Readings int       `json:"readings,omitempty"`   // how many a wrench that was found bad has touched
	Turn     int       `json:"would_turn,omitempty"` // how many of their verdicts would be others
	Text     string    `json:"text"`
	Settle   string    `json:"settle,omitempty"`        // what settles it
	Blocks   bool      `json:"blocks"`                  // the build is not released while it stands
	Second   bool      `json:"second_person,omitempty"` // a concession needs a second person
	Conceded *Conceded `json:"conceded,omitempty"`
}

// Kind is what its id begins with, e.g. re-hit or step.
func (f *Finding) Kind() string {
	kind, _, _ := strings.Cut(f.ID, ":")
	return kind
}

// Alike are the findings that stand in the way and are of a kind: the beginning of their ids, or their subject.
func (r *Review) Alike(kind string) (out []Finding) {
	plain := func(s string) string { return strings.ReplaceAll(strings.ToLower(strings.TrimSpace(s)), " ", "-") }
	for _, f := range r.Blocking() {
		if f.Subject != JointOnBench && (plain(kind) == f.Kind() || plain(kind) == plain(string(f.Subject))) {
			out = append(out, f)
		}
	}
	return out
}

// recalled is true of a finding about a wrench that a calibration found bad since.
func (f Finding) recalled() bool { return f.Readings > 0 }

// Conceded is the concession that covers a finding.
type Conceded struct {
	Seq      uint64 `json:"seq"`
	Reason   string `json:"reason"`
	By       string `json:"by"` // names
	Seconded string `json:"seconded,omitempty"`
}

// Rank is how bad a subject is; 0 is the worst.
func (s Subject) Rank() int { return slices.Index(worst, s) }
