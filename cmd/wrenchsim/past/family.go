package past

import (
	"fmt"
	"strings"

	"witnessmark/audit/procedure"
)

// family is an invented engine family, by how many fasteners its joints have.
type family struct {
	name, letter                 string
	mains, rods, heads, pan, lid int
	text                         string
	joints                       []joint
}

// joint is a joint with its steps in order.
type joint struct {
	*procedure.Joint
	steps []procedure.Step
}

// revision is that of every procedure here.
const revision = "1"

// families are engines of 12, 16 and 20 cylinders; no figure in them holds for a real one.
func families() ([]*family, error) {
	out := []*family{
		{name: "DL-12", letter: "A", mains: 28, rods: 24, heads: 3, pan: 32, lid: 20},
		{name: "DL-16", letter: "B", mains: 40, rods: 32, heads: 4, pan: 40, lid: 24},
		{name: "DL-20", letter: "C", mains: 48, rods: 40, heads: 5, pan: 48, lid: 28},
	}
	for _, f := range out {
		f.text = f.write()
		p, err := procedure.Parse(f.name, []byte(f.text))
		if err != nil {
			return nil, fmt.Errorf("the made-up procedure: %w", err)
		}
		for i := range p.Joints {
			f.joints = append(f.joints, joint{&p.Joints[i], p.Joints[i].Sequence()})
		}
	}
	return out, nil
}

// write is the procedure file of the family.
func (f *family) write() string {
	var b strings.Builder
	fmt.Fprintf(&b, "format: witnessmark/procedure/1\nfamily: %s\nrevision: %q\ntitle: Long block\nsource: invented\n", f.name, revision)
	b.WriteString("decision: simple\njoints:\n")
	add := func(id, class, round string, fasteners int, checks string, stages ...string) {
		fmt.Fprintf(&b, "  - id: %s\n    title: %s\n    criticality: %s\n    round: %s\n    order: listed\n    fasteners:\n", id, id, class, round)
		for n := range fasteners {
			fmt.Fprintf(&b, "      - {id: \"%d\"}\n", n+1)
		}
		b.WriteString(checks + "    stages:\n")
		for _, s := range stages {
			fmt.Fprintf(&b, "      - {%s}\n", s)
		}
	}
	const newBolts = "    checks:\n      - {id: new-bolts, ask: New oiled bolts fitted?}\n"
	const lot = newBolts + "      - {id: " + lotCheck + ", ask: Lot of the bolts, answer: lot}\n"
	add("main-caps", "A", "stage", f.mains, newBolts, "id: snug, tighten_to: 60 N·m, accept: ±10 %", "id: seat, tighten_to: 180 N·m, accept: ±5 %",
		"id: turn, turn_by: 90°, accept: ±6°, torque: 220..460 N·m")
	add("rod-caps", "A", "fastener", f.rods, lot, "id: seat, tighten_to: 50 N·m, accept: ±6 %", "id: turn, turn_by: 60°, accept: ±6°, torque: 60..150 N·m")
	for n := range f.heads {
		add(fmt.Sprintf("head-%d", n+1), "A", "stage", 20, newBolts, "id: snug, tighten_to: 40 N·m, accept: ±10 %", "id: seat, tighten_to: 90 N·m, accept: ±5 %",
			"id: turn-1, turn_by: 90°, accept: ±6°, torque: 100..200 N·m",
			"id: turn-2, turn_by: 45°, accept: ±6°, torque: 130..270 N·m")
	}
	add("pan", "C", "stage", f.pan, "", "id: tight, tighten_to: 25 N·m, accept: ±10 %")
	add("front-cover", "B", "stage", f.lid, "", "id: tight, tighten_to: 48 N·m, accept: ±8 %")
	add("flywheel", "A", "stage", 12, newBolts, "id: snug, tighten_to: 80 N·m, accept: ±10 %", "id: turn, turn_by: 60°, accept: ±6°, torque: 110..210 N·m")
	return b.String()
}
