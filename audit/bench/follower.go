package bench

import (
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// follower is the matcher of a run with all that it was told: told the same again, another one holds the same.
type follower struct {
	*match.Matcher
	told []told
}

// told is one thing that a matcher was told, by the field that is not nil.
type told struct {
	Saw       *match.Observation `json:",omitempty"`
	Named     *namedAt           `json:",omitempty"`
	Replaced  *int               `json:",omitempty"` // fastener
	Prevailed *prevailed         `json:",omitempty"`
	Expected  *match.Learned     `json:",omitempty"`
	Settled   bool               `json:",omitempty"`
}

type namedAt struct {
	Observation int
	Fastener    string
}

type prevailed struct {
	Fastener int
	Torque   unit.Torque
}

func newFollower(p *procedure.Procedure, j *procedure.Joint) *follower {
	return &follower{Matcher: newMatcher(p, j)}
}

// refollowed is a follower that was told all of it, in order.
func refollowed(p *procedure.Procedure, j *procedure.Joint, all []told) *follower {
	m := newFollower(p, j)
	for _, t := range all {
		switch {
		case t.Saw != nil:
			m.Observe(*t.Saw)
		case t.Named != nil:
			m.Name(t.Named.Observation, t.Named.Fastener)
		case t.Replaced != nil:
			m.Replace(*t.Replaced)
		case t.Prevailed != nil:
			m.Prevail(t.Prevailed.Fastener, t.Prevailed.Torque)
		case t.Expected != nil:
			m.Expect(*t.Expected)
		case t.Settled:
			m.Settle()
		}
	}
	return m
}

func (m *follower) Observe(o match.Observation) match.Finding {
	m.told = append(m.told, told{Saw: &o})
	return m.Matcher.Observe(o)
}

func (m *follower) Name(i int, fastener string) {
	m.told = append(m.told, told{Named: &namedAt{i, fastener}})
	m.Matcher.Name(i, fastener)
}

func (m *follower) Replace(fastener int) {
	m.told = append(m.told, told{Replaced: &fastener})
	m.Matcher.Replace(fastener)
}

func (m *follower) Prevail(fastener int, t unit.Torque) {
	m.told = append(m.told, told{Prevailed: &prevailed{fastener, t}})
	m.Matcher.Prevail(fastener, t)
}

func (m *follower) Expect(l match.Learned) {
	m.told = append(m.told, told{Expected: &l})
	m.Matcher.Expect(l)
}

func (m *follower) Settle() {
	m.told = append(m.told, told{Settled: true})
	m.Matcher.Settle()
}
