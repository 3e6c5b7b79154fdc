package match_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
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

// uneven is a workshop whose bolts differ by 8 %, wander by 4 % from pull to pull, and whose hand scatters by 1 % and 1°.
type uneven struct {
	*workshop
	rand *rand.Rand
	own  []float64
	done []bool // by step: really
}

func newUneven(t *testing.T, seed uint64) *uneven {
	u := &uneven{workshop: newWorkshop(t), rand: rand.New(rand.NewPCG(seed, 4)), own: make([]float64, 8)}
	for i := range u.own {
		u.own[i] = u.scatter(0.08)
	}
	u.done = make([]bool, len(u.m.Steps()))
	return u
}

// scatter is about one; three times the share is the most.
func (u *uneven) scatter(share float64) float64 {
	return 1 + share*max(-3, min(3, u.rand.NormFloat64()))
}

// do makes the pull of a step, to a share of its target.
func (u *uneven) do(step int, share float64) match.Finding {
	s := u.m.Steps()[step]
	u.done[step] = share == 1
	rate, standing := u.own[s.Fastener]*u.scatter(0.04), float64(u.standing[s.Fastener])
	if s.Action == procedure.TurnBy {
		angle := float64(s.Angle)*share + 1000*(u.scatter(1)-1)
		u.standing[s.Fastener] += int64(angle * 0.7 / rate)
		return u.observe(s.Fastener, u.standing[s.Fastener], int64(angle))
	}
	torque := float64(s.Torque) / 1000 * share * u.scatter(0.01)
	perNm := 0.7
	if standing == 0 {
		perNm = 0.8
	}
	u.standing[s.Fastener] = int64(torque)
	return u.observe(s.Fastener, int64(torque), int64(1500+(torque-standing)*perNm*rate+500*(u.scatter(1)-1)))
}

// renew fits a new bolt.
func (u *uneven) renew(fastener int) {
	u.m.Replace(fastener)
	u.standing[fastener], u.own[fastener] = 0, u.scatter(0.08)
	for i, s := range u.m.Steps() {
		if s.Fastener == fastener {
			u.done[i] = false
		}
	}
}

// drawUp draws a fastener up from slack as far as the step goes.
func (u *uneven) drawUp(step int) (steps []int) {
	for i, s := range u.m.Steps()[:step+1] {
		if s.Fastener == u.m.Steps()[step].Fastener && !u.done[i] {
			steps = append(steps, i)
		}
	}
	return steps
}

// A bolt is renewed in a torque stage or in the turn, in the middle of the leg or at its end, for whatever reason, and the new
// one is drawn up at once or after the others: every pull that was good is a pass, and is at its step by the close, unless
// slack ones hide which it was.
func TestMatcher_RenewedAnywhere(t *testing.T) {
	for stage := range 3 {
		for k := range all {
			for _, why := range []string{"let go early", "run over", "all was good", "ahead of its pull"} {
				for _, late := range []bool{false, true} {
					t.Run(fmt.Sprintf("stage %d after %d, %s, late %v", stage, k, why, late), func(t *testing.T) {
						for seed := range uint64(3) {
							renewedAt(t, newUneven(t, seed), stage*8+k, why, late)
						}
					})
				}
			}
		}
	}
}

// renewedAt works a joint through, with a new bolt right after the pull of a step.
func renewedAt(t *testing.T, u *uneven, at int, why string, late bool) {
	t.Helper()
	leg := u.m.Steps()[at].Stage
	renewed, share := at, map[string]float64{"let go early": 0.75, "run over": 1.22}[why]
	switch why {
	case "all was good": // the first of the leg, or the last
		renewed = at / 8 * 8
	case "ahead of its pull":
		renewed = at/8*8 + 7
		if renewed == at {
			return
		}
	}
	for i := range at {
		u.do(i, 1)
	}
	u.do(at, max(share, map[bool]float64{true: 1}[share == 0]))
	u.renew(u.m.Steps()[renewed].Fastener)
	var rest []int
	for i := at + 1; i < leg*8+8; i++ {
		if i != renewed || !late {
			rest = append(rest, i)
		}
	}
	anew := u.drawUp(renewed)
	if why == "ahead of its pull" && !late {
		anew = anew[:len(anew)-1] // its pull of this leg comes in its turn
	}
	if late {
		rest = append(rest, anew...)
	} else {
		rest = append(anew, rest...)
	}
	for i := leg*8 + 8; i < len(u.m.Steps()); i++ {
		rest = append(rest, i)
	}
	told := leg > 0 || !late // among slack ones the order is presumed
	for _, i := range rest {
		f := u.do(i, 1)
		if f.Verdict != audit.Pass && f.Confidence >= audit.Certain/2 || told && f.Step != i && f.Confidence >= audit.Certain/10*8 {
			t.Errorf("got %s (%s, %s, %d ppm), want a pass at %s", u.where(f), f.Kind, f.Verdict, f.Confidence, u.where(match.Finding{Step: i}))
		}
	}
	u.m.Settle()
	if open := u.openSteps(); len(open) > 0 || slices.Contains(u.done, false) {
		t.Errorf("got %v open, want none", open)
	}
	for i, f := range u.m.Findings()[at+1:] {
		if told && f.Step != rest[i] {
			t.Errorf("at the close: got %s (%d ppm), want %s", u.where(f), f.Confidence, u.where(match.Finding{Step: rest[i]}))
		}
	}
}

// What was left out is not made good by a new bolt elsewhere.
func TestMatcher_RenewedAfterAMiss(t *testing.T) {
	for k := 1; k < 7; k++ {
		u := newUneven(t, uint64(k))
		for i := range 8 {
			u.do(i, 1)
		}
		for i := 8; i < 16; i++ {
			if i != 8+k {
				u.do(i, 1)
			}
			if i == 14 {
				u.renew(0)
				for _, i := range u.drawUp(8) {
					u.do(i, 1)
				}
			}
		}
		for i := 16; i < 24; i++ {
			u.do(i, 1)
		}
		u.m.Settle()
		if open := u.m.AnyOpen(); open < audit.Certain/2 {
			t.Errorf("seat %d left out: got %d ppm for there being an open step, want it likely", k+1, open)
		}
	}
}

// One was left out, the next one was not turned as it should be and is renewed: the new bolt's own turn is no second one of
// whoever was taken for it.
func TestMatcher_RenewedNextToAMiss(t *testing.T) {
	for k := 1; k < 6; k++ {
		for _, share := range []float64{0.78, 1.25} {
			u := newUneven(t, uint64(k))
			for i := range 16 + k {
				u.do(i, 1)
			}
			u.do(17+k, share)
			u.renew(k + 1)
			for _, i := range append(u.drawUp(17+k), 18+k) {
				if i == 24 {
					break
				}
				if f := u.do(i, 1); f.Verdict != audit.Pass {
					t.Errorf("turn %d left out: got %s (%s, %s, %d ppm), want a pass", k+1, u.where(f), f.Kind, f.Verdict, f.Confidence)
				}
			}
		}
	}
}

// Who loosens a bolt and then says that it was renewed has loosened that one.
func TestMatcher_LoosenedAndRenewed(t *testing.T) {
	for k := range 5 {
		u := newUneven(t, uint64(k))
		for i := range 14 {
			u.do(i, 1)
		}
		a := unit.Angle(60_000)
		u.m.Observe(match.Observation{Torque: unit.Torque(u.standing[k] * 850), Angle: &a, Direction: device.Loosen})
		u.renew(k)
		for _, i := range u.drawUp(8 + k) {
			u.do(i, 1)
		}
		if f := u.m.Findings()[14]; u.m.Steps()[f.Step].Fastener != k || f.Confidence < audit.Certain*3/4 {
			t.Errorf("got %s (%d ppm) for the loosening, want seat %d", u.where(f), f.Confidence, k+1)
		}
	}
}
