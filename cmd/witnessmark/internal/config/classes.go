package config

import (
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// class is a row of the shop's table of what a wrench of a type and class of ISO 6789-1 may deviate.
type class struct {
	name        string
	upTo        unit.Torque // for wrenches whose range ends there or below; 0: for all
	permissible int64       // millionths
}

func classes(n strictyaml.Node) []class {
	var all []class
	items, _ := n.List()
	for _, item := range items {
		m := item.Map("class", "up_to", "permissible")
		all = append(all, class{need(m, "class", line), maybe(m, "up_to", torque), need(m, "permissible", share)})
	}
	return all
}

// permits puts into a declaration what its class allows: by the first row of that class that fits the end of its range. One
// whose range nobody states is taken for no small one, which is the stricter.
func permits(n strictyaml.Node, w *audit.WrenchDeclared, all []class) {
	if all == nil || w.Class == "" || w.Permissible != 0 {
		return
	}
	for _, c := range all {
		if c.name == w.Class && (c.upTo == 0 || w.RangeHigh > 0 && w.RangeHigh <= int64(c.upTo)) {
			w.Permissible = c.permissible
			return
		}
	}
	var names []string
	for _, c := range all {
		names = append(names, c.name)
	}
	n.Faultf("found the class %q and no row for it and its range, expected one of those listed under classes: %s", w.Class,
		strings.Join(slices.Compact(names), ", "))
}

func torque(s string) (unit.Torque, string) {
	t, _, err := unit.ParseTorque(s)
	if err != nil || t <= 0 {
		return 0, "expected a torque such as 10 N·m"
	}
	return t, ""
}

// share is a percentage above zero.
func share(s string) (int64, string) {
	v, fault := percent(s)
	if fault == "" && v <= 0 {
		fault = "expected a share above zero, such as 4 %"
	}
	return v, fault
}
