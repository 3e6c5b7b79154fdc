package profile

import (
	"strings"

	"witnessmark/device"
	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// settings are the keys that a field has by its kind, beside name and kind and those of its place.
var settings = map[fieldKind][]string{
	kindTorque:    {"unit", "decimals", "decimal", "scale", "minus"},
	kindUnit:      {"spelled"},
	kindAngle:     {"unit", "decimals", "decimal", "scale", "minus", "optional", "none"},
	kindDirection: {"tighten", "loosen", "optional", "none"},
	kindCounter:   {"optional", "none"},
	kindClock:     {"optional", "none"},
	kindSerial:    {"optional", "none"},
	kindTag:       {"optional", "none"},
	kindPreset:    {"optional", "none"},
	kindJudgement: {"spelled", "optional", "none"},
	kindBattery:   {"decimals", "decimal", "scale", "optional", "none"},
	kindError:     {"optional", "none"},
	kindStored:    {"yes", "no", "optional", "none"},
	kindFixed:     {"is"},
	kindUnread:    {},
}

// placing are the keys that say where a field stands, by form.
var placing = map[fieldForm][]string{
	byColumns: {"at"},
	byJSON:    {"at"},
	byBinary:  {"at", "as", "order", "bit"},
}

// field reads one field; those before it are known.
func (l *loader) field(n strictyaml.Node, comma bool, order byteOrder) field {
	fs := &l.p.fields
	l.places = append(l.places, fieldPlace{node: n})
	kind := fieldKind("")
	if k, ok := n.FreeMap().Need("kind"); ok {
		kind = oneOf(k, kinds...)
		if kind != kindUnread && kind != kindFixed && fs.has(kind) {
			k.Faultf("found a second %s field, expected one", kind)
		}
	}
	own, known := settings[kind]
	if !known {
		return field{}
	}
	keys := append([]string{"name", "kind"}, placing[fs.form]...)
	if kind == kindClock && fs.form == byBinary {
		keys = append(keys, "epoch")
	}
	m := n.Map(append(keys, own...)...)
	f := field{kind: kind, name: maybe(m, "name", string(kind), line), sign: signOf(comma)}
	l.place(m, &f, order)
	f.setNumber(m)
	f.setNone(m)
	if at, ok := m.Get("optional"); ok && f.optional && f.none == "" && fs.mustSayNone(&f) {
		at.Faultf("found optional, expected none with it: here the place of a field is never empty")
	}
	f.setSpellings(m, fs)
	return f
}

// mustSayNone tells fields that cannot be left empty.
func (fs *fields) mustSayNone(f *field) bool {
	return fs.form == byBinary && f.as.size > 0 && f.as.kind != textual || fs.form == bySeparator && fs.blanks()
}

// setNumber reads how a number is written.
func (f *field) setNumber(m strictyaml.Map) {
	f.decimals = maybe(m, "decimals", 1, between(0, 6))
	if f.kind == kindBattery {
		f.decimals = maybe(m, "decimals", 0, between(0, 6))
	}
	if f.as.whole() {
		none(m, "whole numbers have no point", "decimals")
		f.decimals = 0
	}
	if at, ok := m.Get("decimal"); ok {
		f.sign = signOf(oneOf(at, "point", "comma") == "comma")
	}
	f.scale = maybe(m, "scale", scale{}, readScaleNode)
	switch f.kind {
	case kindTorque:
		f.minus = maybe(m, "minus", minusRefused, choose(minusRefused, minusLoosens))
	case kindAngle:
		f.minus = maybe(m, "minus", minusKept, choose(minusRefused, minusKept, minusLoosens))
		if at, ok := m.Get("unit"); ok {
			oneOf(at, "deg", "°")
		}
	}
}

func signOf(comma bool) byte {
	if comma {
		return ','
	}
	return '.'
}

func readScaleNode(n strictyaml.Node) scale {
	s, ok := n.Text()
	if !ok {
		return scale{}
	}
	v, ok := readScale(s)
	if !ok {
		n.Faultf("found %.60q, expected a decimal number above 0 of at most 9 digits, such as 0.01", s)
	}
	return v
}

func (f *field) setNone(m strictyaml.Map) {
	f.none = maybe(m, "none", "", word)
	_, says := m.Get("none")
	if at, ok := m.Get("none"); ok && f.counted {
		n, fault := readDecimal([]byte(f.none), '.')
		if fault != noFault || n.places > 0 {
			at.Faultf("found %.60q, expected the whole number that says there is no value", f.none)
		}
		f.nothing = n
	}
	f.optional = maybe(m, "optional", "false", choose("true", "false")) == "true" || says
}

func (f *field) setSpellings(m strictyaml.Map, fs *fields) {
	switch f.kind {
	case kindTorque:
		fs.unit = maybe(m, "unit", "", readUnitName)
	case kindUnit:
		f.spelled = need(m, "spelled", func(n strictyaml.Node) []spelling { return readSpelled(n, "{Nm: N·m}", unitMeant) })
	case kindJudgement:
		f.spelled = need(m, "spelled", func(n strictyaml.Node) []spelling { return readSpelled(n, "{OK: pass}", judgementMeant) })
	case kindDirection:
		f.spelled = readPair(m, "tighten", string(device.Tighten), "loosen", string(device.Loosen))
	case kindStored:
		f.spelled = readPair(m, "yes", storedYes, "no", storedNo)
	case kindFixed:
		f.is = need(m, "is", word)
	}
}

// readPair reads the texts of two meanings.
func readPair(m strictyaml.Map, key, means, otherKey, otherMeans string) []spelling {
	one, other := need(m, key, word), need(m, otherKey, word)
	if at, ok := m.Get(otherKey); ok && one == other && one != "" {
		at.Faultf("found %q for both %s and %s, expected two different ones", other, key, otherKey)
	}
	return []spelling{{one, means}, {other, otherMeans}}
}

// readSpelled reads a map from what stands on the wire to what it means.
func readSpelled(n strictyaml.Node, example string, meant func(strictyaml.Node) string) (all []spelling) {
	m := n.FreeMap()
	for _, key := range m.Keys() {
		at, _ := m.Get(key)
		if why := unfitWord(key); why != "" {
			at.Faultf("found the spelling %.60q, %s", key, why)
			continue
		}
		text, _ := wireBytes(key)
		all = append(all, spelling{string(text), meant(at)})
	}
	if len(m.Keys()) == 0 && n.IsMap() {
		n.Faultf("found no spelling, expected at least one, such as %s", example)
	}
	return all
}

func unitMeant(n strictyaml.Node) string { return string(readUnitName(n)) }

func readUnitName(n strictyaml.Node) unit.TorqueUnit {
	s, ok := n.Text()
	if !ok {
		return ""
	}
	u, err := unit.ParseTorqueUnit(s)
	if err != nil {
		n.Faultf("%v", err)
		return unit.TorqueUnit(strings.TrimSpace(s)) // a wrong unit is no missing one: that would be a second fault
	}
	return u
}

func judgementMeant(n strictyaml.Node) string {
	return string(oneOf(n, device.JudgedPass, device.JudgedLow, device.JudgedHigh, device.JudgedFail))
}
