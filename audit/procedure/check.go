package procedure

import (
	"slices"
	"strings"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

func (j *jointReader) readChecks(n strictyaml.Node) {
	ids := names{}
	for _, item := range list(n, "check", maxChecks) {
		m := item.Map("id", "ask", "accept", "answer", "after", "each", "by")
		c := Check{ID: ids.take(need(m, "id"), "check of the joint"), Ask: line(need(m, "ask"))}
		if accept, ok := m.Get("accept"); ok {
			c.Accept = acceptRange(accept)
		}
		if answer, ok := m.Get("answer"); ok {
			c.Answer = Answer(oneOf(answer, string(LotNumber), string(CountBolts)))
			j.answer(answer, m, &c)
		}
		if after, ok := m.Get("after"); ok {
			c.After, _ = after.Text()
			if _, known := j.stages[c.After]; !known && c.After != "" {
				after.Faultf("found the stage %s, expected one of this joint", quote(c.After))
			}
		}
		if each, ok := m.Get("each"); ok {
			c.EachFastener = oneOf(each, "fastener") != ""
		}
		if by, ok := m.Get("by"); ok {
			c.ByWrench = oneOf(by, "wrench") != ""
			byWrench(by, m, c.Accept)
		}
		j.joint.Checks = append(j.joint.Checks, c)
	}
}

// answer faults an answer that cannot be given.
func (j *jointReader) answer(n strictyaml.Node, m strictyaml.Map, c *Check) {
	if _, both := m.Get("accept"); both {
		n.Faultf("found answer beside accept, expected one of them: a range is of a measured value")
	}
	if c.Answer != CountBolts {
		return
	}
	c.Bolts = j.joint.Due
	if _, each := m.Get("each"); each {
		n.Faultf("found a count of bolts for each fastener, expected one for the joint")
	}
	if c.Bolts == 0 {
		n.Faultf("found a count of new bolts, expected a fastener of a type with reuse: never: no bolt of this joint is due to be replaced")
	}
}

// Once is true of bolts for single use, which are due to be replaced whenever they were loosened.
func (t FastenerType) Once() bool { return t.Reuse == "never" }

// prevailing resolves the check that tells what each fastener takes to run down.
func (j *jointReader) prevailing(n strictyaml.Node) {
	id, ok := n.Text()
	if !ok {
		return
	}
	i := slices.IndexFunc(j.joint.Checks, func(c Check) bool { return c.ID == id })
	switch {
	case i < 0:
		n.Faultf("found the check %s, expected one of this joint", quote(id))
	case !j.joint.Checks[i].EachFastener || j.joint.Checks[i].After != "":
		n.Faultf("found the check %s, expected one with each: fastener and without after: it is measured while the fastener runs down", quote(id))
	case j.joint.Checks[i].Accept == nil || j.joint.Checks[i].Accept.Unit != string(unit.Nm):
		n.Faultf("found the check %s, expected one that accepts a range of torque", quote(id))
	}
	j.joint.Prevailing = id
}

// byWrench faults a check that no wrench can answer.
func byWrench(by strictyaml.Node, m strictyaml.Map, accept *Range) {
	_, asked := m.Get("accept")
	switch {
	case !asked:
		by.Faultf("found a check by wrench without limits, expected accept with a range of torque or angle")
	case accept != nil && accept.Unit == "mm":
		by.Faultf("found a check by wrench of a length, expected a range of torque or angle: a wrench reads no lengths")
	}
}

// acceptRange reads a range of a length, a torque or an angle; nil after a fault.
func acceptRange(n strictyaml.Node) *Range {
	s, ok := n.Text()
	if !ok {
		return nil
	}
	u := unitOf(s)
	if _, second, ok := strings.Cut(s, ".."); ok {
		u = unitOf(second)
	}
	q, name := quantityOf(u)
	if q == nil {
		n.Faultf("found %s, expected a range of a length, a torque or an angle, such as %s, %s or %s", quote(s), lengths.ranged, torques.ranged, angles.ranged)
		return nil
	}
	w, ok := q.within(n)
	if !ok {
		return nil
	}
	return &Range{Low: w.low, High: w.high, Unit: name}
}

// quantityOf tells by the unit what is measured, and the unit that a Range names it by.
func quantityOf(u string) (*quantity, string) {
	if u == "" {
		return nil, ""
	}
	if _, err := unit.ParseLength("1 " + u); err == nil {
		return &lengths, "mm"
	}
	if _, err := unit.ParseAngle("1 " + u); err == nil {
		return &angles, "°"
	}
	if _, err := unit.ParseTorqueUnit(u); err == nil {
		return &torques, string(unit.Nm)
	}
	return nil, ""
}
