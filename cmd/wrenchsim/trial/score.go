package trial

import (
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
)

// Count is how many of how many.
type Count struct{ Hit, Of int }

func (c *Count) add(hit bool) {
	c.Of++
	if hit {
		c.Hit++
	}
}

// Share is the part that was hit; 1 of none.
func (c Count) Share() float64 {
	if c.Of == 0 {
		return 1
	}
	return float64(c.Hit) / float64(c.Of)
}

// Tally is what was found in the runs of one slip.
type Tally struct {
	Runs     int
	Found    Count // of the runs whose slip physics tells: it was found by the close
	Live     Count // … and said at once
	Hidden   Count // of the runs whose slip leaves no trace
	Flagged  Count // runs in which something wanted a person's eye
	Complete Count // incomplete runs, of those whose slip physics tells, that were called complete
	Light    Count // readings given to their step, by the close, where physics tells the step
	Said     Count // … at once
	Shadow   Count // readings among equal fasteners after a slip
}

// Bin is what was said with about the same confidence.
type Bin struct {
	Count
	Sum int64 // of the confidences, in millionths
}

// Bins are the marks by confidence, a twentieth each.
type Bins [20]Bin

func (b *Bins) add(c audit.Share, right bool) {
	i := min(int(c)*len(b)/int(audit.Certain), len(b)-1)
	b[i].add(right)
	b[i].Sum += int64(c)
}

// Error is the expected calibration error: the mean distance of what was said from what was so, weighed by the number
// of marks (Naeini, Cooper, Hauskrecht: Obtaining well calibrated probabilities using Bayesian binning, AAAI 2015; from memory).
func (b *Bins) Error() float64 {
	var sum, n float64
	for _, bin := range b {
		d := float64(bin.Hit) - float64(bin.Sum)/1e6
		sum += max(d, -d)
		n += float64(bin.Of)
	}
	if n == 0 {
		return 0
	}
	return sum / n
}

// Score is what came of many runs.
type Score struct {
	Slips       map[Slip]*Tally
	Cursor      map[Slip]*Tally // the same runs by a cursor that counts hits
	Ways        map[Way]*Watch  // those that were seen
	Live, Final Bins
	bound       bound
}

// NewScore is a score of no runs.
func NewScore() *Score {
	s := &Score{Slips: map[Slip]*Tally{}, Cursor: map[Slip]*Tally{}, Ways: map[Way]*Watch{}}
	for _, slip := range Slips() {
		s.Slips[slip], s.Cursor[slip] = &Tally{}, &Tally{}
	}
	return s
}

// Add plays a run to the bench and to the cursor.
func (s *Score) Add(r *Run) {
	got := hear(r)
	steps := r.Joint.Sequence()
	live, final := places(r.Joint, steps, got.live), places(r.Joint, steps, got.final)
	t := s.Slips[r.Slip]
	t.book(r, live, final, found(r, got.final, final, got.complete), found(r, got.live, live, got.complete))
	t.Flagged.add(got.attention)
	if r.Incomplete() && r.Knowable {
		t.Complete.add(got.complete)
	}
	for i, l := range r.Labels {
		s.Live.add(got.live[i].Confidence, live[i] == l.Step)
		s.Final.add(got.final[i].Confidence, final[i] == l.Step)
	}
	s.count(r, steps)
	s.bound.add(r)
	if r.Way == "" {
		return
	}
	if s.Ways[r.Way] == nil {
		s.Ways[r.Way] = &Watch{}
	}
	s.Ways[r.Way].add(r, got, live, final, steps)
}

func (t *Tally) book(r *Run, live, final []int, found, atOnce bool) {
	t.Runs++
	if r.Slip != Clean && r.Knowable {
		t.Found.add(found)
		t.Live.add(atOnce)
	} else if r.Slip != Clean {
		t.Hidden.add(found)
	}
	for i, l := range r.Labels {
		switch {
		case l.Shadow:
			t.Shadow.add(final[i] == l.Step)
		default:
			t.Light.add(final[i] == l.Step)
			t.Said.add(live[i] == l.Step)
		}
	}
}

// places are the steps that marks were given to, -1: none.
func places(j *procedure.Joint, steps []procedure.Step, marks []audit.Mark) []int {
	out := make([]int, len(marks))
	for i, m := range marks {
		out[i] = slices.IndexFunc(steps, func(s procedure.Step) bool {
			return j.Stages[s.Stage].ID == m.Stage && j.Fasteners[s.Fastener].ID == m.Fastener
		})
	}
	return out
}

// found says whether the slip of a run was told.
func found(r *Run, marks []audit.Mark, at []int, complete bool) bool {
	i := slices.IndexFunc(r.Labels, func(l Label) bool { return l.Slip })
	switch r.Slip {
	case AgainMiss, AgainExtra, AgainOld, TurnTwice:
		return slices.Contains(marks[i].Flags, audit.ReHit)
	case LowNoticed, LowUnseen:
		return marks[i].Verdict == audit.LowTorque || marks[i].Verdict == audit.LowAngle
	case TooHigh:
		return marks[i].Verdict == audit.HighTorque || marks[i].Verdict == audit.HighAngle
	case TurnedBack:
		return slices.Contains(marks[i].Flags, audit.Unexpected) && !complete
	case Elsewhere:
		return at[i] < 0
	case Swapped, MadeGood:
		return slices.ContainsFunc(marks, func(m audit.Mark) bool { return slices.Contains(m.Flags, audit.OutOfOrder) })
	}
	return complete != r.Incomplete()
}

// count does what a sheet with a cursor does: a reading inside the limits ticks the next step off.
func (s *Score) count(r *Run, steps []procedure.Step) {
	at, next := make([]int, len(r.Readings)), 0
	for i := range r.Readings {
		at[i] = min(next, len(steps)-1)
		if next < len(steps) && inside(&steps[next], r, i) {
			next++
		}
	}
	complete := next == len(steps)
	t := s.Cursor[r.Slip]
	caught := complete != r.Incomplete() && r.Slip != Clean
	t.book(r, at, at, caught, caught)
	t.Flagged.add(!complete)
	if r.Incomplete() && r.Knowable {
		t.Complete.add(complete)
	}
}

func inside(s *procedure.Step, r *Run, i int) bool {
	rd := &r.Readings[i]
	if s.Action != procedure.TightenTo {
		return rd.Angle != nil && *rd.Angle >= s.Angles.Low && *rd.Angle <= s.Angles.High
	}
	return rd.Torque >= s.Torques.Low && rd.Torque <= s.Torques.High
}
