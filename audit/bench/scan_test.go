package bench_test

import (
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device"
	"witnessmark/device/label"
	"witnessmark/device/unit"
)

// newCounter is a shop with one procedure, two people who have badges, and nothing on its benches.
func newCounter(t *testing.T) *floor {
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TT-1", Revision: "1", Title: "Bearing caps", Text: caps})
	for i, name := range []string{"Ines Falk", "Olu Bright"} {
		f.must(audit.PersonAdded{Person: fmt.Sprintf("p%d", i+1), Name: name})
		f.must(audit.BadgeGiven{Badge: fmt.Sprintf("b%d", i+1), Person: fmt.Sprintf("p%d", i+1), By: "p1"})
	}
	return f
}

// scan lets a label be scanned at bench B1, and what follows from it, as the daemon does. It gives the refusal.
func (f *floor) scan(kind label.Kind, value string) string {
	f.t.Helper()
	return f.scanned(audit.LabelScanned{Bench: "B1", Scanner: "S1", Label: kind, Value: value})
}

func (f *floor) scanned(ev audit.LabelScanned) string {
	f.t.Helper()
	ev = f.shop.Scanned(ev)
	out := f.apply(ev)
	if out.Refused == "" {
		if follows := f.shop.Follows(ev); follows != nil {
			f.must(follows)
		}
	}
	return out.Refused
}

// scans are labels that must all be taken, as "engine E1".
func (f *floor) scans(labels ...string) {
	f.t.Helper()
	for _, l := range labels {
		i := strings.LastIndex(l, " ")
		if refused := f.scan(label.Kind(l[:i]), l[i+1:]); refused != "" {
			f.t.Fatalf("%s: refused: %s", l, refused)
		}
	}
}

// open is an opened build of engine E under work order W, by its number.
func (f *floor) open(engine, order string) uint64 {
	f.t.Helper()
	return f.must(audit.BuildOpened{Engine: engine, Family: "TT-1", Revision: "1", WorkOrder: order, Person: "p1"}).Entry.Seq
}

// lies says what is on bench B1, as "E1/W1 caps" with a build's number before it where there is one.
func (f *floor) lies() string {
	v := f.shop.View("B1")
	text := v.Engine + "/" + v.WorkOrder
	if v.Build != 0 {
		text = fmt.Sprintf("%d: %s", v.Build, text)
	}
	return strings.TrimSpace(text + " " + v.Joint)
}

func (f *floor) want(got, want string) {
	f.t.Helper()
	if got != want {
		f.t.Errorf("got %q, want %q", got, want)
	}
}

// refuses wants a refusal that holds a text, and nothing changed.
func (f *floor) refuses(kind label.Kind, value, want string) {
	f.t.Helper()
	before := f.shop.View("B1")
	got := f.scan(kind, value)
	if !strings.Contains(got, want) || want == "" {
		f.t.Errorf("%s %s: got %q, want a refusal with %q", kind, value, got, want)
	}
	after := f.shop.View("B1")
	after.Seq = before.Seq
	if !reflect.DeepEqual(before, after) {
		f.t.Errorf("%s %s: got %+v, want a refusal to change nothing: %+v", kind, value, after, before)
	}
}

func TestScan_Badge(t *testing.T) {
	person := func(f *floor) string { return f.shop.View("B1").Person }
	t.Run("a badge signs its person in", func(t *testing.T) {
		f := newCounter(t)
		f.want(person(f), "")
		f.scans("badge b1")
		f.want(person(f), "Ines Falk")
		f.want(f.shop.View("B2").Person, "")
	})
	t.Run("the same badge again changes nothing", func(t *testing.T) {
		f := newCounter(t)
		f.scans("badge b1", "badge b1")
		f.want(person(f), "Ines Falk")
	})
	t.Run("another badge takes over, and the bench stays as it is", func(t *testing.T) {
		f := newCounter(t)
		f.scans("badge b1", "engine E1", "badge b2", "work order W1")
		f.want(person(f), "Olu Bright")
		if b := f.shop.Builds(); len(b) != 1 || b[0].Engine != "E1" || b[0].Person != "p2" {
			t.Errorf("got %+v, want a build of E1 by the second person", b)
		}
	})
	t.Run("a badge that nobody has is refused, and is not named in the refusal", func(t *testing.T) {
		f := newCounter(t)
		f.refuses(label.Badge, "b9", "belongs to nobody")
		if got := f.scan(label.Badge, "b9-secret"); strings.Contains(got, "secret") {
			t.Errorf("got %q, want the badge kept out of it", got)
		}
	})
	t.Run("a badge that moves signs its old person off", func(t *testing.T) {
		f := newCounter(t)
		f.scans("badge b1")
		f.must(audit.BadgeGiven{Badge: "b1", Person: "p2", By: "p1"})
		f.want(person(f), "")
		f.scans("badge b1")
		f.want(person(f), "Olu Bright")
	})
	t.Run("a badge that is taken back belongs to nobody", func(t *testing.T) {
		f := newCounter(t)
		f.scans("badge b1")
		f.must(audit.BadgeGiven{Badge: "b1", By: "p2"})
		f.want(person(f), "")
		f.refuses(label.Badge, "b1", "belongs to nobody")
		f.scans("badge b2")
		f.want(person(f), "Olu Bright")
	})
	t.Run("a person may have two, and the loss of one leaves him signed in by the other", func(t *testing.T) {
		f := newCounter(t)
		f.must(audit.BadgeGiven{Badge: "b3", Person: "p1", By: "p1"})
		f.scans("badge b3")
		f.must(audit.BadgeGiven{Badge: "b1", By: "p1"})
		f.want(person(f), "Ines Falk")
		if got, want := f.shop.Badges(), []bench.Given{{Badge: "b2", Person: "p2"}, {Badge: "b3", Person: "p1"}}; !reflect.DeepEqual(got, want) {
			t.Errorf("got %+v, want %+v", got, want)
		}
	})
	t.Run("a badge that has moved between its scan and the record is refused", func(t *testing.T) {
		f := newCounter(t)
		out := f.apply(audit.LabelScanned{Bench: "B1", Label: label.Badge, Value: "b1", Person: "p2"})
		if !strings.Contains(out.Refused, "changed hands") || person(f) != "" {
			t.Errorf("got %q and %q signed in, want it refused and nobody", out.Refused, person(f))
		}
	})
	for rule, c := range map[string]struct {
		ev      audit.BadgeGiven
		want    string
		already bool
	}{
		"a badge without a text":             {audit.BadgeGiven{Badge: " ", Person: "p1"}, "needs what its label says", false},
		"a badge for somebody unknown":       {audit.BadgeGiven{Badge: "b1", Person: "p9"}, "name one", false},
		"a badge given twice":                {audit.BadgeGiven{Badge: "b1", Person: "p1"}, "theirs already", true},
		"a badge taken back that nobody has": {audit.BadgeGiven{Badge: "b9"}, "belongs to nobody", true},
	} {
		t.Run(rule+" is refused", func(t *testing.T) {
			err := newCounter(t).shop.Refusal(c.ev)
			if err == nil || !strings.Contains(err.Error(), c.want) || errors.Is(err, bench.ErrAlready) != c.already {
				t.Errorf("got %v, want a refusal with %q", err, c.want)
			}
		})
	}
}

func TestScan_NeedsSomebody(t *testing.T) {
	f := newCounter(t)
	f.open("E1", "W1")
	for _, k := range []label.Kind{label.Engine, label.WorkOrder, label.Joint, label.Fastener, label.Lot} {
		f.refuses(k, "E1", "scan your badge first")
	}
	f.want(f.lies(), "/")
	t.Run("a label that was not understood says why", func(t *testing.T) {
		out := f.apply(audit.LabelScanned{Bench: "B1", Scanner: "S1", Text: "?", Note: "no kind of label begins like this one"})
		f.want(out.Refused, "no kind of label begins like this one")
	})
	t.Run("somebody who has been relieved meanwhile is refused", func(t *testing.T) {
		f.scans("badge b1")
		ev := f.shop.Scanned(audit.LabelScanned{Bench: "B1", Label: label.Engine, Value: "E1"})
		f.scans("badge b2")
		if out := f.apply(ev); !strings.Contains(out.Refused, "meanwhile") {
			t.Errorf("got %q, want it refused", out.Refused)
		}
	})
}

func TestScan_AKindThatNothingIsDoneWithTellsWhichMayBeScanned(t *testing.T) {
	f := newCounter(t)
	f.scans("badge b1")
	f.refuses("pallet", "7", "scan one of engine, work order, badge, joint, fastener, lot")
}

func TestScan_BringsABuild(t *testing.T) {
	for _, c := range []struct {
		rule   string
		opened [][2]string // before, as engine and work order, with the numbers 7, 8 …
		scans  []string
		want   string
	}{
		{"a known engine brings its build", [][2]string{{"E1", "W1"}, {"E2", "W2"}}, []string{"engine E1"}, "7: E1/W1"},
		{"a known work order brings its build", [][2]string{{"E1", "W1"}, {"E2", "W2"}}, []string{"work order W2"}, "8: E2/W2"},
		{"an engine brings the newest of its builds", [][2]string{{"E1", "W1"}, {"E1", "W2"}}, []string{"engine E1"}, "8: E1/W2"},
		{"both bring the build of both", [][2]string{{"E1", "W1"}, {"E1", "W2"}}, []string{"engine E1", "work order W1"}, "7: E1/W1"},
		{"both bring the build of both, the other way round", [][2]string{{"E1", "W1"}, {"E2", "W1"}}, []string{"work order W1", "engine E1"}, "7: E1/W1"},
		{"a new engine waits for its work order", nil, []string{"engine E1"}, "E1/"},
		{"a new work order waits for its engine", nil, []string{"work order W1"}, "/W1"},
		{"an engine and then a work order open a build", nil, []string{"engine E1", "work order W1"}, "9: E1/W1"},
		{"a work order and then an engine open a build", nil, []string{"work order W1", "engine E1"}, "9: E1/W1"},
		{"a known engine comes again under a new work order", [][2]string{{"E1", "W1"}}, []string{"engine E1", "work order W2"}, "10: E1/W2"},
		{"a new work order is for the known engine behind it", [][2]string{{"E1", "W1"}}, []string{"work order W2", "engine E1"}, "10: E1/W2"},
		{"a label scanned twice is scanned once", nil, []string{"engine E1", "engine E1", "work order W1", "work order W1", "engine E1"}, "10: E1/W1"},
		{"a wrong label is made good by the right one", nil, []string{"engine E9", "engine E1", "work order W1"}, "10: E1/W1"},
		{"one bench goes on to the next engine", nil, []string{"engine E1", "work order W1", "engine E2", "work order W2"}, "12: E2/W2"},
		{"a new engine does not leave the old build in hand", [][2]string{{"E1", "W1"}}, []string{"engine E1", "engine E2"}, "E2/"},
		{"a known work order of another engine brings that one", [][2]string{{"E1", "W1"}, {"E2", "W2"}}, []string{"engine E1", "work order W2"}, "8: E2/W2"},
		{"after that a new work order waits for its own engine", [][2]string{{"E1", "W1"}, {"E2", "W2"}}, []string{"engine E1", "work order W2", "work order W3"}, "/W3"},
		{"a known engine behind the work order of another", [][2]string{{"E1", "W1"}, {"E2", "W2"}}, []string{"work order W2", "engine E1"}, "7: E1/W1"},
		{"a new engine behind the work order of another begins anew", [][2]string{{"E1", "W1"}}, []string{"work order W1", "engine E2"}, "E2/"},
		{"somebody else's badge in between", nil, []string{"engine E1", "badge b2", "badge b1", "work order W1"}, "11: E1/W1"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			f := newCounter(t)
			f.scans("badge b1") // entry 6
			for _, b := range c.opened {
				f.open(b[0], b[1])
			}
			f.scans(c.scans...)
			f.want(f.lies(), c.want)
		})
	}
	t.Run("a work order of another engine does not open a build of a new one", func(t *testing.T) {
		f := newCounter(t)
		f.open("E1", "W1")
		f.scans("badge b1", "engine E2")
		f.refuses(label.WorkOrder, "W1", "work order W1 is that of engine E1, and engine E2 was scanned before")
		f.scans("engine E1")
		f.want(f.lies(), "6: E1/W1")
	})
	t.Run("a build that is opened elsewhere comes to the bench that waits for it", func(t *testing.T) {
		f := newCounter(t)
		f.scans("badge b1", "engine E1")
		f.open("E2", "W2")
		f.want(f.lies(), "E1/")
		f.open("E1", "W1")
		f.want(f.lies(), "9: E1/W1")
		f.open("E1", "W3") // the bench has what it waited for
		f.want(f.lies(), "9: E1/W1")
	})
	t.Run("with a joint on the bench its own labels are harmless and others are refused", func(t *testing.T) {
		f := newCounter(t)
		f.open("E2", "W2")
		f.scans("badge b1", "engine E1", "work order W1", "joint caps")
		f.want(f.lies(), "10: E1/W1 caps")
		f.scans("engine E1", "work order W1")
		for _, c := range [][2]string{{"engine", "E2"}, {"work order", "W2"}, {"engine", "E9"}, {"work order", "W9"}} {
			f.refuses(label.Kind(c[0]), c[1], "joint caps of engine E1 is on bench B1: close it before another build")
		}
		f.must(audit.JointClosed{Bench: "B1", Run: f.shop.Run("B1"), Person: "p1"})
		f.want(f.lies(), "10: E1/W1")
		f.scans("work order W9")
		f.want(f.lies(), "/W9") // the engine that was scanned before the joint has had its joint
	})
	t.Run("a joint started by command brings its build", func(t *testing.T) {
		f := newCounter(t)
		b := f.open("E1", "W1")
		f.must(audit.JointStarted{Bench: "B1", Build: b, Joint: "caps", Person: "p1"})
		f.want(f.lies(), "6: E1/W1 caps")
		if got := f.shop.Holding(b); !reflect.DeepEqual(got, []string{"B1"}) {
			t.Errorf("got %v, want bench B1 to hold it", got)
		}
	})
}

func TestScan_Family(t *testing.T) {
	second := strings.Replace(caps, "family: TT-1", "family: TT-2", 1)
	engine := func(family string) audit.LabelScanned {
		return audit.LabelScanned{Bench: "B1", Scanner: "S1", Label: label.Engine, Value: "E1", Family: family}
	}
	t.Run("with several families nothing is opened by guess", func(t *testing.T) {
		f := newCounter(t)
		f.must(audit.ProcedureAdded{Family: "TT-2", Revision: "1", Title: "Others", Text: second})
		f.scans("badge b1", "engine E1")
		f.refuses(label.WorkOrder, "W1", "nothing says of which family it is (TT-1, TT-2)")
		f.want(f.lies(), "E1/")
	})
	t.Run("the label or its scanner names it", func(t *testing.T) {
		for _, first := range []bool{true, false} {
			f := newCounter(t)
			f.must(audit.ProcedureAdded{Family: "TT-2", Revision: "1", Title: "Others", Text: second})
			f.must(audit.ProcedureAdded{Family: "TT-2", Revision: "2", Title: "Others", Text: strings.Replace(second, `"1"`, `"2"`, 1)})
			f.scans("badge b1")
			order := func() { f.scans("work order W1") }
			if !first {
				order()
			}
			f.want(f.scanned(engine("TT-2")), "")
			if first {
				order()
			}
			if b := f.shop.Builds(); len(b) != 1 || b[0].Family != "TT-2" || b[0].Revision != "2" || b[0].Person != "p1" {
				t.Errorf("engine first %t: got %+v, want a build of TT-2 by its newest revision", first, b)
			}
		}
	})
	t.Run("one that the shop has not is refused", func(t *testing.T) {
		f := newCounter(t)
		f.scans("badge b1", "work order W1")
		if got := f.scanned(engine("TT-9")); !strings.Contains(got, "no procedure of the family TT-9") {
			t.Errorf("got %q, want it refused", got)
		}
	})
	t.Run("a shop without a procedure says so", func(t *testing.T) {
		f := &floor{t: t, shop: bench.NewShop(nil)}
		f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
		f.must(audit.BadgeGiven{Badge: "b1", Person: "p1"})
		f.scans("badge b1", "engine E1")
		f.refuses(label.WorkOrder, "W1", "no procedure yet")
	})
}

// TestScan_SameEntriesSameBenches lets benches be scanned at random, and replays the entries as the journal holds them.
func TestScan_SameEntriesSameBenches(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := newCounter(t)
		f.plain = true
		steps := rapid.SliceOfN(rapid.SampledFrom([]string{"badge b1", "badge b2", "badge b9", "engine E1", "engine E2", "work order W1",
			"work order W2", "joint caps", "joint head", "fastener 1", "fastener 4", "fastener 9", "pull", "close", "move b1"}), 0, 60).Draw(rt, "steps")
		for _, s := range steps {
			at := rapid.SampledFrom([]string{"B1", "B2"}).Draw(rt, "bench")
			switch i := strings.LastIndex(s, " "); {
			case s == "pull":
				a := unit.Angle(25_000)
				f.apply(audit.ReadingTaken{Bench: at, Reading: device.Reading{Wrench: "W1", Torque: 30 * unit.NewtonMetre, Unit: unit.Nm, Angle: &a}})
			case s == "close":
				f.apply(audit.JointClosed{Bench: at, Run: f.shop.Run(at), Person: "p1"})
			case s == "move b1":
				f.apply(audit.BadgeGiven{Badge: "b1", Person: rapid.SampledFrom([]string{"", "p1", "p2"}).Draw(rt, "to")})
			default:
				f.scanned(audit.LabelScanned{Bench: at, Scanner: "S1", Label: label.Kind(s[:i]), Value: s[i+1:]})
			}
		}
		again := bench.NewShop(nil)
		for _, e := range f.log {
			body, err := audit.Encode(e.Event)
			if err != nil {
				rt.Fatal(err)
			}
			ev, err := audit.Decode(e.Event.Kind(), body)
			if err != nil {
				rt.Fatal(err)
			}
			again.Apply(audit.Entry{Seq: e.Seq, At: e.At, Event: ev})
		}
		for _, at := range []string{"B1", "B2"} {
			if a, b := f.shop.View(at), again.View(at); !reflect.DeepEqual(a, b) {
				rt.Fatalf("bench %s: got %+v, then %+v from the same entries", at, a, b)
			}
		}
		if diff := bench.Unlike(f.shop, again); diff != "" {
			rt.Fatalf("got another shop from the same entries: %s", diff)
		}
	})
}
