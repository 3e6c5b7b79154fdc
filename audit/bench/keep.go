package bench

import (
	"reflect"
	"time"

	"witnessmark/audit"
	"witnessmark/audit/adapter"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// content is what a build holds beside what every list shows of it, in the form in which it is put away.
type content struct {
	Runs     []keptRun
	Conceded []keptConcession  `json:",omitempty"`
	Closed   map[string]uint64 // by joint that is on no bench: its unfinished run, 0: it has none
	Lives    []keptLife        `json:",omitempty"` // of a build that is put away
}

type keptRun struct {
	Seq, First, Until uint64
	Joint             string
	Resumed           bool
	Readings          []kept
	Answers           []keptAnswer
	Drag              []unit.Torque
	Renewals          []Renewal
	Before            []int
	Used              []keptUse
	Followed          bool // it has a matcher
	Told              []told
}

// kept is a reading. Which check it measured is in its mark; the raw bytes are left to the journal.
type kept struct {
	Seq      uint64
	At       time.Time
	Reading  device.Reading
	Wrench   []string
	Declared *audit.WrenchDeclared `json:",omitempty"` // nil: as for the reading before it
	Fit      *adapter.Adapter
	Mark     audit.Mark
	Fixed    bool
}

type keptAnswer struct {
	Seq    uint64
	Answer audit.CheckAnswered
}

type keptConcession struct {
	Seq        uint64
	Concession audit.ConcessionGranted
}

type keptUse struct {
	Wrench   string
	From, To time.Time
}

// content takes down what the build holds.
func (b *Build) content() content {
	c := content{Runs: make([]keptRun, 0, len(b.runs)), Closed: map[string]uint64{}}
	for _, r := range b.runs {
		c.Runs = append(c.Runs, r.kept())
	}
	for _, g := range b.conceded {
		c.Conceded = append(c.Conceded, g.kept())
	}
	for joint, at := range b.closed {
		c.Closed[joint] = 0
		if at.unfinished != nil {
			c.Closed[joint] = at.unfinished.seq
		}
	}
	return c
}

func (g *granted) kept() keptConcession { return keptConcession{g.seq, g.ConcessionGranted} }

func (r *run) kept() keptRun {
	k := keptRun{Seq: r.seq, First: r.first, Until: r.until, Joint: r.joint.ID, Resumed: r.resumed, Drag: r.drag, Renewals: r.renewals,
		Before: r.before, Used: keptUses(r.used), Readings: keptReadings(r.readings)}
	for _, a := range r.answers {
		k.Answers = append(k.Answers, keptAnswer{a.seq, a.CheckAnswered})
	}
	if r.matcher != nil {
		k.Followed, k.Told = true, r.matcher.told
	}
	return k
}

// keptReadings takes down readings. What is declared of the wrench is mostly as for the reading before.
func keptReadings(all []taken) (out []kept) {
	for i := range all {
		k := all[i].kept()
		if i > 0 && sameWrench(all[i].declared, all[i-1].declared) {
			k.Declared = nil
		}
		out = append(out, k)
	}
	return out
}

func sameWrench(a, b *audit.WrenchDeclared) bool { return a == b || reflect.DeepEqual(a, b) }

func (t *taken) kept() kept {
	return kept{t.seq, t.at, t.reading, t.wrench, t.declared, t.fit, t.mark, t.fixed}
}

func keptUses(used []use) (out []keptUse) {
	for _, u := range used {
		out = append(out, keptUse{u.wrench, u.from, u.to})
	}
	return out
}

// fill gives a build its content again.
func (b *Build) fill(c *content) {
	b.closed = map[string]*closed{}
	bySeq := map[uint64]*run{}
	for i := range c.Runs {
		r := c.Runs[i].run(b)
		b.runs, bySeq[r.seq] = append(b.runs, r), r
	}
	for _, k := range c.Conceded {
		b.conceded = append(b.conceded, granted{k.Seq, k.Concession})
	}
	for joint, unfinished := range c.Closed {
		b.closed[joint] = &closed{bySeq[unfinished]}
	}
}

func (k *keptRun) run(b *Build) *run {
	p := b.revision.parsed
	j, _ := p.Joint(k.Joint)
	r := &run{seq: k.Seq, first: k.First, until: k.Until, build: b, procedure: p, joint: j, resumed: k.Resumed, drag: k.Drag, renewals: k.Renewals,
		before: k.Before, used: uses(k.Used)}
	r.readings = readings(k.Readings, r)
	for _, a := range k.Answers {
		r.answers = append(r.answers, said{a.Seq, a.Answer})
	}
	if k.Followed {
		r.matcher = refollowed(p, j, k.Told)
	}
	return r
}

// readings are those of a run, nil: of none.
func readings(all []kept, r *run) (out []taken) {
	for i := range all {
		t := all[i].taken(r)
		if t.declared == nil {
			t.declared = out[i-1].declared
		}
		out = append(out, t)
	}
	return out
}

// taken is the reading as one of a run, nil: of none.
func (k *kept) taken(r *run) taken {
	t := taken{seq: k.Seq, at: k.At, reading: k.Reading, wrench: k.Wrench, declared: k.Declared, fit: k.Fit, mark: k.Mark, fixed: k.Fixed}
	if m := &k.Mark; m.CheckID != "" && r != nil {
		t.check = &gauged{r.check(m.CheckID), m.Fastener, m.Verdict, m.Confidence, m.LocatedBy}
	}
	return t
}

func uses(kept []keptUse) (out []use) {
	for _, k := range kept {
		out = append(out, use{k.Wrench, k.From, k.To})
	}
	return out
}
