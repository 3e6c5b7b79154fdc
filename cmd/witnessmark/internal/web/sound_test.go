package web

import (
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
)

func TestSound(t *testing.T) {
	taken := audit.ReadingTaken{}.Kind()
	good := audit.Mark{Verdict: audit.Pass, LocatedBy: audit.ByOrder}
	flagged := func(flag string) audit.Mark {
		m := good
		m.Flags = []string{flag}
		return m
	}
	for name, c := range map[string]struct {
		kind string
		mark *audit.Mark
		want string
	}{
		"a pass":                               {taken, &good, "pass"},
		"a pass near a limit":                  {taken, new(flagged(audit.Conditional)), "pass"},
		"a pass from the wrench's memory":      {taken, new(flagged(audit.Resent)), "pass"},
		"a second hit":                         {taken, new(flagged(audit.ReHit)), "attention"},
		"one that is not sure":                 {taken, new(flagged(audit.Unsure)), "attention"},
		"one with a wrench that is overdue":    {taken, new(flagged(audit.OutOfCalibration)), "attention"},
		"too little":                           {taken, &audit.Mark{Verdict: audit.LowTorque}, "attention"},
		"one of no step":                       {taken, &audit.Mark{Verdict: audit.NotJudged}, "attention"},
		"a reading with no joint there":        {taken, nil, ""},
		"an answer after a second hit":         {audit.CheckAnswered{}.Kind(), new(flagged(audit.ReHit)), ""},
		"a person's word on the last one":      {audit.FastenerNamed{}.Kind(), &good, ""},
		"the present state, as it is at first": {"", &good, ""},
	} {
		u := control.Update{Kind: c.kind}
		if c.mark != nil {
			u.View.Last = &bench.LastReading{Mark: *c.mark}
		}
		if got := sound(u); got != c.want {
			t.Errorf("%s: got %q, want %q", name, got, c.want)
		}
	}
}
