package bench

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/recall"
	"witnessmark/device"
)

// snapshot is a shop in the form in which it is put away: what comes out of it goes on as the shop would have. It
// may be read where SnapshotForm is as it was, and what lies on its shelf belongs to it.
type snapshot struct {
	Seq        uint64
	Procedures []keptRevision
	People     []audit.PersonAdded
	Wrenches   map[string]keptWrench
	Calibrated map[string]*recall.Record
	Builds     []keptBuild
	Benches    map[string]uint64 // run by bench
	Heard      map[string]*device.Reading
	Loose      []kept
	Badges     map[string]string
	Roles      map[string][]string
	Tokens     map[string]audit.TokenGiven
	Places     map[string]keptPlace
	Learned    []keptLesson
	Fits       map[string]fits
	Lives      []keptCycles
	Signing    string
	Losses     []audit.LossAccepted
}

type keptRevision struct {
	Added audit.ProcedureAdded
	Used  bool
}

type keptWrench struct {
	Declared audit.WrenchDeclared
	Seq      uint64
	Pulls    int64
}

type keptBuild struct {
	ID                 uint64
	Opened             audit.BuildOpened
	Last               uint64
	Doubted            int
	Released, Reopened bool
	Content            *content    `json:",omitempty"`
	Parcel             *keptParcel `json:",omitempty"`
}

type keptParcel struct {
	Packed       []byte `json:",omitempty"`
	Place        int64
	First, Until uint64
	Used         []keptUse
	Followed     bool `json:",omitempty"`
}

type keptPlace struct {
	Badge, Person, Engine, Order, Family, Fastener, Hand string
	Build                                                uint64
}

type keptLesson struct {
	Family, Revision, Joint string
	Learned                 match.Learned
}

type keptCycles struct {
	Engine, Family, Joint, Fastener string
	Build                           uint64
	Cycles                          int
}

// Snapshot is the whole shop as it is now, for Restored.
func (s *Shop) Snapshot() []byte {
	k := snapshot{Seq: s.seq, People: s.people, Wrenches: map[string]keptWrench{}, Calibrated: s.calibrated, Benches: map[string]uint64{},
		Heard: s.heard, Badges: s.badges, Roles: s.roles, Tokens: s.tokens, Places: map[string]keptPlace{}, Fits: s.fits, Signing: s.signing, Losses: s.losses}
	for _, r := range s.procedures {
		k.Procedures = append(k.Procedures, keptRevision{r.added, r.used})
	}
	for id, w := range s.wrenches {
		k.Wrenches[id] = keptWrench{*w.WrenchDeclared, w.seq, w.pulls}
	}
	for _, b := range s.builds {
		k.Builds = append(k.Builds, b.kept())
	}
	for bench, r := range s.runs {
		k.Benches[bench] = r.seq
	}
	k.Loose = keptReadings(s.loose)
	for bench, p := range s.places {
		k.Places[bench] = p.kept()
	}
	for at, l := range s.learned {
		k.Learned = append(k.Learned, keptLesson{at.family, at.revision, at.joint, l})
	}
	for at, had := range s.lives {
		k.Lives = append(k.Lives, keptCycles{at.engine, at.family, at.joint, at.fastener, at.build, had})
	}
	k.sort()
	out, err := json.Marshal(&k)
	must(err)
	return out
}

// sort makes one shop one text: the order of the maps does not show.
func (k *snapshot) sort() {
	slices.SortFunc(k.Learned, func(a, b keptLesson) int {
		return cmp.Or(strings.Compare(a.Family, b.Family), strings.Compare(a.Revision, b.Revision), strings.Compare(a.Joint, b.Joint))
	})
	slices.SortFunc(k.Lives, func(a, b keptCycles) int {
		return cmp.Or(strings.Compare(a.Engine, b.Engine), strings.Compare(a.Family, b.Family), strings.Compare(a.Joint, b.Joint), strings.Compare(a.Fastener, b.Fastener), cmp.Compare(a.Build, b.Build))
	})
}

func (b *Build) kept() keptBuild {
	k := keptBuild{ID: b.ID, Opened: b.BuildOpened, Last: b.last, Doubted: b.doubted, Released: b.released, Reopened: b.reopened}
	if p := b.parcel; p != nil {
		k.Parcel = &keptParcel{p.packed, p.place, p.first, p.until, keptUses(p.used), p.followed}
	} else {
		c := b.content()
		k.Content = &c
	}
	return k
}

func (p *place) kept() keptPlace {
	k := keptPlace{Badge: p.badge, Person: p.person, Engine: p.engine, Order: p.order, Family: p.family, Fastener: p.fastener, Hand: p.hand}
	if p.build != nil {
		k.Build = p.build.ID
	}
	return k
}

// Restored is the shop of a snapshot, with the shelf that was its.
func Restored(snap []byte, shelf Shelf) (*Shop, error) {
	var k snapshot
	if err := json.Unmarshal(snap, &k); err != nil {
		return nil, fmt.Errorf("read the shop's snapshot: %w", err)
	}
	s := NewShop(shelf)
	s.seq, s.people, s.signing, s.losses = k.Seq, k.People, k.Signing, k.Losses
	for _, r := range k.Procedures {
		s.addProcedure(r.Added, r.Used)
	}
	for id, w := range k.Wrenches {
		s.wrenches[id] = declared{WrenchDeclared: &w.Declared, seq: w.Seq, pulls: w.Pulls}
	}
	maps.Copy(s.calibrated, k.Calibrated)
	maps.Copy(s.heard, k.Heard)
	maps.Copy(s.badges, k.Badges)
	maps.Copy(s.roles, k.Roles)
	maps.Copy(s.tokens, k.Tokens)
	maps.Copy(s.fits, k.Fits)
	for _, b := range k.Builds {
		s.builds = append(s.builds, s.unkept(&b))
	}
	s.putOnBenches(k.Benches)
	s.loose = readings(k.Loose, nil)
	for bench, p := range k.Places {
		s.places[bench] = &place{badge: p.Badge, person: p.Person, build: s.build(p.Build), engine: p.Engine, order: p.Order, family: p.Family, fastener: p.Fastener, hand: p.Hand}
	}
	for _, l := range k.Learned {
		s.learned[lesson{l.Family, l.Revision, l.Joint}] = l.Learned
	}
	for _, l := range k.Lives {
		s.lives[life{l.Engine, l.Family, l.Joint, l.Fastener, l.Build}] = l.Cycles
	}
	return s, nil
}

func (s *Shop) unkept(k *keptBuild) *Build {
	b := &Build{ID: k.ID, BuildOpened: k.Opened, revision: s.revision(k.Opened.Family, k.Opened.Revision), last: k.Last, doubted: k.Doubted,
		released: k.Released, reopened: k.Reopened}
	if p := k.Parcel; p != nil {
		b.parcel = &parcel{p.Packed, p.Place, p.First, p.Until, uses(p.Used), p.Followed}
	} else {
		b.fill(k.Content)
		s.held = append(s.held, b)
	}
	return b
}

// putOnBenches finds the runs again that are on a bench.
func (s *Shop) putOnBenches(at map[string]uint64) {
	for bench, seq := range at {
		for _, b := range s.builds {
			if i := slices.IndexFunc(b.runs, func(r *run) bool { return r.seq == seq }); i >= 0 {
				s.runs[bench] = b.runs[i]
			}
		}
	}
}
