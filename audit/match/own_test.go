package match_test

import (
	"testing"

	"witnessmark/audit"
)

// stiffness is how much stiffer than the others each of the caps' bolts is, in percent.
type stiffness [8]int64

// drawnUp takes all bolts to their torque, each as far as its stiffness says.
func (w *workshop) drawnUp(s stiffness) {
	for stage := range 2 {
		for f := range w.j.Fasteners {
			g, _ := w.j.Figures(stage, f)
			torque := int64(g.Torque)/1000 + wobble(w.pulls)*10
			angle := 1500 + (torque-w.standing[f])*80/s[f]
			w.standing[f] = torque
			w.observe(f, torque, angle)
		}
	}
}

// turned turns one bolt by 90° to a torque in mN·m.
func (w *workshop) turned(f int, torque int64) { w.observe(f, torque, 90_000+wobble(w.pulls)*200) }

// A reading that would be far off for the bolt whose turn it is, and right for a second turn of the one before, is doubted; it
// is not where that bolt was as stiff all along.
func TestMatcher_ASecondTurnIsWeighedByTheFrictionOfEachBolt(t *testing.T) {
	for _, c := range []struct {
		name        string
		fourth      int64
		least, most audit.Share
	}{{"the next one was somewhat stiffer", 120, 50_000, audit.Certain}, {"the next one was as stiff before", 150, 0, 5_000}} {
		t.Run(c.name, func(t *testing.T) {
			w := newWorkshop(t)
			w.drawnUp(stiffness{100, 98, 75, c.fourth, 103, 100, 101, 99})
			for f, torque := range []int64{122_000, 121_000, 106_500, 153_000, 123_000, 121_500, 86_000, 85_000} {
				w.turned(f, torque)
			}
			if got := w.m.AnyOpen(); got < c.least || got > c.most {
				t.Errorf("got %d ppm for an open step, want %d to %d", got, c.least, c.most)
			}
		})
	}
}

// Nobody takes a joint for done that has its last bolt before it, unless by a slip.
func TestMatcher_ASlipThatWouldLeaveTheLastOneIsSeldom(t *testing.T) {
	w := newWorkshop(t)
	w.drawnUp(stiffness{100, 98, 102, 101, 103, 100, 101, 99})
	for f, torque := range []int64{122_000, 121_000, 122_500, 121_000, 123_000, 132_000, 86_000} {
		w.turned(f, torque)
	}
	if got := w.m.AnyOpen(); got < audit.Certain*99/100 {
		t.Errorf("before the last: got %d ppm for an open step, want next to certain", got)
	}
	w.turned(7, 85_000)
	if got := w.m.AnyOpen(); got > 2_000 {
		t.Errorf("after the last: got %d ppm for an open step, want less than 2000", got)
	}
}

// A joint that is doubted for its turn is not for the stages before it.
func TestMatcher_WhatIsOpenIsToldByStage(t *testing.T) {
	w := newWorkshop(t)
	w.drawnUp(stiffness{100, 98, 75, 100, 103, 100, 101, 99})
	for f, torque := range []int64{122_000, 121_000, 106_500, 153_000, 123_000, 121_500, 86_000, 85_000} {
		w.turned(f, torque)
	}
	of := func(want int) audit.Share { return w.m.AnyOpenOf(func(stage int) bool { return stage == want }) }
	if seat, turn := of(1), of(2); seat > 10_000 || turn < audit.Certain/2 || w.m.AnyOpen() < turn {
		t.Errorf("got %d ppm for the seat, %d for the turn, %d in all, want the turn doubted", seat, turn, w.m.AnyOpen())
	}
	for stage, n := range w.m.Blind() {
		if n != 0 {
			t.Errorf("stage %d: got %d readings that would look the same, want none", stage, n)
		}
	}
}
