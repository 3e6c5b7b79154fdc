package profile

import (
	"bytes"

	"witnessmark/device/strictyaml"
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
	fs.mustShowPoint(m, &f)
	t := textReader{&l.p.fields, &f}
	t.none(m)
	if at, ok := m.Get("optional"); ok && f.optional && f.none == "" && fs.mustSayNone(&f) {
		at.Faultf("found optional, expected none with it: here the place of a field is never empty")
	}
	t.spellings(m)
	return f
}

// mustShowPoint faults a decimal comma where commas separate.
func (fs *fields) mustShowPoint(m strictyaml.Map, f *field) {
	if at, ok := m.Get("decimal"); ok && f.sign == ',' && bytes.Contains(fs.separator, []byte(",")) {
		at.Faultf("found a decimal comma, expected a point: the comma separates the fields")
	}
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
