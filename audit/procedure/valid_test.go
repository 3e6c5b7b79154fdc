package procedure

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"witnessmark/device/unit"
)

const files = "../../testdata/procedures/"

func parseFile(t testing.TB, name string) *Procedure {
	t.Helper()
	text, err := os.ReadFile(files + name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := Parse(name, text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func theJoint(t testing.TB, p *Procedure, id string) *Joint {
	t.Helper()
	j, ok := p.Joint(id)
	if !ok {
		t.Fatalf("joint %s: not found", id)
	}
	return j
}

// round writes a sequence as "stage: fastener fastener …", a part for each run of one stage.
func round(j *Joint) string {
	var parts []string
	stage := -1
	for _, s := range j.Sequence() {
		if s.Stage != stage {
			parts = append(parts, j.Stages[s.Stage].ID+":")
			stage = s.Stage
		}
		parts[len(parts)-1] += " " + j.Fasteners[s.Fastener].ID
	}
	return strings.Join(parts, ", ")
}

func TestParse_LongBlock(t *testing.T) {
	p := parseFile(t, "tb-42-rev-4.yaml")
	if got, want := fmt.Sprint(p.Family, p.Revision, p.Title, p.Decision, len(p.Joints)), fmt.Sprint("TB-42", "4", "Long block", Simple, 4); got != want {
		t.Errorf("head: got %s, want %s", got, want)
	}
	want := FastenerType{Thread: "M12x1.75", Length: 95 * unit.Millimetre, Class: "10.9", Reuse: "never", Lubrication: "oiled, thread and head"}
	if got := p.Types["main-long"]; got != want {
		t.Errorf("main-long: got %+v, want %+v", got, want)
	}
	caps := theJoint(t, p, "main-caps")
	if f := caps.Fasteners[4]; caps.Criticality != ClassA || f.ID != "5" || f.X != 270*unit.Millimetre || f.Y != 90*unit.Millimetre || f.Type != "main-long" || !f.Placed {
		t.Errorf("main-caps: got class %s and fastener %+v", caps.Criticality, f)
	}
	if _, ok := p.Joint("valves"); ok {
		t.Error("joint valves: got one, want none")
	}
}

func TestJoint_Sequence(t *testing.T) {
	p := parseFile(t, "tb-42-rev-4.yaml")
	for id, want := range map[string]string{
		"main-caps": "snug: 5 4 3 6 1 8 7 2 9 10, seat: 5 4 3 6 1 8 7 2 9 10, turn: 5 4 3 6 1 8 7 2",
		"rod-caps": "seat: 1a, turn: 1a, seat: 1b, turn: 1b, seat: 2a, turn: 2a, seat: 2b, turn: 2b, " +
			"seat: 3a, turn: 3a, seat: 3b, turn: 3b, seat: 4a, turn: 4a, seat: 4b, turn: 4b",
		"sump": "set: f2 r2 f1 r3 r1 f3",
	} {
		if got := round(theJoint(t, p, id)); got != want {
			t.Errorf("%s:\ngot  %s\nwant %s", id, got, want)
		}
	}
}

// The centre first and outwards from side to side is common practice; the exact order among equals is our own rule.
func TestJoint_InsideOut(t *testing.T) {
	head := theJoint(t, parseFile(t, "tb-42-rev-4.yaml"), "head")
	got := strings.TrimPrefix(strings.Split(round(head), ",")[0], "settle: ")
	if want := "3 8 2 9 7 4 6 5 1 10"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestJoint_Figures(t *testing.T) {
	p := parseFile(t, "tb-42-rev-4.yaml")
	cases := []struct {
		rule, joint     string
		stage, fastener int
		want            string // empty: not covered
	}{
		{"a share of the target", "main-caps", 0, 0, "30 N·m (27 … 33 N·m)"},
		{"an overridden target takes the share along", "main-caps", 0, 8, "12 N·m (10.8 … 13.2 N·m)"},
		{"an override of the second stage", "main-caps", 1, 9, "28 N·m (26.6 … 29.4 N·m)"},
		{"a stage for some fasteners covers these", "main-caps", 2, 7, "turn 90° (85 … 95°)"},
		{"and not the others", "main-caps", 2, 8, ""},
		{"a tolerance in the unit of the target", "rod-caps", 0, 3, "25 N·m (23.5 … 26.5 N·m)"},
		{"a range of angle", "rod-caps", 1, 3, "turn 90° (85 … 95°)"},
		{"loosening", "head", 1, 0, "back off 90° (75 … 105°)"},
		{"the unit of the file", "sump", 0, 0, "88 lbf·in (80 … 96 lbf·in)"},
		{"no such stage", "sump", 1, 0, ""},
		{"no such fastener", "sump", 0, 6, ""},
		{"below zero", "sump", -1, -1, ""},
	}
	for _, c := range cases {
		t.Run(c.rule, func(t *testing.T) {
			f, ok := theJoint(t, p, c.joint).Figures(c.stage, c.fastener)
			got := ""
			if ok {
				got = f.Target()
			}
			if got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestParse_Windows(t *testing.T) {
	p := parseFile(t, "tb-42-rev-4.yaml")
	seat, _ := theJoint(t, p, "main-caps").Figures(1, 8)
	want := Figures{Action: TightenTo, Torque: 28 * unit.NewtonMetre, Unit: unit.Nm,
		Torques: TorqueWindow{Low: 26_600_000, High: 29_400_000, Set: true}, Angles: AngleWindow{Low: 5_000, High: 80_000, Set: true}}
	if seat != want {
		t.Errorf("overridden seat: got %+v, want %+v", seat, want)
	}
	turn, _ := theJoint(t, p, "head").Figures(3, 0)
	want = Figures{Action: TurnBy, Angle: 90_000, Angles: AngleWindow{Low: 85_000, High: 95_000, Set: true}}
	if turn != want {
		t.Errorf("turn without a torque window: got %+v, want %+v", turn, want)
	}
	// 88 lbf·in by the definitions of pound and inch: 88 × 0.45359237 kg × 9.80665 m/s² × 0.0254 m.
	if set, _ := theJoint(t, p, "sump").Figures(0, 0); set.Torque != 9_942_665 {
		t.Errorf("88 lbf·in: got %d µN·m, want 9942665", set.Torque)
	}
}

func TestParse_Answers(t *testing.T) {
	p := parseFile(t, "checks.yaml")
	var got []string
	for _, j := range p.Joints {
		for _, c := range j.Checks {
			if c.Answer != "" {
				got = append(got, fmt.Sprintf("%s %s: %s, each %t, %d bolts of %d due", j.ID, c.ID, c.Answer, c.EachFastener, c.Bolts, j.Due))
			}
		}
	}
	want := []string{"rod-caps new-bolts: bolts, each false, 2 bolts of 2 due", "rod-caps lot: lot, each true, 0 bolts of 2 due",
		"main-caps shell-lot: lot, each false, 0 bolts of 0 due"}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// A verification is no tightening: it comes last, stage by stage, whatever the round of the joint and the place of the stage.
func TestJoint_VerificationComesLast(t *testing.T) {
	const stages = "      - {id: residual, verify: 57..75 N·m}\n"
	text, err := os.ReadFile(files + "checks.yaml")
	if err != nil {
		t.Fatal(err)
	}
	moved := strings.Replace(strings.Replace(string(text), stages, "", 1), "      - {id: seat, tighten_to: 60", stages+"      - {id: seat, tighten_to: 60", 1)
	for wanted, was := range map[string]string{
		"snug: 1 4 3 2, seat: 1 4 3 2, residual: 1 4 3 2":                                           "round: stage",
		"snug: 1, seat: 1, snug: 4, seat: 4, snug: 3, seat: 3, snug: 2, seat: 2, residual: 1 4 3 2": "round: fastener",
	} {
		p, err := Parse("checks.yaml", []byte(strings.ReplaceAll(moved, "round: stage", was)))
		if err != nil {
			t.Fatal(err)
		}
		if got := round(theJoint(t, p, "main-caps")); got != wanted {
			t.Errorf("%s:\ngot  %s\nwant %s", was, got, wanted)
		}
	}
}

func TestParse_Checks(t *testing.T) {
	var got []string
	for _, j := range parseFile(t, "tb-42-rev-4.yaml").Joints {
		for _, c := range j.Checks {
			accept := "yes"
			if c.Accept != nil {
				accept = c.Accept.String()
			}
			got = append(got, fmt.Sprintf("%s %s, %s, after %q, each %t, wrench %t", j.ID, c.ID, accept, c.After, c.EachFastener, c.ByWrench))
		}
	}
	want := []string{
		`main-caps new-bolts, yes, after "", each false, wrench false`,
		`main-caps end-float, 0.07 … 0.23 mm, after "seat", each false, wrench false`,
		`main-caps drag, 0 … 9 N·m, after "turn", each false, wrench true`,
		`rod-caps new-bolts, yes, after "", each false, wrench false`,
		`rod-caps side-play, yes, after "turn", each false, wrench false`,
		`rod-caps stretch, 0.12 … 0.16 mm, after "turn", each true, wrench false`,
		`head gasket, yes, after "", each false, wrench false`,
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}
