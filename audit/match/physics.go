package match

import (
	"witnessmark/device/unit"
)

// Inside the matcher torques are in mN·m and angles in m°, as plain integers; densities are per mN·m and per m°.
const milli = int64(unit.NewtonMetre) / 1000 // µN·m in a mN·m

// physics is what was learned of a joint from its readings so far. Fasteners of one kind (the same figures in the same
// stage) behave alike; from slack and from a seated torque they turn differently, because the wrench begins to count
// at a threshold that nobody tells.
type physics struct {
	tools  []tool
	seated []samples // by kind: turn per rise of a fresh pull from the torque of a stage before, µ° per N·m
	turned []samples // by kind: rise per angle of a turn, µN·m per °
	wander deviation // of single fasteners from what they did in the stage before
}

// tool is one wrench at the joint.
type tool struct {
	wrench string
	slack  []samples // by kind: turn per rise of a fresh pull from slack, µ° per N·m, counted from this wrench's threshold
	wind   samples   // turn per torque of a pull that moved nothing, µ° per N·m: wrench, socket and shank wind up
	grain  int64     // m°: what the wrench counts angles in, as far as is seen
}

func newPhysics(kinds int) physics {
	return physics{seated: make([]samples, kinds), turned: make([]samples, kinds), wander: deviation{spread: ownScatter}}
}

// tool is the index of a wrench, which is new where it was not seen yet.
func (p *physics) tool(wrench string) int {
	for i := range p.tools {
		if p.tools[i].wrench == wrench {
			return i
		}
	}
	if len(p.tools) == maxTools { // nobody lays out so many for a joint; they share the last place
		return maxTools - 1
	}
	p.tools = append(p.tools, tool{wrench: wrench, slack: make([]samples, len(p.seated))})
	return len(p.tools) - 1
}

// samples is a small sorted set of what was measured, with its median, and the scatter about it in ‰. A median,
// because one bolt in twenty is odd and may be the first.
type samples struct {
	sorted [maxSamples]int64
	n      int
	rise   int64 // mean torque rise of the pulls, mN·m
	middle int64
	spread int64 // ‰
}

func (s *samples) add(v, rise int64) {
	if s.n == maxSamples || v <= 0 {
		return
	}
	i := s.n
	for ; i > 0 && s.sorted[i-1] > v; i-- {
		s.sorted[i] = s.sorted[i-1]
	}
	s.sorted[i] = v
	s.rise = (s.rise*int64(s.n) + rise) / int64(s.n+1)
	s.n++
	s.middle = (s.sorted[(s.n-1)/2] + s.sorted[s.n/2]) / 2
	sum := int64(priorSamples * frictionScatter * frictionScatter)
	for _, x := range s.sorted[:s.n] {
		d := min(max(x-s.middle, s.middle-x)*1000/s.middle, oddFrom)
		sum += d * d
	}
	v2 := sum / (priorSamples + int64(s.n))
	s.spread = root(v2 + v2/int64(s.n))
}

// root is the integer square root.
func root(x int64) int64 {
	r := int64(1)
	for r*r < x {
		r *= 2
	}
	for {
		next := (r + x/max(r, 1)) / 2
		if next >= r {
			return r
		}
		r = next
	}
}

// guess is an expected value with its relative scatter in ‰; scatter 0: nothing is known. It rests on so many pulls of its
// own kind.
type guess struct{ rate, spread, of int64 }

// fresh is what a pull that moves a fastener of a kind should turn per rise: as its own kind did with this wrench, in an
// earlier build, with another wrench, in another stage; at last as its geometry says.
func (m *Matcher) fresh(tool, kind int, slack bool) guess {
	p := &m.phys
	own, earlier := p.seated, m.earlier.Seated
	if slack {
		own, earlier = p.tools[tool].slack, m.earlier.Slack
	}
	if s := &own[kind]; s.n > 0 {
		return guess{s.middle, s.spread, int64(s.n)}
	}
	if len(earlier) > kind && earlier[kind] > 0 {
		return guess{earlier[kind], earlierBuild, 0}
	}
	if slack {
		for i := range p.tools {
			if s := &p.tools[i].slack[kind]; s.n > 0 {
				return guess{s.middle, otherKind, 0}
			}
		}
	}
	if s := latest(own); s != nil {
		return guess{s.middle, otherKind, 0}
	}
	other := p.seated
	if !slack {
		other = p.tools[tool].slack
	}
	if s := latest(other); s != nil {
		return guess{s.middle, otherStart, 0}
	}
	if m.supposed[kind] > 0 {
		return guess{m.supposed[kind], geometry, 0}
	}
	return guess{}
}

// turn is what a turn of a kind should rise per angle, µN·m per °.
func (m *Matcher) turn(kind int) guess {
	p := &m.phys
	if s := &p.turned[kind]; s.n > 0 {
		return guess{s.middle, s.spread, int64(s.n)}
	}
	if e := m.earlier.Turned; len(e) > kind && e[kind] > 0 {
		return guess{e[kind], earlierBuild, 0}
	}
	if s := latest(p.turned); s != nil {
		return guess{s.middle, otherKind, 0}
	}
	return guess{}
}

func latest(all []samples) *samples {
	for i := len(all) - 1; i >= 0; i-- {
		if all[i].n > 0 {
			return &all[i]
		}
	}
	return nil
}

// slackTurn is how far a slack fastener would turn to a torque, for a scale.
func (m *Matcher) slackTurn(tool, kind int, torque int64) int64 {
	g := m.fresh(tool, kind, true)
	if g.spread == 0 {
		g.rate = priorRate
	}
	return max(g.rate*torque/1_000_000, 1)
}

// slackRate is µ° per N·m of a fastener that moves, for a scale.
func (m *Matcher) slackRate(tool, kind int) int64 {
	g := m.fresh(tool, kind, false)
	if g.spread == 0 {
		return priorRate
	}
	return max(g.rate, 1)
}

// windUp is how far the wrench turns at a torque when nothing moves.
func (t *tool) windUp(torque int64) (turn int64, known bool) {
	return t.wind.middle * torque / 1_000_000, t.wind.n > 0
}

// noise is the variance of a reading's angle about what really turned: the wrench's own grain, and the hand.
func (t *tool) noise() int64 {
	return angleNoise*angleNoise + t.grain*t.grain/12
}

// see takes the grain of an angle into account: the largest step that all angles are multiples of.
func (t *tool) see(angle int64) {
	a, b := max(angle, -angle), t.grain
	for b != 0 {
		a, b = b, a%b
	}
	t.grain = min(a, maxGrain)
}
