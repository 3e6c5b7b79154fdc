package bench

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Bolt is the bolt of a fastener with the torque cycles that it has had.
//
// A torque cycle is one drawing up from slack. It is spent when the bolt was turned by an angle, which may have taken it
// beyond its yield point, or was tightened in its last stage: one that was let go before that has spent none. A loosening
// that the procedure asks for belongs to the cycle; any other ends it, as do a joint begun afresh and a new bolt.
type Bolt struct {
	Fastener string
	Cycles   int  // spent by this bolt, as far as is known
	Limit    int  // that it may have; 0: not said, or any number
	Once     bool // for single use: its cycles are those of this build alone
	Slack    bool // not drawn up since it was fitted or loosened

	counted bool // the present drawing up has spent a cycle
}

// Bolts counts the torque cycles of the bolts of joint j. before is what each fastener's bolt had when the joint was begun;
// marks are those in force, in the order of their readings, renewals in the order of their entries.
func Bolts(p *procedure.Procedure, j *procedure.Joint, before []int, marks []audit.Mark, renewals []Renewal) []Bolt {
	bolts := make([]Bolt, len(j.Fasteners))
	at := map[string]*Bolt{}
	for i, f := range j.Fasteners {
		limit, once := reuse(p, f.Type)
		bolts[i] = Bolt{Fastener: f.ID, Cycles: before[i], Limit: limit, Once: once, Slack: true}
		at[f.ID] = &bolts[i]
	}
	last := lastStages(j)
	for _, m := range marks {
		for ; len(renewals) > 0 && renewals[0].Entry < m.Reading; renewals = renewals[1:] {
			at[renewals[0].Fastener].renew()
		}
		if b := at[m.Fastener]; b != nil {
			b.pulled(j, &m, last[m.Fastener])
		}
	}
	for _, r := range renewals {
		at[r.Fastener].renew()
	}
	return bolts
}

// reuse is how many torque cycles a type of fastener may have; 0: not said, or any number.
func reuse(p *procedure.Procedure, kind string) (limit int, once bool) {
	text := p.Types[kind].Reuse
	if text == "never" {
		return 1, true
	}
	limit, _ = strconv.Atoi(text) // the file was refused if it is neither a word nor a number
	return limit, false
}

// lastStages is the id of the last stage that tightens, by fastener.
func lastStages(j *procedure.Joint) map[string]string {
	last := map[string]string{}
	for s := range j.Stages {
		for i, f := range j.Fasteners {
			if fig, covered := j.Figures(s, i); covered && tightens(fig.Action) {
				last[f.ID] = j.Stages[s].ID
			}
		}
	}
	return last
}

func tightens(a procedure.Action) bool { return a == procedure.TightenTo || a == procedure.TurnBy }

// renew takes a new bolt. No bolt at all is a fastener that the joint lacks, of which nothing is to be counted.
func (b *Bolt) renew() {
	if b != nil {
		b.Cycles, b.Slack, b.counted = 0, true, false
	}
}

// pulled takes a reading of the bolt into account.
func (b *Bolt) pulled(j *procedure.Joint, m *audit.Mark, last string) {
	i := slices.IndexFunc(j.Stages, func(s procedure.Stage) bool { return s.ID == m.Stage })
	if turnedBack(m) {
		b.Slack, b.counted = true, false
	}
	if i < 0 || !tightens(j.Stages[i].Action) || m.Verdict == audit.WrongDirection {
		return
	}
	b.Slack = false
	if spent := j.Stages[i].Action == procedure.TurnBy || m.Stage == last && m.Verdict != audit.LowTorque; spent && !b.counted {
		b.Cycles, b.counted = b.Cycles+1, true
	}
}

// WornOut names the bolts that have to be renewed, a sentence for each reason; good is false where one of them is for
// single use, for such a joint is not complete.
func WornOut(bolts []Bolt) (lines []string, good bool) {
	var reasons []string
	of := map[string][]string{}
	good = true
	for i := range bolts {
		why := bolts[i].wornOut()
		if why == "" {
			continue
		}
		if of[why] == nil {
			reasons = append(reasons, why)
		}
		of[why] = append(of[why], bolts[i].Fastener)
		good = good && !bolts[i].Once
	}
	for _, why := range reasons {
		lines = append(lines, fmt.Sprintf("fastener %s: %s: fit a new one and say so with `witnessmark joint renew %s`",
			strings.Join(of[why], ", "), why, strings.Join(of[why], " ")))
	}
	return lines, good
}

// wornOut says why the bolt has to be renewed; empty where it may stay, or may be drawn up once more.
func (b *Bolt) wornOut() string {
	switch {
	case b.Limit == 0 || b.Cycles < b.Limit || b.Cycles == b.Limit && !b.Slack:
		return ""
	case b.Once:
		return "a bolt for single use that was loosened after it had been tightened"
	}
	return fmt.Sprintf("a bolt with %d torque cycles, which may have %d", b.Cycles, b.Limit)
}

// Lives is how many torque cycles the bolts of engines have had. A bolt that nobody renewed is taken to be the same one in
// the next build; of a single-use bolt each build begins with a new one, which a check of the procedure asks for.
type Lives map[life]int

// life is that of the bolt of a fastener: in one build where it is for single use, else in whichever.
type life struct {
	engine, family, joint, fastener string
	build                           uint64 // 0: in whichever
}

func lifeOf(engine string, build uint64, p *procedure.Procedure, j *procedure.Joint, f *procedure.Fastener) life {
	if _, once := reuse(p, f.Type); !once {
		build = 0
	}
	return life{engine, p.Family, j.ID, f.ID, build}
}

// Before is what the bolts of a joint have had that is begun now, by fastener. Only a joint begun afresh is known to have its
// single-use bolts still: older records, in which no bolt could be renewed, have second starts that say nothing.
func (l Lives) Before(engine string, build uint64, afresh bool, p *procedure.Procedure, j *procedure.Joint) []int {
	out := make([]int, len(j.Fasteners))
	for i := range j.Fasteners {
		at := lifeOf(engine, build, p, j, &j.Fasteners[i])
		if at.build == 0 || afresh {
			out[i] = l[at]
		}
	}
	return out
}

// Keep remembers what the bolts of a joint have had.
func (l Lives) Keep(engine string, build uint64, p *procedure.Procedure, j *procedure.Joint, bolts []Bolt) {
	for i, b := range bolts { // one for each fastener, in their order
		if b.Limit > 0 {
			l[lifeOf(engine, build, p, j, &j.Fasteners[i])] = b.Cycles
		}
	}
}
