package match_test

import (
	"fmt"
	"os"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// Pulls on ten main bolts of the long block, in tenths of N·m and degrees; those of the turn by fastener.
var (
	toTheTurn = [][2]int64{
		{300, 21}, {302, 26}, {298, 22}, {301, 25}, {301, 22}, {304, 22}, {300, 21}, {300, 23}, {121, 9}, {121, 9},
		{607, 27}, {597, 32}, {606, 28}, {603, 31}, {600, 27}, {605, 28}, {606, 27}, {606, 29}, {282, 21}, {281, 21},
	}
	theTurn  = map[string][2]int64{"5": {1228, 90}, "4": {1196, 90}, "3": {1222, 91}, "6": {1202, 89}, "1": {1202, 90}, "8": {1219, 90}, "7": {1226, 90}, "2": {1213, 90}}
	turnedAt = []string{"5", "4", "3", "6", "1", "8", "7", "2"}
)

// capsBench is the main caps of the long block with their first two stages done.
type capsBench struct {
	m  *match.Matcher
	no map[string]int // the observation of the turn of a fastener
	n  int
}

func newCapsBench(t *testing.T) *capsBench {
	const file = "../../testdata/procedures/tb-42-rev-4.yaml"
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	p, err := procedure.Parse(file, text)
	if err != nil {
		t.Fatal(err)
	}
	b := &capsBench{match.New(&p.Joints[0]), map[string]int{}, 0}
	for _, x := range toTheTurn {
		b.pull(x)
	}
	return b
}

func (b *capsBench) pull(x [2]int64) match.Finding {
	a := unit.Angle(x[1] * 1000)
	b.n++
	return b.m.Observe(match.Observation{Torque: unit.Torque(x[0] * 100_000), Angle: &a, Direction: device.Tighten})
}

// turnAllBut turns all fasteners but one, and lets one go early where early is not empty.
func (b *capsBench) turnAllBut(left, early string) {
	for _, f := range turnedAt {
		x := theTurn[f]
		if f == early {
			x = [2]int64{1188, 70}
		}
		if f != left {
			b.no[f] = b.n
			b.pull(x)
		}
	}
}

func (b *capsBench) fastener(f match.Finding) string {
	for i, id := range []string{"1", "2", "3", "4", "5", "6", "7", "8", "9", "10"} {
		if f.Step >= 0 && b.m.Steps()[f.Step].Fastener == i {
			return id
		}
	}
	return ""
}

// A new bolt was fitted while another waits for its turn, and the technician turns that other one first: a good pull is
// not said to be a second turn of a fastener that is done. Named: a person had said where the last two were; if not, where
// nobody can know which one was left out, such a thing may be said as a guess, which asks for that person's word.
func TestMatcher_AfterARenewalTheOtherOpenOne(t *testing.T) {
	for _, left := range turnedAt {
		for _, renewed := range turnedAt {
			for _, early := range []string{"", renewed} {
				for _, named := range []bool{false, true} {
					if left == renewed {
						continue
					}
					t.Run(fmt.Sprintf("left %s renewed %s early %q named %v", left, renewed, early, named), func(t *testing.T) {
						b := newCapsBench(t)
						b.turnAllBut(left, early)
						for _, f := range turnedAt[5:] {
							if named && f != left {
								b.m.Name(b.no[f], f)
							}
						}
						b.m.Replace(int(renewed[0] - '1'))
						f := b.pull(theTurn[left])
						if again := f.Verdict != audit.Pass || f.Kind == match.ReHit; again && (named || f.Confidence > audit.Certain/2) {
							t.Errorf("got %+v at fastener %s, want a pass at an open one", f, b.fastener(f))
						}
					})
				}
			}
		}
	}
}

// A bolt that was turned a second time and yielded tells nothing of how far others rise.
func TestMatcher_ASecondTurnTeachesNothing(t *testing.T) {
	b := newCapsBench(t)
	b.turnAllBut("8", "1")
	b.m.Name(b.no["2"], "2")
	b.m.Name(b.no["7"], "7")
	b.m.Replace(0)
	if f := b.pull(theTurn["8"]); b.fastener(f) != "8" || f.Verdict != audit.Pass || f.Kind != match.MakeGood {
		t.Errorf("got %+v at fastener %s, want a pass that makes 8 good", f, b.fastener(f))
	}
}
