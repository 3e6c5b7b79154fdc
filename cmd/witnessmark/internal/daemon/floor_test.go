package daemon

import "testing"

// What was pulled at is remembered of the builds that were worked on last, and after a snapshot as before it.
func TestFloor_RemembersTheNewestBuilds(t *testing.T) {
	f := &floor{tried: map[uint64]*pulledAt{}}
	at := spot{"caps", "snug", "1"}
	for build := uint64(1); build <= mostTried+1; build++ {
		if !f.try(build, at) {
			t.Fatalf("build %d: got no first pull", build)
		}
		if build > 1 && f.try(2, at) { // goes on all the time
			t.Fatalf("after build %d: got a first pull of build 2 once more", build)
		}
	}
	if len(f.tried) != mostTried || f.tried[1] != nil || f.tried[2] == nil {
		t.Errorf("got %d builds, want %d, without the first", len(f.tried), mostTried)
	}
	again := &floor{tried: map[uint64]*pulledAt{}}
	for _, s := range f.triedSteps() {
		again.try(s.Build, spot{s.Joint, s.Stage, s.Fastener})
	}
	for _, g := range []*floor{f, again} {
		g.try(99, at)
		if g.tried[3] != nil || g.tried[4] == nil {
			t.Errorf("got build 3 remembered: %t, build 4: %t; want the one that was worked on longest ago gone", g.tried[3] != nil, g.tried[4] != nil)
		}
	}
}
