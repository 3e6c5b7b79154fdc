package trial

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"witnessmark/audit/procedure"
)

// plan is the stages of a joint, each as a line of a procedure with its figure left open: a factor of the first torque,
// or degrees.
type plan []stage

type stage struct {
	form   string
	figure float64
	half   bool    // covers the first half of the fasteners only
	high   float64 // … of a window that begins at figure; 0: none
}

func to(factor float64) stage {
	return stage{form: "tighten_to: %.1f N·m, accept: ±10 %%", figure: factor}
}
func by(degrees float64) stage { return stage{form: "turn_by: %.0f°, accept: ±6°", figure: degrees} }
func back(degrees float64) stage {
	return stage{form: "loosen_by: %.0f°, accept: ±15°", figure: degrees}
}

// plans are the common ones; the first torquesOnly do without a turn.
var plans = []plan{
	{to(1)}, {to(1), to(2)}, {to(1), to(2), to(3)}, {to(1), to(2), by(90)}, {to(1), by(90)}, {to(1), to(1.6), by(60), by(60)},
	{to(1), to(2.5), by(90), by(90)},
}

func verified(low, high float64) stage {
	return stage{form: "verify: %.1f..%.1f N·m", figure: low, high: high}
}

// verifiedPlans end with a round in which the residual torque is found. After a turn it may be anything that a turn gives.
var verifiedPlans = []plan{
	{to(1), verified(0.9, 1.3)}, {to(1), to(2), verified(1.8, 2.6)}, {to(1), to(2), to(3), verified(2.7, 3.9)},
	{to(1), to(2), by(90), verified(2.5, 18)}, {to(1), by(60), verified(1.3, 11)},
}

const torquesOnly = 3

// rarePlans are those in which a re-hit is the rule, fasteners are eased, or a stage leaves some out.
var rarePlans = []plan{
	{to(1), to(2), to(2)}, {to(2), back(180), to(1), to(2)}, {to(1), to(2), back(120), to(1), by(90)},
	{to(1), to(2), {form: to(3).form, figure: 3, half: true}}, {to(1), to(1), by(60)},
}

// drawn is a procedure of one joint.
type drawn struct {
	text      string
	procedure *procedure.Procedure
	reach     *reach
}

// joint draws a joint and its procedure. The file goes through the ordinary reader, as in a shop.
func (w World) joint(source *rand.Rand) drawn {
	n := w.Fasteners[0] + source.IntN(w.Fasteners[1]-w.Fasteners[0]+1)
	first := w.Torque.draw(source)
	stages := w.Plans[source.IntN(len(w.Plans))]
	round := procedure.RoundStage
	if source.Float64() < w.Rounds {
		round = procedure.RoundFastener
	}
	r := w.reach(len(stages), source)
	var b strings.Builder
	fmt.Fprintf(&b, "format: witnessmark/procedure/1\nfamily: TRIAL\nrevision: \"1\"\ntitle: Drawn\nsource: drawn\ndecision: simple\n"+
		r.written()+"joints:\n  - id: j\n    title: Drawn\n    criticality: B\n    round: %s\n    order: listed\n    fasteners:\n", round)
	half := make([]string, 0, n)
	for i := range n {
		fmt.Fprintf(&b, "      - {id: \"%d\", at: [%d, %d]}\n", i+1, i%2*80, i/2*60)
		if 2*i < max(n, 6) { // a slip needs three
			half = append(half, fmt.Sprintf("%q", fmt.Sprint(i+1)))
		}
	}
	b.WriteString("    stages:\n")
	for i, s := range stages {
		b.WriteString(s.line(i+1, first, half, r.names(i)))
	}
	p, err := procedure.Parse("drawn", []byte(b.String()))
	if err != nil {
		panic(err) // the text is made here
	}
	return drawn{b.String(), p, r}
}

// line is the stage as it stands in the file; adapter is the one that it names, empty: none.
func (s stage) line(no int, first float64, half []string, adapter string) string {
	figures := []any{no, s.figure}
	switch {
	case s.high > 0:
		figures = []any{no, s.figure * first, s.high * first}
	case strings.HasPrefix(s.form, "tighten_to"):
		figures[1] = s.figure * first
	}
	more := ""
	if s.half {
		more = ", only: [" + strings.Join(half, ", ") + "]"
	}
	if adapter != "" {
		more += ", adapter: " + adapter
	}
	return fmt.Sprintf("      - {id: s%d, "+s.form+"%s}\n", append(figures, more)...)
}
