package profile

import (
	"slices"
	"strings"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// kinds lists the field kinds in the order in which they are to be named.
var kinds = []fieldKind{kindTorque, kindUnit, kindAngle, kindDirection, kindCounter, kindClock, kindSerial, kindTag, kindUnread}

// settings are the keys that a field has by its kind, beside name and kind.
var settings = map[fieldKind][]string{
	kindTorque:    {"unit", "decimals", "minus"},
	kindUnit:      {"spelled"},
	kindAngle:     {"decimals", "minus", "optional"},
	kindDirection: {"tighten", "loosen", "optional"},
	kindCounter:   {"optional"},
	kindClock:     {"optional"},
	kindSerial:    {"optional"},
	kindTag:       {"optional"},
}

func readFields(n strictyaml.Node) (lead string, fs fields) {
	m := n.Map("lead", "separator", "decimal", "list")
	lead = maybe(m, "lead", "", short)
	fs.separator = need(m, "separator", short)
	comma := maybe(m, "decimal", "point", choose("point", "comma")) == "comma"
	if at, ok := m.Get("decimal"); ok && comma && strings.Contains(fs.separator, ",") {
		at.Faultf("found a decimal comma, expected a point: the comma separates the fields")
	}
	list, ok := m.Need("list")
	if !ok {
		return lead, fs
	}
	items, ok := list.List()
	if !ok {
		return lead, fs
	}
	for _, item := range items {
		f := fs.readField(item)
		f.comma = comma
		fs.list = append(fs.list, f)
	}
	fs.mustFit(list)
	return lead, fs
}

// readField reads one place of the line; the fields before it are known.
func (fs *fields) readField(n strictyaml.Node) field {
	kind := fieldKind("")
	if k, ok := n.FreeMap().Need("kind"); ok {
		kind = oneOf(k, kinds...)
		if kind != kindUnread && fs.has(kind) {
			k.Faultf("found a second %s field, expected one", kind)
		}
	}
	if _, ok := grammars[kind]; !ok {
		return field{}
	}
	m := n.Map(append([]string{"name", "kind"}, settings[kind]...)...)
	f := field{kind: kind, name: maybe(m, "name", string(kind), line)}
	f.optional = maybe(m, "optional", "false", choose("true", "false")) == "true"
	f.decimals = maybe(m, "decimals", 1, between(0, 6))
	f.loosens = maybe(m, "minus", "refused", choose("refused", "loosens")) == "loosens"
	switch kind {
	case kindTorque:
		fs.unit = maybe(m, "unit", "", readUnitName)
	case kindUnit:
		f.spelled = need(m, "spelled", readSpelled)
	case kindDirection:
		f.tighten, f.loosen = readLetters(m)
	}
	return f
}

func readLetters(m strictyaml.Map) (tighten, loosen string) {
	tighten, loosen = need(m, "tighten", short), need(m, "loosen", short)
	if at, ok := m.Get("loosen"); ok && tighten == loosen {
		at.Faultf("found %q for both directions, expected two different ones", loosen)
	}
	return tighten, loosen
}

func readUnitName(n strictyaml.Node) unit.TorqueUnit {
	s, ok := n.Text()
	if !ok {
		return ""
	}
	u, err := unit.ParseTorqueUnit(s)
	if err != nil {
		n.Faultf("%v", err)
		return unit.TorqueUnit(s) // a wrong unit is no missing one: that would be a second fault
	}
	return u
}

// readSpelled reads a map from what stands on the wire to the unit that it means.
func readSpelled(n strictyaml.Node) (all []spelling) {
	m := n.FreeMap()
	for _, key := range m.Keys() {
		at, _ := m.Get(key)
		if len(key) > 16 || !printable(key) || strings.TrimSpace(key) != key {
			at.Faultf("found the spelling %.60q, expected 1 to 16 ASCII characters", key)
		}
		all = append(all, spelling{key, readUnitName(at)})
	}
	if len(all) == 0 {
		n.Faultf("found no spelling, expected at least one, such as {Nm: N·m}")
	}
	return all
}

func (fs *fields) has(kind fieldKind) bool {
	return slices.ContainsFunc(fs.list, func(f field) bool { return f.kind == kind })
}

// mustFit faults what no field can be blamed for alone. A field that could not be read may be the missing one.
func (fs *fields) mustFit(list strictyaml.Node) {
	if fs.has("") {
		return
	}
	if !fs.has(kindTorque) {
		list.Faultf("found no torque field, expected one")
		return
	}
	switch spelled := fs.has(kindUnit); {
	case spelled && fs.unit != "":
		list.Faultf("found a unit field and a unit at the torque field, expected one of them")
	case !spelled && fs.unit == "":
		list.Faultf("found no unit of torque, expected a unit field or a unit at the torque field")
	}
	signs := slices.ContainsFunc(fs.list, func(f field) bool { return f.loosens })
	if signs && fs.has(kindDirection) {
		list.Faultf("found a direction field and a minus that loosens, expected one of them")
	}
}
