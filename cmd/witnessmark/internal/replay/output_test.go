package replay_test

import (
	"strings"
	"testing"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/replay"
	"witnessmark/cmd/witnessmark/internal/show"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// nearly is one reading of which the place is next to certain, with a summary.
func nearly(s bench.Summary) ([]device.Reading, *bench.Replayed) {
	m := []audit.Mark{{Stage: "seat", Fastener: "6", Verdict: audit.Pass, Confidence: 999_600, LocatedBy: audit.ByOrder}}
	return []device.Reading{{Wrench: "W1", Torque: 60 * unit.NewtonMetre, Unit: "N·m"}}, &bench.Replayed{Live: m, Final: m, Summary: s}
}

func TestText_SaysTheSummaryInTheWordsOfTheBench(t *testing.T) {
	missed := bench.OpenStage{Stage: "seat", Fasteners: []string{"6"}, Candidates: []string{"3", "6"}}
	later := bench.OpenStage{Stage: "residual", Fasteners: []string{"2"}}
	for rule, c := range map[string]struct {
		summary bench.Summary
		want    string
	}{
		"complete": {bench.Summary{Complete: true}, "\nEvery step is done.\n\n" + show.Safety + "\n"},
		"tightened, and to be verified": {bench.Summary{Complete: true, Verification: []bench.OpenStage{later}},
			"\nAll of this joint is tightened; its verification is still open.\n  later  verification is still open: stage residual: fastener 2\n\n" + show.Safety},
		"open, with those that may have been missed": {bench.Summary{Open: []bench.OpenStage{missed}},
			"\nNot complete.\n  open   stage seat: one of these was missed: 3, 6 (presumed: 6)\n\n" + show.Safety},
	} {
		t.Run(rule, func(t *testing.T) {
			var out strings.Builder
			readings, r := nearly(c.summary)
			if err := replay.Text(&out, readings, r); err != nil {
				t.Fatal(err)
			}
			if got := out.String(); !strings.Contains(got, c.want) {
				t.Errorf("got\n%s\nwant in it\n%s", got, c.want)
			}
		})
	}
}

func TestReplay_NothingIsRoundedUpToCertain(t *testing.T) {
	readings, r := nearly(bench.Summary{Complete: true})
	var text, lines strings.Builder
	if err := replay.Text(&text, readings, r); err != nil {
		t.Fatal(err)
	}
	if got := text.String(); !strings.Contains(got, ">99 %") || strings.Contains(got, "100 %") {
		t.Errorf("got\n%s\nwant >99 %% for 0.9996", got)
	}
	if err := replay.JSON(&lines, r); err != nil {
		t.Fatal(err)
	}
	if got := lines.String(); strings.Count(got, `"confidence":0.999600`) != 2 {
		t.Errorf("got\n%s\nwant all six digits, live and final", got)
	}
}
