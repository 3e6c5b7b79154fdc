package suggest

import (
	"strings"

	"witnessmark/device/unit"
)

// mostCode bounds a text that a profile spells.
const mostCode = 16

// codesUnit says whether the column has another text for every unit that was shown, and at least two units were.
func (r *reader) codesUnit(c column) bool {
	spelled, ok := r.codes(c)
	return ok && len(spelled) > 1
}

// codes is the unit that each text of the column stands for.
func (r *reader) codes(c column) (map[string]unit.TorqueUnit, bool) {
	spelled := map[string]unit.TorqueUnit{}
	used := map[unit.TorqueUnit]string{}
	for i, s := range r.shown {
		t := c.cells[r.at[i]]
		if u, known := spelled[t]; t == "" || len(t) > mostCode || known && u != s.Unit {
			return nil, false
		}
		if other, known := used[s.Unit]; known && other != t {
			return nil, false
		}
		spelled[t], used[s.Unit] = s.Unit, t
	}
	return spelled, len(c.distinct()) <= 10
}

func (r *reader) codedUnit(c column) bool {
	if !r.codesUnit(c) {
		return false
	}
	spelled, _ := r.codes(c)
	var pairs []string
	for _, t := range c.distinct() {
		if u, known := spelled[t]; known {
			pairs = append(pairs, quotedText(t)+": "+string(u))
		}
	}
	r.add(c, "unit", "unit", "the unit: it changes with the unit that was shown", "spelled: {"+strings.Join(pairs, ", ")+"}")
	r.doubt("The unit stands in the line as a code, of which only those that were shown are known: %s.", strings.Join(pairs, ", "))
	return true
}

func (r *reader) unitField(c column) {
	var pairs []string
	for _, t := range c.distinct() {
		if u, err := unit.ParseTorqueUnit(t); err == nil {
			pairs = append(pairs, quotedText(t)+": "+string(u))
		}
	}
	r.add(c, "unit", "unit", "the unit of the torque", "spelled: {"+strings.Join(pairs, ", ")+"}")
	if len(pairs) == 1 {
		r.doubt("The unit was always %s: add how the wrench spells its other units, or a torque in one of them is refused.", sayTexts(c.distinct()))
	}
}
