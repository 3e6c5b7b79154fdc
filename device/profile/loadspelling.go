package profile

import (
	"bytes"
	"strings"

	"witnessmark/device"
	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// textReader reads the texts that a field can be: each must be one that its place can hold, or it would never come.
type textReader struct {
	fs *fields
	f  *field
}

// word reads such a text.
func (t textReader) word(n strictyaml.Node) string {
	s, ok := n.Text()
	if !ok {
		return ""
	}
	return t.held(n, s)
}

// held faults a text that does not go into the field.
func (t textReader) held(n strictyaml.Node, s string) string {
	b, err := wireBytes(s)
	width := int(t.f.at.to - t.f.at.from)
	switch {
	case err != nil || len(b) == 0 || len(b) > 16 || strings.Trim(s, " ") != s:
		n.Faultf("found %.60q, expected 1 to 16 characters without blanks around them; control characters by name, such as <STX>", s)
		return ""
	case t.fs.form == bySeparator && bytes.Contains(b, t.fs.separator) && t.fs.separator != nil:
		n.Faultf("found %q, expected a text without the separator in it", s)
	case t.fs.form == byColumns && width > 0 && len(b) > width:
		n.Faultf("found %q, expected a text that has room in %s", s, plural(width))
	case t.f.as.size > 0 && !t.f.as.says(string(b)):
		n.Faultf("found %q, expected what its bytes can say: %s", s, t.f.as.example())
	}
	return string(b)
}

// says tells a text that some bytes mean.
func (n *number) says(text string) bool {
	var room numberRoom
	b := make([]byte, n.size)
	if !n.read(text, b) {
		return false
	}
	back, why := n.write(b, &room)
	return why == nil && string(back) == text
}

func (n *number) example() string {
	switch n.kind {
	case packed:
		return "all its digits, such as " + strings.Repeat("0", 2*n.size-1) + "7"
	case textual:
		return "text that has room in them"
	case float:
		return "a number with the fewest digits, or NaN"
	}
	return "a whole number in their range, such as 7"
}

// none reads the text which says that there is no value.
func (t textReader) none(m strictyaml.Map) {
	f := t.f
	f.none = maybe(m, "none", "", t.word)
	if f.counted {
		f.nothing, _ = readDecimal([]byte(f.none), '.')
	}
	_, says := m.Get("none")
	f.optional = maybe(m, "optional", "false", choose("true", "false")) == "true" || says
}

// spellings reads the texts of meanings, and the unit of a torque that no field says.
func (t textReader) spellings(m strictyaml.Map) {
	f := t.f
	switch f.kind {
	case kindTorque:
		t.fs.unit = maybe(m, "unit", "", readUnitName)
	case kindUnit:
		f.spelled = need(m, "spelled", func(n strictyaml.Node) []spelling { return t.spelled(n, "{Nm: N·m}", unitMeant) })
	case kindJudgement:
		f.spelled = need(m, "spelled", func(n strictyaml.Node) []spelling { return t.spelled(n, "{OK: pass}", judgementMeant) })
	case kindDirection:
		f.spelled = t.pair(m, "tighten", string(device.Tighten), "loosen", string(device.Loosen))
	case kindStored:
		f.spelled = t.pair(m, "yes", storedYes, "no", storedNo)
	case kindFixed:
		f.is = need(m, "is", t.word)
	}
}

// pair reads the texts of two meanings.
func (t textReader) pair(m strictyaml.Map, key, means, otherKey, otherMeans string) []spelling {
	one, other := need(m, key, t.word), need(m, otherKey, t.word)
	if at, ok := m.Get(otherKey); ok && one == other && one != "" {
		at.Faultf("found %q for both %s and %s, expected two different ones", other, key, otherKey)
	}
	return []spelling{{one, means}, {other, otherMeans}}
}

// spelled reads a map from what stands on the wire to what it means.
func (t textReader) spelled(n strictyaml.Node, example string, meant func(strictyaml.Node) string) (all []spelling) {
	m := n.FreeMap()
	for _, key := range m.Keys() {
		at, _ := m.Key(key)
		text := t.held(at, key)
		for _, other := range all {
			if other.text == text && text != "" {
				at.Faultf("found %q, expected it once: it stands for %s already", key, other.means)
			}
		}
		means, _ := m.Get(key)
		all = append(all, spelling{text, meant(means)})
	}
	if len(all) == 0 && n.IsMap() {
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
