package bench_test

import (
	"os"
	"slices"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/label"
)

// allChecks is a floor with a joint of the procedure that has every kind of check.
func allChecks(t *testing.T, joint string) *floor {
	t.Helper()
	text, err := os.ReadFile("../../testdata/procedures/checks.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f := &floor{t: t, shop: bench.NewShop(nil)}
	f.must(audit.ProcedureAdded{Family: "TB-9", Revision: "1", Title: "Short block", Text: string(text)})
	f.must(audit.PersonAdded{Person: "p1", Name: "Ines Falk"})
	f.must(audit.WrenchDeclared{Wrench: "W1"})
	f.must(audit.BuildOpened{Engine: "E1", Family: "TB-9", Revision: "1", WorkOrder: "WO1", Person: "p1"})
	f.must(audit.JointStarted{Bench: "B1", Build: 4, Joint: joint, Person: "p1"})
	return f
}

// in answers the check that is asked, and wants it to be that one.
func (f *floor) in(asked, value string) {
	f.t.Helper()
	if got := f.asked(); got != asked {
		f.t.Fatalf("got %q asked, want %q", got, asked)
	}
	check, fastener, _ := strings.Cut(asked, " ")
	f.answers(check, fastener, value)
}

func (f *floor) complete() bool { return f.shop.View("B1").Summary.Complete }

func TestChecks_EachAtItsMoment(t *testing.T) {
	f := allChecks(t, "rod-caps")
	f.in("new-bolts", "2")
	f.in("lot 1a", "L-2217")
	f.in("lot 1b", "L-2218")
	f.in("greased", "")
	f.in("length 1a", "48.01 mm")
	f.in("length 1b", "47.99 mm")
	f.want(f.asked(), "")
	f.pull(25_000, 20_000)
	f.want(f.asked(), "")
	f.pull(25_100, 20_200)
	f.in("side-play", "0.2 mm") // between two stages
	f.want(f.asked(), "")
	f.pull(62_000, 90_000)
	f.pull(61_000, 90_300)
	f.in("stretch 1a", "0.131 mm")
	if f.complete() {
		t.Error("got complete with the stretch of one bolt, want that of each")
	}
	f.in("stretch 1b", "140 µm")
	f.want(f.asked(), "")
	if s := f.shop.View("B1").Summary; !s.Complete || len(s.Attention) != 0 || s.BoltsDue != 2 {
		t.Errorf("got %+v, want complete, with two bolts due to be replaced", s)
	}
}

func TestChecks_OneOfThemKeepsTheJointOpen(t *testing.T) {
	for rule, c := range map[string]struct{ check, fastener, value, says string }{
		"too few new bolts":                       {"new-bolts", "", "1", "check new-bolts: 1, wanted at least 2, which are due to be replaced"},
		"the length of one bolt outside":          {"length", "1b", "48.2 mm", "check length of fastener 1b: 48.2 mm, wanted 47.9 … 48.1 mm"},
		"the stretch of one bolt outside":         {"stretch", "1a", "161 µm", "check stretch of fastener 1a: 161 µm, wanted 0.12 … 0.16 mm"},
		"more new bolts than due is good":         {"new-bolts", "", "3", ""},
		"a lot that is corrected is as good":      {"lot", "1a", "L-9", ""},
		"the stretch at its limit is good enough": {"stretch", "1a", "0.16 mm", ""},
	} {
		t.Run(rule, func(t *testing.T) {
			f := allChecks(t, "rod-caps")
			for _, a := range [][3]string{{"new-bolts", "", "2"}, {"lot", "1a", "L-1"}, {"lot", "1b", "L-1"}, {"greased"}, {"length", "1a", "48 mm"}, {"length", "1b", "48 mm"}} {
				f.answers(a[0], a[1], a[2])
			}
			for _, p := range [][2]int64{{25_000, 20_000}, {25_100, 20_200}, {62_000, 90_000}, {61_000, 90_300}} {
				f.pull(p[0], p[1])
			}
			for _, a := range [][3]string{{"side-play", "", "0.2 mm"}, {"stretch", "1a", "130 µm"}, {"stretch", "1b", "130 µm"}, {c.check, c.fastener, c.value}} {
				f.answers(a[0], a[1], a[2])
			}
			s := f.shop.View("B1").Summary
			if s.Complete != (c.says == "") || c.says != "" && !slices.Equal(s.Attention, []string{c.says}) {
				t.Errorf("got %+v, want %q", s, c.says)
			}
		})
	}
}

func TestChecks_AnswersThatAreNone(t *testing.T) {
	f := allChecks(t, "rod-caps")
	for rule, c := range map[string]struct{ check, fastener, value, want string }{
		"no lot number":                 {"lot", "1a", "", "check lot wants a lot number"},
		"a lot number of blanks":        {"lot", "1a", "  ", "check lot wants a lot number"},
		"a lot number of two lines":     {"lot", "1a", "L-1\nL-2", "check lot wants a lot number"},
		"a lot number without end":      {"lot", "1a", strings.Repeat("L", 129), "at most 128 characters"},
		"the lot of no fastener":        {"lot", "", "L-1", "say which one"},
		"a yes instead of a count":      {"new-bolts", "", "", "check new-bolts wants a whole number of bolts"},
		"half a bolt":                   {"new-bolts", "", "1.5", "a whole number of bolts"},
		"fewer than none":               {"new-bolts", "", "-2", "a whole number of bolts"},
		"a count for one fastener":      {"new-bolts", "1a", "2", "leave out the fastener"},
		"a length in another quantity":  {"length", "1a", "48 N·m", "check length wants a value in mm"},
		"a length of a bolt not there":  {"length", "7", "48 mm", "say which one"},
		"an answer to no check at all":  {"stretching", "", "48 mm", "it has: new-bolts, lot"},
		"a yes instead of a play in mm": {"side-play", "", "", "check side-play wants a value in mm"},
	} {
		t.Run(rule, func(t *testing.T) {
			err := f.shop.Refusal(audit.CheckAnswered{Bench: "B1", Run: 5, Check: c.check, Fastener: c.fastener, Yes: true, Value: c.value, Person: "p1"})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want a refusal with %q", err, c.want)
			}
		})
	}
}

func TestChecks_ALotIsScanned(t *testing.T) {
	f := allChecks(t, "rod-caps")
	f.must(audit.BadgeGiven{Badge: "b1", Person: "p1", By: "p1"})
	f.scans("badge b1", "lot L-2217", "lot L-2218")
	last, ok := f.log[len(f.log)-1].Event.(audit.CheckAnswered)
	if want := (audit.CheckAnswered{Bench: "B1", Run: 5, Check: "lot", Fastener: "1b", Yes: true, Value: "L-2218", Person: "p1"}); !ok || last != want {
		t.Errorf("got %+v, want %+v: the fasteners in order, by the person signed in", last, want)
	}
	f.refuses(label.Lot, "L-2219", "joint rod-caps asks for no lot now")
	f.want(f.asked(), "new-bolts")
	f.replays()
	t.Run("no joint, no lot", func(t *testing.T) {
		f.must(audit.JointClosed{Bench: "B1", Run: 5, Person: "p1"})
		f.refuses(label.Lot, "L-2219", "start one first")
	})
}

// A joint with bolts that are used again, a measurement by the wrench between two stages and a verification round.
func TestChecks_FromTheFirstBoltToTheVerification(t *testing.T) {
	f := allChecks(t, "main-caps")
	for _, id := range []string{"1", "2", "3", "4"} {
		f.in("length "+id, "95.1 mm")
	}
	f.in("shell-lot", "S-7")
	f.snugAll()
	f.want(f.asked(), "drag")
	f.want(where(f.pull(5_500, 150_000)[0]), "drag: pass")
	for i := range int64(4) {
		f.pull(60_000, 22_500+i*100)
	}
	f.in("end-float", "0.11 mm")
	if s := f.shop.View("B1").Summary; !s.Complete || len(s.Verification) != 1 {
		t.Errorf("got %+v, want all but the verification", s)
	}
	for _, torque := range []int64{64_000, 70_000, 61_000, 66_000} {
		f.pull(torque, 1_600)
	}
	f.in("paint", "")
	if s := f.shop.View("B1").Summary; !s.Complete || len(s.Attention) != 0 || len(s.Verification) != 0 || s.BoltsDue != 0 {
		t.Errorf("got %+v, want everything done and nothing to say", s)
	}
	f.replays()
}
