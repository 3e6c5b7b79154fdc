package sheet

import (
	"time"

	"witnessmark/audit/bench"
	"witnessmark/store"
)

// Act is who did something, when, and the leaf that proves it.
type Act struct {
	By          string    `json:"by"` // empty: the name was blanked
	At          time.Time `json:"at"`
	LedgerIndex int64     `json:"ledger_index"`
}

// Release is a signature under a build and the ledger that it signs.
type Release struct {
	Act
	Reviewed uint64 `json:"reviewed"` // the newest entry that the person had seen
	Size     int64  `json:"size"`     // leaves
	Root     []byte `json:"root"`     // base64
}

// Reopening is a release taken back.
type Reopening struct {
	Act
	Reason string `json:"reason"`
}

// Concession is the acceptance of a finding.
type Concession struct {
	Act
	SecondedBy string `json:"seconded_by,omitempty"`
	Finding    string `json:"finding"` // its id
	Found      string `json:"found"`   // its sentence, as it was accepted
	Joint      string `json:"joint"`
	Stage      string `json:"stage,omitempty"`
	Fastener   string `json:"fastener,omitempty"`
	Reading    uint64 `json:"reading,omitempty"`
	Reason     string `json:"reason"`
}

// Correction is a person's word, after the fact, on where a reading belongs. An empty Fastener: none of its joint.
type Correction struct {
	Act
	Reading  uint64 `json:"reading"`
	Fastener string `json:"fastener"`
	Stage    string `json:"stage,omitempty"`
	Reason   string `json:"reason"`
}

// Named is a person's word on a reading while its joint was on the bench. An empty Fastener: none of it.
type Named struct {
	Act
	Reading  uint64 `json:"reading"`
	Fastener string `json:"fastener"`
}

func act(a store.Act) Act { return Act{a.By, a.At, a.Index} }

// Said is what people said of a build: how it was released, and what led to it.
type Said struct {
	Standing    bench.Standing `json:"standing"`
	Releases    []Release      `json:"releases,omitempty"`
	Reopenings  []Reopening    `json:"reopenings,omitempty"`
	Concessions []Concession   `json:"concessions,omitempty"`
	Corrections []Correction   `json:"corrections,omitempty"`
}

func said(h *store.BuildHistory) Said {
	b := Said{Standing: h.Standing()}
	for _, r := range h.Releases {
		b.Releases = append(b.Releases, Release{act(r.Act), r.Reviewed, r.Size, r.Root})
	}
	for _, r := range h.Reopenings {
		b.Reopenings = append(b.Reopenings, Reopening{act(r.Act), r.Reason})
	}
	for _, c := range h.Concessions {
		b.Concessions = append(b.Concessions, Concession{act(c.Act), c.SecondedBy, c.Finding, c.Found, c.Joint, c.Stage, c.Fastener, c.ConcessionGranted.Reading, c.Reason})
	}
	for _, c := range h.Corrections {
		b.Corrections = append(b.Corrections, Correction{act(c.Act), c.Reading, c.Fastener, c.Stage, c.Reason})
	}
	return b
}

// words adds who said which fastener a reading was.
func (o *Joint) words(named []store.NamedHistory) {
	for _, n := range named {
		o.Named = append(o.Named, Named{act(n.Act), n.Reading, n.Fastener})
	}
}
