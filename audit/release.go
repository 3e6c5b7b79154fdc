package audit

// ConcessionGranted is a named person's reasoned acceptance of a finding that stands between a build and its release.
// Finding is its id and Found its sentence as it stood then: should the facts change, the concession no longer covers it.
type ConcessionGranted struct {
	Build    uint64 `json:"build" db:"build"`
	Finding  string `json:"finding" db:"finding"`
	Found    string `json:"found" db:"found"`
	Joint    string `json:"joint" db:"joint"`
	Stage    string `json:"stage,omitempty" db:"stage"`
	Fastener string `json:"fastener,omitempty" db:"fastener"`
	Check    string `json:"check_id,omitempty" db:"check_id"`
	Reading  uint64 `json:"reading,omitempty" db:"reading"` // 0: it is about no reading
	Reason   string `json:"reason" db:"reason"`
	Person   string `json:"person" db:"person"`
	Seconded string `json:"seconded,omitempty" db:"seconded"` // a second person; a joint of class A needs one (VDI/VDE 2862)
}

// CorrectionMade is a person's word, after the fact, on where a reading belongs. What was said before stays as a
// superseded mark. An empty Fastener says: none of this joint. Stage is empty where the person left it open.
type CorrectionMade struct {
	Build    uint64 `json:"build" db:"build"`
	Run      uint64 `json:"run" db:"run"`
	Reading  uint64 `json:"reading" db:"reading"` // sequence number of the reading's entry
	Fastener string `json:"fastener" db:"fastener"`
	Stage    string `json:"stage,omitempty" db:"stage"`
	Reason   string `json:"reason" db:"reason"`
	Person   string `json:"person" db:"person"`
}

// BuildReleased is a person's signature under a build. It names what was looked at: everything of the shop up to entry
// Reviewed, and the ledger of Size leaves with the root Root, which holds all entries up to Recorded.
type BuildReleased struct {
	Build    uint64 `json:"build" db:"build"`
	Reviewed uint64 `json:"reviewed" db:"reviewed"`
	Recorded uint64 `json:"recorded" db:"recorded"`
	Size     int64  `json:"size" db:"size"`
	Root     []byte `json:"root" db:"root"` // SHA-256 tree root (RFC 6962)
	Person   string `json:"person" db:"person"`
}

// BuildReopened takes a release back, so that the build can be worked on again.
type BuildReopened struct {
	Build  uint64 `json:"build" db:"build"`
	Reason string `json:"reason" db:"reason"`
	Person string `json:"person" db:"person"`
}

// Kind implements Event.
func (ConcessionGranted) Kind() string { return "concession" }

// Kind implements Event.
func (CorrectionMade) Kind() string { return "correction" }

// Kind implements Event.
func (BuildReleased) Kind() string { return "release" }

// Kind implements Event.
func (BuildReopened) Kind() string { return "reopening" }
