package bench

import (
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/label"
)

// place is what scans have left on a bench, beside the joint that may be on it.
type place struct {
	badge, person string // who is signed in, and by which badge; empty: nobody
	build         *Build // in hand, nil: none

	// The newest engine and work order that were scanned one after the other. Both without a build in hand ask for one
	// to be opened; one alone waits for the other.
	engine, order string
	family        string // that the engine's label named

	fastener string // where the next reading will be; empty: nobody said
	hand     string // whose the readings are; empty: no joint is on the bench
}

// place is that of a bench, made at its first use.
func (s *Shop) place(bench string) *place {
	p := s.places[bench]
	if p == nil {
		p = &place{}
		s.places[bench] = p
	}
	return p
}

// at is that of a bench to look at only.
func (s *Shop) at(bench string) place {
	if p := s.places[bench]; p != nil {
		return *p
	}
	return place{}
}

// SignedIn is the id of the person who is signed in at a bench, empty where nobody is.
func (s *Shop) SignedIn(bench string) string { return s.at(bench).person }

// Holding lists the benches that have a build in hand, sorted.
func (s *Shop) Holding(build uint64) []string {
	var out []string
	for id, p := range s.places {
		if p.build != nil && p.build.ID == build {
			out = append(out, id)
		}
	}
	slices.Sort(out)
	return out
}

// Given is a badge and who has it.
type Given struct {
	Badge  string
	Person string // id
}

// Badges lists the badges that people have, sorted.
func (s *Shop) Badges() []Given {
	out := make([]Given, 0, len(s.badges))
	for b, p := range s.badges {
		out = append(out, Given{b, p})
	}
	slices.SortFunc(out, func(a, b Given) int { return strings.Compare(a.Badge, b.Badge) })
	return out
}

// Scanned completes a scan with what the shop knows at this moment: the joint run on the bench, and whose badge it is,
// else who is signed in there.
func (s *Shop) Scanned(ev audit.LabelScanned) audit.LabelScanned {
	ev.Run, ev.Person = s.Run(ev.Bench), s.SignedIn(ev.Bench)
	if ev.Label == label.Badge {
		ev.Person = s.badges[ev.Value]
	}
	return ev
}

// giveBadge signs the one who had the badge off where it was scanned last.
func (s *Shop) giveBadge(ev audit.BadgeGiven) {
	if ev.Person == "" {
		delete(s.badges, ev.Badge)
	} else {
		s.badges[ev.Badge] = ev.Person
	}
	for _, p := range s.places { // each by itself, so the order of the map does not show
		if p.badge == ev.Badge && p.person != ev.Person {
			p.badge, p.person = "", ""
		}
	}
}

// scan lets a scan that is not refused take effect.
func (s *Shop) scan(ev audit.LabelScanned) {
	p := s.place(ev.Bench)
	switch ev.Label {
	case label.Badge:
		p.badge, p.person = ev.Value, ev.Person
		if s.runs[ev.Bench] != nil {
			p.hand = ev.Person
		}
	case label.Engine, label.WorkOrder:
		p.engine, p.order, p.build = s.pair(*p, ev)
		if ev.Label == label.Engine {
			p.family = ev.Family
		}
	case label.Fastener:
		r := s.runs[ev.Bench]
		p.fastener = r.joint.Fasteners[r.labelled(ev.Value)].ID
	}
}

// pair is the engine and the work order as they stand after a scan of one of them, and the build that they mean; nil:
// none yet. What is known goes before what could be opened, but for a pair of which one half is new.
func (s *Shop) pair(p place, ev audit.LabelScanned) (engine, order string, b *Build) {
	if ev.Label == label.Engine {
		engine, order = ev.Value, p.order
		b = s.newest(engine, order)
		if b == nil && s.newest("", order) != nil { // that work order has its engine: this one begins anew
			order = ""
		}
		if order == "" {
			b = s.newest(engine, "")
		}
		return engine, order, b
	}
	engine, order = p.engine, ev.Value
	if b = s.newest(engine, order); b == nil && s.newest("", order) != nil {
		engine, b = "", s.newest("", order)
	}
	return engine, order, b
}

// brought puts a new build on every bench that waits for it.
func (s *Shop) brought(b *Build) {
	for _, p := range s.places { // each by itself, so the order of the map does not show
		if p.build == nil && p.engine+p.order != "" && (p.engine == "" || p.engine == b.Engine) && (p.order == "" || p.order == b.WorkOrder) {
			p.build = b
		}
	}
}

// worked is told that a joint of a build was started here by a person, or closed (by nobody): what was scanned before has served
// its purpose.
func (p *place) worked(b *Build, by string) {
	p.build, p.engine, p.order, p.family, p.fastener, p.hand = b, "", "", "", "", by
}

// located gives the fastener whose label was scanned to a reading that was just made, once. One that lay in the wrench's
// memory is older than the scan.
func (p *place) located(r *device.Reading) string {
	if r.Stored {
		return ""
	}
	f := p.fastener
	p.fastener = ""
	return f
}

// newest is the last opened build of an engine and a work order, either of which may be left open; nil where there is none.
func (s *Shop) newest(engine, order string) *Build {
	for i := len(s.builds) - 1; i >= 0; i-- {
		b := s.builds[i]
		if (engine == "" || b.Engine == engine) && (order == "" || b.WorkOrder == order) && engine+order != "" {
			return b
		}
	}
	return nil
}
