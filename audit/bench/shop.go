package bench

import (
	"cmp"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/adapter"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/audit/recall"
	"witnessmark/device"
)

// Shop is the state of a whole shop: what is known, and what lies on each bench. It changes by Apply alone, and the
// same entries always lead to the same Shop. It is not safe for concurrent use.
type Shop struct {
	seq        uint64
	procedures []*revision
	people     []audit.PersonAdded
	wrenches   map[string]declared
	calibrated map[string]*recall.Record // by wrench
	builds     []*Build
	held       []*Build        // that are not put away
	runs       map[string]*run // by bench
	heard      map[string]*device.Reading
	loose      []taken                     // readings that came with no joint on their bench, the oldest first
	badges     map[string]string           // person by badge
	roles      map[string][]string         // by person
	tokens     map[string]audit.TokenGiven // by name
	places     map[string]*place           // by bench
	learned    map[lesson]match.Learned
	fits       map[string]fits // by bench
	lives      Lives
	shelf      Shelf // nil: the shop holds all of it
	opened     opened
	signing    string // the key that the ledger is signed with; empty: its first one
	losses     []audit.LossAccepted
}

// revision is a procedure revision that the shop holds.
type revision struct {
	added  audit.ProcedureAdded
	parsed *procedure.Procedure
	used   bool
}

// declared is a wrench as declared by entry seq.
type declared struct {
	*audit.WrenchDeclared // never changed: all its readings point to it
	seq                   uint64
	pulls                 int64            // readings since the calibration
	fit                   *adapter.Adapter // what stands between it and the fastener, nil: nothing that the bench knows of
}

// Build is a build that was opened by entry ID.
type Build struct {
	ID uint64
	audit.BuildOpened
	revision *revision

	runs     []*run             // every run of a joint, the newest last
	conceded []granted          // in order
	closed   map[string]*closed // by joint that is on no bench
	parcel   *parcel            // all of these, put away; nil: they are not
	last     uint64             // the last entry that was about the build
	doubted  int                // readings in doubt, of a released build
	released bool
	reopened bool // was released once, and is not now
}

// ProcedureRev is a procedure revision as a person lists it.
type ProcedureRev struct {
	Family   string `json:"family"`
	Revision string `json:"revision"`
	Title    string `json:"title"`
	Used     bool   `json:"used"`
	Text     string `json:"-"`
}

// NewShop is a shop before its first entry. It puts builds that are released, or not worked on for long, on a shelf; without one
// it holds them packed in memory.
func NewShop(shelf Shelf) *Shop {
	return &Shop{shelf: shelf, wrenches: map[string]declared{}, calibrated: map[string]*recall.Record{}, runs: map[string]*run{}, heard: map[string]*device.Reading{},
		badges: map[string]string{}, roles: map[string][]string{}, tokens: map[string]audit.TokenGiven{}, places: map[string]*place{}, learned: map[lesson]match.Learned{},
		fits: map[string]fits{}, lives: Lives{}}
}

// Seq is the last entry applied.
func (s *Shop) Seq() uint64 { return s.seq }

// Procedures lists the revisions in the order in which they came.
func (s *Shop) Procedures() []ProcedureRev {
	out := make([]ProcedureRev, 0, len(s.procedures))
	for _, r := range s.procedures {
		out = append(out, ProcedureRev{r.added.Family, r.added.Revision, r.added.Title, r.used, r.added.Text})
	}
	return out
}

// Newest is the revision of a family that came last; false where the shop has none.
func (s *Shop) Newest(family string) (revision string, ok bool) {
	for _, r := range s.procedures {
		if r.added.Family == family {
			revision, ok = r.added.Revision, true
		}
	}
	return revision, ok
}

func (s *Shop) revision(family, rev string) *revision {
	for _, r := range s.procedures {
		if r.added.Family == family && r.added.Revision == rev {
			return r
		}
	}
	return nil
}

// Builds lists the builds in the order in which they were opened.
func (s *Shop) Builds() []Build {
	out := make([]Build, 0, len(s.builds))
	for _, b := range s.builds {
		out = append(out, *b)
	}
	return out
}

func (s *Shop) build(id uint64) *Build {
	i, found := slices.BinarySearchFunc(s.builds, id, func(b *Build, id uint64) int { return cmp.Compare(b.ID, id) })
	if !found {
		return nil
	}
	return s.builds[i]
}

// Person finds the id of a person by name.
func (s *Shop) Person(name string) (id string, ok bool) {
	for _, p := range s.people {
		if p.Name == name && name != "" {
			return p.Person, true
		}
	}
	return "", false
}

// PersonName finds the name of a person by id; empty where unknown.
func (s *Shop) PersonName(id string) string {
	for _, p := range s.people {
		if p.Person == id {
			return p.Name
		}
	}
	return ""
}

// Wrench is the declaration of a wrench in force.
func (s *Shop) Wrench(id string) (audit.WrenchDeclared, bool) {
	d, ok := s.wrenches[id]
	if !ok {
		return audit.WrenchDeclared{}, false
	}
	return *d.WrenchDeclared, true
}

// LastReading is the newest reading of a wrench, nil where it never sent one.
func (s *Shop) LastReading(wrench string) *device.Reading { return s.heard[wrench] }

// Run is the joint run on a bench, 0 where there is none.
func (s *Shop) Run(bench string) uint64 {
	if r := s.runs[bench]; r != nil {
		return r.seq
	}
	return 0
}
