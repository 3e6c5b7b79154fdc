package bench_test

import (
	"errors"
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/device/label"
)

func TestShop_HandOver(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Cy Moor"})
	f.must(audit.BadgeGiven{Badge: "B-7", Person: "p1", By: "p1"})
	f.must(audit.LabelScanned{Bench: "B1", Scanner: "S", Label: label.Badge, Value: "B-7", Run: f.shop.Run("B1"), Person: "p1"})
	over := audit.HandedOver{Bench: "B1", Run: f.shop.Run("B1"), Person: "p2"}
	for rule, tc := range map[string]struct {
		ev   audit.HandedOver
		want string
	}{
		"with no joint on the bench":     {audit.HandedOver{Bench: "B2", Run: over.Run, Person: "p2"}, "no joint is on bench B2"},
		"after the joint has changed":    {audit.HandedOver{Bench: "B1", Run: over.Run - 1, Person: "p2"}, "has changed meanwhile"},
		"to somebody whom nobody knows":  {audit.HandedOver{Bench: "B1", Run: over.Run, Person: "p9"}, "name one"},
		"to the one who has it in hands": {audit.HandedOver{Bench: "B1", Run: over.Run, Person: "p1"}, "already"},
	} {
		if err := f.shop.Refusal(tc.ev); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: got %v, want %q", rule, err, tc.want)
		}
	}
	f.must(over)
	if got, at := f.shop.Hand("B1"), f.shop.SignedIn("B1"); got != "p2" || at != "p2" {
		t.Errorf("got it in the hands of %q and %q at the scanner, want p2 twice", got, at)
	}
	if err := f.shop.Refusal(over); !errors.Is(err, bench.ErrAlready) {
		t.Errorf("got %v, want it theirs already", err)
	}
	again, err := bench.Restored(f.shop.Snapshot(), f.shelf)
	if err != nil || again.Hand("B1") != "p2" {
		t.Errorf("got it in the hands of %q, %v after a snapshot", again.Hand("B1"), err)
	}
	f.must(audit.LabelScanned{Bench: "B1", Scanner: "S", Label: label.Badge, Value: "B-7", Run: over.Run, Person: "p1"})
	if got := f.shop.Hand("B1"); got != "p1" {
		t.Errorf("got it in the hands of %q, want p1 who scanned the badge", got)
	}
	f.must(audit.JointClosed{Bench: "B1", Run: over.Run, Person: "p1"})
	if got := f.shop.Hand("B1"); got != "" {
		t.Errorf("got it in the hands of %q after it was closed", got)
	}
}
