package procedure

import (
	"witnessmark/audit/adapter"
	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// readWrenchRules reads what a finding about the wrench means: flag or fail.
func readWrenchRules(n strictyaml.Node) (r WrenchRules) {
	m := n.Map("out_of_calibration", "out_of_range")
	if c, ok := m.Get("out_of_calibration"); ok {
		r.UncalibratedFails = oneOf(c, "flag", "fail") == "fail"
	}
	if c, ok := m.Get("out_of_range"); ok {
		r.OutOfRangeFails = oneOf(c, "flag", "fail") == "fail"
	}
	return r
}

func readAdapters(n strictyaml.Node, all map[string]adapter.Adapter) {
	m := n.FreeMap()
	for _, id := range m.Keys() {
		key, _ := m.Key(id)
		ident(key)
		v, _ := m.Get(id)
		am := v.Map("lever", "offset", "angle")
		lever, okL := lengths.target(need(am, "lever"))
		offset, okO := lengths.target(need(am, "offset"))
		a := adapter.Adapter{ID: id, Lever: unit.Length(lever), Offset: unit.Length(offset)}
		if at, ok := am.Get("angle"); ok {
			a.Angle = adapterAngle(at)
		}
		if okL && okO {
			if err := a.Check(); err != nil {
				v.Faultf("found an adapter that cannot be: %v", err)
			}
		}
		all[id] = a
	}
}

// adapterAngle reads an angle that may be zero.
func adapterAngle(n strictyaml.Node) unit.Angle {
	s, ok := n.Text()
	if !ok {
		return 0
	}
	v, err := angles.value(s)
	if err != nil {
		n.Faultf("found %s, expected an angle such as 90°: %v", quote(s), err)
	}
	return unit.Angle(v)
}
