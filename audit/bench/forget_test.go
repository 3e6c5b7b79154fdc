package bench_test

import (
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/device/label"
)

func TestShop_Forget(t *testing.T) {
	f := newFloor(t)
	f.must(audit.PersonAdded{Person: "p2", Name: "Odo Brandt"})
	f.must(audit.BadgeGiven{Badge: "B-7", Person: "p1", By: "p2"})
	good := audit.PersonForgotten{Person: "p1", Reason: "ten years are over", By: "p2"}
	for rule, c := range map[string]struct {
		change func(*audit.PersonForgotten)
		want   string
	}{
		"nobody":            {func(e *audit.PersonForgotten) { e.Person = "p9" }, "check the spelling"},
		"no reason":         {func(e *audit.PersonForgotten) { e.Reason = " " }, "give one"},
		"by oneself":        {func(e *audit.PersonForgotten) { e.By = "p1" }, "by someone else"},
		"an id that is SQL": {func(e *audit.PersonForgotten) { e.Person = "'; --" }, "check the spelling"},
	} {
		ev := good
		c.change(&ev)
		if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", rule, err, c.want)
		}
	}
	signIn := audit.LabelScanned{Bench: "B1", Scanner: "S", Label: label.Badge, Value: "B-7", Text: "B:B-7", Person: "p1"}
	f.must(signIn)
	if err := f.shop.Refusal(good); err == nil || !strings.Contains(err.Error(), "signed in at bench B1") {
		t.Errorf("signed in: got %v", err)
	}
	f.must(audit.BadgeGiven{Badge: "B-7", By: "p2"})
	f.must(audit.BadgeGiven{Badge: "B-8", Person: "p1", By: "p2"})
	f.must(good)
	if id, ok := f.shop.Person("Ines Falk"); ok {
		t.Errorf("got %s by the name, want nobody", id)
	}
	if id, ok := f.shop.Person(""); ok {
		t.Errorf("got %s by no name", id)
	}
	if got := f.shop.Badges(); len(got) != 0 || f.shop.PersonName("p1") != "" {
		t.Errorf("got badges %v and the name %q, want neither", got, f.shop.PersonName("p1"))
	}
	if err := f.shop.Refusal(good); err == nil || !strings.Contains(err.Error(), "is blanked") {
		t.Errorf("twice: got %v", err)
	}
	if err := f.shop.Refusal(audit.PersonAdded{Person: "p3", Name: "Ines Falk"}); err != nil {
		t.Errorf("someone of the same name: got %v, want a new person", err)
	}
}

func TestShop_Found(t *testing.T) {
	f := newFloor(t)
	good := audit.CalibrationFound{Wrench: "W1", Certificate: "K-1", Found: start, Points: "2.5 %@40 N·m", Person: "p1"}
	f.must(good)
	for rule, c := range map[string]struct {
		change func(*audit.CalibrationFound)
		want   string
	}{
		"a wrench that is not here":  {func(e *audit.CalibrationFound) { e.Wrench = "W9" }, "no wrench"},
		"no certificate":             {func(e *audit.CalibrationFound) { e.Certificate = "" }, "certificate"},
		"no day":                     {func(e *audit.CalibrationFound) { e.Found = time.Time{} }, "the day"},
		"nobody":                     {func(e *audit.CalibrationFound) { e.Person = "" }, "a person"},
		"points that cannot be read": {func(e *audit.CalibrationFound) { e.Points = "much" }, "a deviation at a torque"},
		"points written otherwise":   {func(e *audit.CalibrationFound) { e.Points = "2.50%@40 Nm" }, "they are written"},
	} {
		ev := good
		c.change(&ev)
		if err := f.shop.Refusal(ev); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", rule, err, c.want)
		}
	}
}
