package bench_test

import (
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/audit/procedure"
)

// yield is a joint of two single-use bolts that are turned beyond their yield point, and one that may be used twice.
const yield = `format: witnessmark/procedure/1
family: TT-6
revision: "1"
title: Caps by angle
source: invented for this test
decision: simple
fastener_types:
  once: {thread: M12x1.75, length: 95 mm, class: "10.9", reuse: never}
  twice: {thread: M12x1.75, length: 95 mm, class: "10.9", reuse: "2"}
  ever: {thread: M12x1.75, length: 95 mm, class: "10.9", reuse: always}
joints:
  - id: caps
    title: Caps
    criticality: B
    round: stage
    order: listed
    fasteners:
      - {id: "1", type: once}
      - {id: "2", type: once}
      - {id: "3", type: twice}
      - {id: "4", type: ever}
    stages:
      - {id: snug, tighten_to: 30 N·m, accept: ±10 %}
      - {id: turn, turn_by: 90°, accept: ±5°}
`

func yieldFloor(t *testing.T) *floor {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TT-6", Revision: "1", Title: "Caps by angle", Text: yield})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.WrenchDeclared{Wrench: "W1"})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TT-6", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.startAgain("B1", "p1", false)
	return f
}

func (f *floor) turnAll() {
	for i := range int64(4) {
		f.pull(90_000+i*500, 89_500+i*200)
	}
}

// back turns the last fastener back.
func (f *floor) back() { f.t.Helper(); f.at("B1", 40_000, -70_000) }

func (f *floor) renew(fasteners ...string) {
	f.t.Helper()
	for _, id := range fasteners {
		f.must(audit.BoltReplaced{Bench: "B1", Run: f.shop.Run("B1"), Fastener: id, Person: "p1", Reason: "stretched"})
	}
}

func (f *floor) summary() bench.Summary { return f.shop.View("B1").Summary }

// speaks is true where a line of what needs a person has all the words.
func speaks(s bench.Summary, words ...string) bool {
	return slices.ContainsFunc(s.Attention, func(line string) bool {
		return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(line, w) })
	})
}

func TestShop_SingleUseBoltLoosenedAsksForANewOne(t *testing.T) {
	f := yieldFloor(t)
	f.snugAll()
	f.pull(90_000, 90_000)
	f.pull(90_500, 90_200)
	f.back()
	f.must(audit.FastenerNamed{Bench: "B1", Run: f.shop.Run("B1"), Reading: f.seq, Fastener: "2", Person: "p1"})
	if s := f.summary(); !speaks(s, "fastener 2: a bolt for single use", "witnessmark joint renew 2") {
		t.Fatalf("got %q, want a new bolt asked for", s.Attention)
	}
	if advice := f.shop.View("B1").Last.Advice; !strings.Contains(advice, "witnessmark joint renew 2") {
		t.Errorf("got advice %q, want a new bolt asked for", advice)
	}
	t.Run("the old one drawn up again does not make it complete", func(t *testing.T) {
		f.pull(30_000, 25_000)
		f.pull(90_500, 90_200)
		f.pull(91_000, 90_400)
		f.pull(91_500, 90_600)
		if s := f.summary(); len(s.Open) != 0 || s.Complete || !speaks(s, "joint renew 2") {
			t.Errorf("got %+v, want every step done and the joint not complete", s)
		}
	})
	t.Run("the new one is drawn up from its first stage", func(t *testing.T) {
		f.renew("2")
		v := f.shop.View("B1")
		if v.Left != 2 || v.Next.Fastener != "2" || v.Next.Stage != "snug" || speaks(v.Summary, "missed") || speaks(v.Summary, "renew") {
			t.Fatalf("got %+v, want snug 2 next, two steps left, nothing missed", v)
		}
		for _, want := range []string{"snug", "turn"} {
			pull := map[string][2]int64{"snug": {30_000, 25_200}, "turn": {90_000, 90_100}}[want]
			if m := f.pull(pull[0], pull[1])[0]; m.Stage != want || m.Fastener != "2" || m.Verdict != audit.Pass {
				t.Errorf("got %+v, want %s 2", m, want)
			}
		}
		if s := f.summary(); !s.Complete {
			t.Errorf("got %+v, want complete", s)
		}
	})
	f.replaysFromText()
}

// A joint drawn up with the old bolt to its first stage and finished with a new one.
func TestShop_ABoltReplacedInTheMiddle(t *testing.T) {
	f := yieldFloor(t)
	f.snugAll()
	f.pull(90_000, 90_000)
	f.renew("1")
	if v := f.shop.View("B1"); v.Next.Fastener != "1" || v.Next.Stage != "snug" || v.Left != 5 {
		t.Fatalf("got %+v, want snug 1 next and five steps left", v)
	}
	var got []string
	for _, p := range [][2]int64{{30_000, 25_300}, {90_000, 90_000}, {90_500, 90_100}, {91_000, 89_900}, {90_700, 90_000}} {
		m := f.pull(p[0], p[1])
		if len(m) != 1 {
			t.Errorf("got %+v, want what was said before to stand", m)
		}
		got = append(got, m[0].Stage+" "+m[0].Fastener+" "+string(m[0].Verdict)+strings.Join(m[0].Flags, ","))
	}
	if want := []string{"snug 1 pass", "turn 1 pass", "turn 2 pass", "turn 3 pass", "turn 4 pass"}; !slices.Equal(got, want) {
		t.Errorf("got %q, want %q", got, want)
	}
	if s := f.summary(); !s.Complete {
		t.Errorf("got %+v, want complete: the bolt that was turned before is no longer there", s)
	}
	f.replaysFromText()
}

// What was measured of the old bolt is asked of the new one again.
func TestShop_ANewBoltIsCheckedAgain(t *testing.T) {
	f := studs(t, audit.WrenchDeclared{})
	drag := func(fastener, value string) {
		f.must(audit.CheckAnswered{Bench: "B1", Run: 5, Check: "drag", Fastener: fastener, Value: value, Person: "p1"})
	}
	drag("a", "5 N·m")
	drag("b", "4 N·m")
	f.renew("a")
	if ask := f.shop.View("B1").Ask; ask == nil || ask.Check != "drag" || ask.Fastener != "a" {
		t.Fatalf("got %+v, want the drag of the new nut asked for", ask)
	}
	drag("a", "9 N·m")
	if v := f.shop.View("B1"); v.Ask != nil || v.Next.Target != "109 N·m (104 … 114 N·m)" {
		t.Errorf("got %+v, want the new nut's drag alone added to the target", v)
	}
}

func TestShop_ANewBoltIsMeasuredAgain(t *testing.T) {
	text := strings.Replace(caps, "      - {id: end-float, ask: Crankshaft end float, accept: 0.07..0.23 mm, after: snug}\n",
		"      - {id: drag, ask: Torque to run down, accept: 1..5 N·m, each: fastener, by: wrench}\n", 1)
	f := floorWith(t, text)
	f.answers("new-bolts", "", "")
	for i := range int64(4) {
		f.pull(3_000, 180_000+i)
	}
	if got := f.asked(); got != "" {
		t.Fatalf("got %q asked, want all four measured", got)
	}
	f.renew("3")
	if got := f.asked(); got != "drag 3" {
		t.Errorf("got %q asked, want the new one measured", got)
	}
}

func TestShop_LettingGoBeforeTheYieldStageSpendsNoBolt(t *testing.T) {
	f := yieldFloor(t)
	f.pull(30_000, 25_000)
	f.at("B1", 20_000, -25_000)
	if s := f.summary(); speaks(s, "joint renew") {
		t.Errorf("got %q, want no new bolt asked for", s.Attention)
	}
	f.snugAll()
	f.turnAll()
	if s := f.summary(); !s.Complete || speaks(s, "joint renew") {
		t.Errorf("got %+v, want complete", s)
	}
}

func TestShop_RefusesARenewal(t *testing.T) {
	f := yieldFloor(t)
	for rule, c := range map[string]struct {
		ev   audit.BoltReplaced
		want string
	}{
		"of a fastener that the joint lacks": {audit.BoltReplaced{Bench: "B1", Run: 5, Fastener: "9"}, `no fastener "9"`},
		"with no joint on the bench":         {audit.BoltReplaced{Bench: "B2", Run: 5, Fastener: "1"}, "start one first"},
		"after the joint has changed":        {audit.BoltReplaced{Bench: "B1", Run: 4, Fastener: "1"}, "changed meanwhile"},
	} {
		if err := f.shop.Refusal(c.ev); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want a refusal with %q", rule, err, c.want)
		}
	}
}

// draw draws the joint up and closes it.
func (f *floor) draw() {
	f.snugAll()
	f.turnAll()
	f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1")})
}

func (f *floor) openBuild(order string) {
	f.t.Helper()
	b := f.must(audit.BuildOpened{Engine: "E1", Family: "TT-6", Revision: "1", WorkOrder: order, Person: "p1"}).Entry.Seq
	f.must(audit.JointStarted{Bench: "B1", Build: b, Joint: "caps", Person: "p1"})
}

func TestShop_TorqueCycles(t *testing.T) {
	const spent = "fastener 3: a bolt with 2 torque cycles, which may have 2"
	f := yieldFloor(t)
	f.draw()
	f.openBuild("WO2")
	t.Run("a new build takes the single-use bolts for new ones", func(t *testing.T) {
		if s := f.summary(); speaks(s, "joint renew") {
			t.Errorf("got %q, want nothing asked for", s.Attention)
		}
	})
	f.snugAll()
	f.turnAll()
	t.Run("the last cycle of a bolt is its own", func(t *testing.T) {
		if s := f.summary(); !s.Complete || speaks(s, "joint renew") {
			t.Errorf("got %+v, want complete: two cycles are allowed", s)
		}
	})
	f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1")})
	f.openBuild("WO3")
	t.Run("before the one too many the bolt is asked for", func(t *testing.T) {
		if s := f.summary(); !speaks(s, spent) || speaks(s, "fastener 1") {
			t.Errorf("got %q, want fastener 3 alone", s.Attention)
		}
	})
	t.Run("one too many is said, and is no bar", func(t *testing.T) {
		f.snugAll()
		f.turnAll()
		if s := f.summary(); !s.Complete || !speaks(s, "fastener 3: a bolt with 3 torque cycles, which may have 2") {
			t.Errorf("got %+v, want the third cycle told", s)
		}
	})
	t.Run("a new bolt begins at none", func(t *testing.T) {
		f.renew("3")
		f.pull(30_000, 25_500)
		f.pull(90_000, 90_000)
		if s := f.summary(); !s.Complete || speaks(s, "joint renew") {
			t.Errorf("got %+v, want complete", s)
		}
		f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1")})
		f.openBuild("WO4")
		if s := f.summary(); speaks(s, "joint renew") {
			t.Errorf("got %q, want one cycle of the new bolt counted", s.Attention)
		}
	})
	f.replaysFromText()
}

func TestShop_AfreshAsksForNewSingleUseBolts(t *testing.T) {
	f := yieldFloor(t)
	f.draw()
	f.startAgain("B1", "p1", true)
	if s := f.summary(); !speaks(s, "fastener 1, 2: a bolt for single use", "joint renew 1 2") || speaks(s, "fastener 3") {
		t.Fatalf("got %q, want the two single-use bolts", s.Attention)
	}
	f.renew("1", "2")
	f.snugAll()
	f.turnAll()
	if s := f.summary(); !s.Complete {
		t.Errorf("got %+v, want complete", s)
	}
	f.replaysFromText()
}

// In old journals no bolt could be renewed; a second start may well have been with new ones.
func TestShop_OldSecondStartsAskForNoNewBolt(t *testing.T) {
	f := yieldFloor(t)
	f.draw()
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: "caps", Person: "p1"})
	f.snugAll()
	f.turnAll()
	if s := f.summary(); !s.Complete || speaks(s, "joint renew") {
		t.Errorf("got %+v, want it complete as it always was", s)
	}
}

// A stage that loosens on purpose is part of the cycle: many procedures seat, ease and draw up again.
func TestBolts_WhatSpendsACycle(t *testing.T) {
	text := strings.NewReplacer("      - {id: turn,", "      - {id: ease, loosen_by: 90°, accept: ±10°}\n      - {id: turn,",
		"accept: ±5°}\n", "accept: ±5°}\n      - {id: set, tighten_to: 140 N·m, accept: ±10 %, only: [\"4\"]}\n      - {id: later, verify: 140..160 N·m}\n").Replace(yield)
	p, err := procedure.Parse("yield.yaml", []byte(strings.Replace(text, `{id: "4", type: ever}`, `{id: "4", type: twice}`, 1)))
	if err != nil {
		t.Fatal(err)
	}
	type pull struct {
		stage   string
		verdict audit.Verdict
		flags   []string
	}
	back := pull{"turn", audit.WrongDirection, []string{audit.Unexpected}}
	for rule, c := range map[string]struct {
		fastener string
		pulls    []pull
		cycles   int
		slack    bool
	}{
		"no pull": {"3", nil, 0, true},
		"a stage before the yield stage does not":  {"3", []pull{{"snug", audit.Pass, nil}}, 0, false},
		"a loosening that is asked for is no pull": {"3", []pull{{"ease", audit.Pass, nil}}, 0, true},
		"a loosening that is asked for is no end":  {"3", []pull{{"snug", audit.Pass, nil}, {"turn", audit.Pass, nil}, {"ease", audit.Pass, nil}, {"turn", audit.Pass, nil}}, 1, false},
		"any other is":                              {"3", []pull{{"turn", audit.Pass, nil}, back, {"turn", audit.Pass, nil}}, 2, false},
		"and leaves the bolt slack":                 {"3", []pull{{"turn", audit.Pass, nil}, back}, 1, true},
		"a turn that fell short may have stretched": {"3", []pull{{"turn", audit.LowAngle, nil}}, 1, false},
		"a turn the wrong way does not":             {"3", []pull{{"snug", audit.Pass, nil}, {"turn", audit.WrongDirection, nil}}, 0, false},
		"the last stage to a torque does":           {"4", []pull{{"set", audit.HighTorque, nil}}, 1, false},
		"given up early it does not":                {"4", []pull{{"set", audit.LowTorque, nil}}, 0, false},
		"a verification does not":                   {"3", []pull{{"later", audit.Pass, nil}}, 0, true},
	} {
		var marks []audit.Mark
		for i, u := range c.pulls {
			marks = append(marks, audit.Mark{Reading: uint64(i + 1), Stage: u.stage, Fastener: c.fastener, Verdict: u.verdict, Flags: u.flags})
		}
		bolts := bench.Bolts(p, &p.Joints[0], make([]int, 4), marks, nil)
		b := bolts[slices.IndexFunc(bolts, func(b bench.Bolt) bool { return b.Fastener == c.fastener })]
		if b.Cycles != c.cycles || b.Slack != c.slack {
			t.Errorf("%s: got %+v, want %d cycles, slack %v", rule, b, c.cycles, c.slack)
		}
	}
}

func TestSteps_MarksBeforeARenewalDoNotCount(t *testing.T) {
	p, err := procedure.Parse("caps.yaml", []byte(caps))
	if err != nil {
		t.Fatal(err)
	}
	marks := []audit.Mark{{Reading: 6, Stage: "snug", Fastener: "1", Verdict: audit.Pass}, {Reading: 7, Stage: "snug", Fastener: "2", Verdict: audit.Pass},
		{Reading: 9, Stage: "snug", Fastener: "1", Verdict: audit.LowTorque}}
	for rule, c := range map[string]struct {
		renewals []bench.Renewal
		state    bench.State
		now, old int
	}{
		"without one":         {nil, bench.Failed, 2, 0},
		"in between":          {[]bench.Renewal{{Entry: 8, Fastener: "1"}}, bench.Failed, 1, 1},
		"after the last":      {[]bench.Renewal{{Entry: 10, Fastener: "1"}}, bench.Open, 0, 2},
		"twice":               {[]bench.Renewal{{Entry: 8, Fastener: "1"}, {Entry: 10, Fastener: "1"}}, bench.Open, 0, 2},
		"of another fastener": {[]bench.Renewal{{Entry: 8, Fastener: "2"}}, bench.Failed, 2, 0},
	} {
		s := bench.Steps(&p.Joints[0], marks, c.renewals)[0]
		if s.State != c.state || len(s.Marks) != c.now || len(s.Replaced) != c.old {
			t.Errorf("%s: got %+v, want %s with %d marks and %d of a bolt that is gone", rule, s, c.state, c.now, c.old)
		}
	}
}
