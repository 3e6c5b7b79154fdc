package procedure

import (
	"fmt"
	"strings"
	"testing"
)

// file is a procedure with one joint; the parts of it that a test is about are put in.
func file(typ, joint, fasteners, stage string) string {
	return "format: witnessmark/procedure/1\nfamily: F\nrevision: r\ntitle: T\nsource: S\ndecision: simple\n" +
		"fastener_types:\n  bolt: {" + typ + "}\njoints:\n- {id: " + joint + ", title: J, criticality: C, round: stage, order: listed,\n" +
		"   fasteners: [" + fasteners + "],\n   stages: [{id: s, " + stage + "}],\n   checks: [{id: c, ask: Ask, accept: 5..10°, by: wrench}]}\n"
}

const (
	plainType  = "thread: M8"
	plainBolt  = `{id: "1", type: bolt}`
	plainStage = "tighten_to: 60 N·m, accept: ±5 %"
)

func bolts(n int) string {
	var all []string
	for i := range n {
		all = append(all, fmt.Sprintf("{id: b%d}", i))
	}
	return strings.Join(all, ", ")
}

func TestParse_Limits(t *testing.T) {
	stage := func(s string) string { return file(plainType, "j", plainBolt, s) }
	typ := func(s string) string { return file("thread: M8, "+s, "j", plainBolt, plainStage) }
	cases := []struct {
		rule, text, fault string // no fault: accepted
	}{
		{"a plain file", stage(plainStage), ""},
		{"a target on the lower limit", stage("tighten_to: 57 N·m, accept: 57..63 N·m"), ""},
		{"a target on the upper limit", stage("tighten_to: 63 N·m, accept: 57..63 N·m"), ""},
		{"a target just below the window", stage("tighten_to: 56.999999 N·m, accept: 57..63 N·m"), "inside what is accepted"},
		{"a target just above the window", stage("tighten_to: 63.000001 N·m, accept: 57..63 N·m"), "inside what is accepted"},
		{"both limits the same", stage("tighten_to: 60 N·m, accept: 60..60 N·m"), ""},
		{"a tolerance as large as the target", stage("tighten_to: 60 N·m, accept: ±100 %"), ""},
		{"a tolerance in ASCII", stage("tighten_to: 60 N·m, accept: +/-3 N·m"), ""},
		{"a tolerance in another unit", stage("tighten_to: 60 N·m, accept: ±2 lbf·ft"), ""},
		{"limits in two units", stage("tighten_to: 60 N·m, accept: 40 lbf·ft..63 N·m"), ""},
		{"a unit behind the first limit only", stage("tighten_to: 60 N·m, accept: 57 N·m..63"), "the unit is missing"},
		{"a tolerance below zero", stage("tighten_to: 60 N·m, accept: ±-3 N·m"), "less than 0 N·m"},
		{"a tolerance without unit", stage("tighten_to: 60 N·m, accept: ±3"), "the unit is missing"},
		{"a share below zero", stage("tighten_to: 60 N·m, accept: ±-5 %"), "no plain number"},
		{"a share as a fraction", stage("tighten_to: 60 N·m, accept: ±1/2 %"), "no plain number"},
		{"a share of nothing", stage("tighten_to: 60 N·m, accept: ± %"), "no plain number"},
		{"a long share", stage("tighten_to: 60 N·m, accept: ±5.0000000000 %"), ""},
		{"too long a share", stage("tighten_to: 60 N·m, accept: ±5.00000000000 %"), "no plain number"},
		{"a share beyond all numbers", stage("tighten_to: 99999 N·m, accept: ±999999999999 %"), "the share is too large"},
		{"a wrong second limit", stage("tighten_to: 60 N·m, accept: 57..6.3.0 N·m"), `"6.3.0" is not a number`},
		{"the largest torque", stage("tighten_to: 100000 N·m, accept: 90000..100000 N·m"), ""},
		{"a larger torque", stage("tighten_to: 100000.000001 N·m, accept: ±5 %"), "more than 100000 N·m"},
		{"the largest angle", stage("tighten_to: 60 N·m, accept: ±5 %, angle: 0..36000°"), ""},
		{"a larger angle", stage("tighten_to: 60 N·m, accept: ±5 %, angle: 0..36001°"), "more than 36000°"},
		{"loosening first", stage("loosen_by: 90°, accept: ±15°"), ""},
		{"one torque cycle", typ(`reuse: "1"`), ""},
		{"a thousand torque cycles", typ("reuse: 1000"), ""},
		{"no torque cycle", typ("reuse: 0"), "the number of torque cycles"},
		{"too many torque cycles", typ("reuse: 1001"), "the number of torque cycles"},
		{"torque cycles with a zero before", typ(`reuse: "01"`), "the number of torque cycles"},
		{"an empty reuse", typ(`reuse: ""`), "expected one line of text"},
		{"a line of 300 bytes", typ("lubrication: " + strings.Repeat("x", 300)), ""},
		{"a longer line", typ("lubrication: " + strings.Repeat("x", 301)), "found a text of 301 bytes"},
		{"two lines", typ(`lubrication: "oil\nor grease"`), "expected one line of text"},
		{"an id of 64 letters", file(plainType, strings.Repeat("j", 64), plainBolt, plainStage), ""},
		{"a longer id", file(plainType, strings.Repeat("j", 65), plainBolt, plainStage), "expected 1 to 64 letters"},
		{"an empty id", file(plainType, `""`, plainBolt, plainStage), "expected 1 to 64 letters"},
		{"an id of dots", file(plainType, `..`, plainBolt, plainStage), "expected 1 to 64 letters"},
		{"400 fasteners", file(plainType, "j", bolts(400), plainStage), ""},
		{"401 fasteners", file(plainType, "j", bolts(401), plainStage), "found 401 fasteners, expected at most 400"},
		{"a fastener without id", file(plainType, "j", "{type: bolt}", plainStage), `found no key "id"`},
		{"a check by wrench of an angle", stage(plainStage), ""},
	}
	for _, c := range cases {
		t.Run(c.rule, func(t *testing.T) {
			_, err := Parse("f", []byte(c.text))
			switch {
			case c.fault == "" && err != nil:
				t.Errorf("got %v, want no fault", err)
			case c.fault != "" && (err == nil || !strings.Contains(err.Error(), c.fault)):
				t.Errorf("got %v, want a fault with %q", err, c.fault)
			case c.fault != "" && strings.Contains(err.Error(), "\n"):
				t.Errorf("got %v, want one fault", err)
			}
		})
	}
}

// A share is rounded to a whole µN·m, a half up.
func TestQuantity_Share(t *testing.T) {
	for _, c := range []struct {
		target int64
		share  string
		want   window
	}{
		{60_000_000, "±5 %", window{57_000_000, 63_000_000}},
		{60_000_000, "± 2.5%", window{58_500_000, 61_500_000}},
		{10, "±5 %", window{9, 11}},        // 0.5
		{10, "±4.9 %", window{10, 10}},     // 0.49, which is nothing
		{333, "±33.3 %", window{222, 444}}, // 110.889
		{30, "±55 %", window{13, 47}},      // 16.5
		{100_000_000_000, "±0.000001 %", window{100_000_000_000 - 1_000, 100_000_000_000 + 1_000}},
	} {
		got, err := torques.accepted(c.share, c.target)
		if c.want.low == c.want.high {
			if err == nil {
				t.Errorf("%s of %d: got %v, want an error", c.share, c.target, got)
			}
			continue
		}
		if err != nil || got != c.want {
			t.Errorf("%s of %d: got %v, %v, want %v", c.share, c.target, got, err, c.want)
		}
	}
}

func TestRange_String(t *testing.T) {
	for want, r := range map[string]Range{
		"0.07 … 0.23 mm": {70_000, 230_000, "mm"},
		"-0.05 … 0.1 mm": {-50_000, 100_000, "mm"},
		"0 … 9 N·m":      {0, 9_000_000, "N·m"},
		"5.5 … 10°":      {5_500, 10_000, "°"},
	} {
		if got := r.String(); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}

func TestFigures_Target_without_window(t *testing.T) {
	for want, f := range map[string]Figures{
		"60 N·m":       {Action: TightenTo, Torque: 60_000_000},
		"turn 90°":     {Action: TurnBy, Angle: 90_000},
		"back off 45°": {Action: LoosenBy, Angle: 45_000},
	} {
		if got := f.Target(); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
}
