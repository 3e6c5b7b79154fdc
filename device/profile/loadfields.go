package profile

import (
	"bytes"
	"slices"
	"strconv"
	"strings"

	"witnessmark/device/strictyaml"
)

var forms = []fieldForm{bySeparator, byColumns, byPattern, byJSON, byBinary}

// fields reads what stands in a frame.
func (l *loader) fields(n strictyaml.Node) {
	m := n.Map("lead", "separator", "columns", "pattern", "json", "binary", "order", "decimal", "list")
	fs := &l.p.fields
	if !l.form(m) {
		return
	}
	if fs.form == byBinary {
		none(m, "binary frames begin with the start of the frame", "lead")
	} else {
		none(m, "only binary fields have one", "order")
		fs.lead = maybe(m, "lead", nil, short)
		if at, ok := m.Get("lead"); ok && l.framed && fs.lead != nil && l.p.framing.ends(fs.lead) {
			at.Faultf("found %q, expected no end of frame in it", wireText(fs.lead))
		}
	}
	comma := maybe(m, "decimal", "point", choose("point", "comma")) == "comma"
	if at, ok := m.Get("decimal"); ok && comma && bytes.Contains(fs.separator, []byte(",")) {
		at.Faultf("found a decimal comma, expected a point: the comma separates the fields")
	}
	order := maybe(m, "order", bigEnd, choose(bigEnd, littleEnd))
	list, ok := m.Need("list")
	if !ok {
		return
	}
	items, ok := list.List()
	if !ok {
		return
	}
	if len(items) > maxFields {
		list.Faultf("found %d fields, expected at most %d", len(items), maxFields)
		return
	}
	for _, item := range items {
		fs.list = append(fs.list, l.field(item, comma, order))
	}
	fs.mustMeasure(list)
	l.finishForm(m)
}

// form reads how the fields are found.
func (l *loader) form(m strictyaml.Map) bool {
	fs := &l.p.fields
	for _, form := range forms {
		key, ok := m.Key(string(form))
		switch {
		case !ok:
		case fs.form != "":
			key.Faultf("found %s beside %s, expected one of them", form, fs.form)
			return false
		default:
			fs.form = form
		}
	}
	n, _ := m.Get(string(fs.form))
	switch fs.form {
	case "":
		if m.Node().IsMap() {
			m.Node().Faultf("found none of %s, expected one of them", either(forms))
		}
		return false
	case bySeparator:
		l.separator(n)
	case byPattern:
		l.pattern(n)
	case byBinary:
		if f := l.p.framing.form; l.framed && (f == formLine || f == formEnded || f == formBetween) {
			n.Faultf("found binary fields in a frame with an end, expected a length or a gap: the bytes of a number may look like the end")
		}
	}
	return fs.form == bySeparator || fs.form == byPattern || oneOf(n, "true") == "true"
}

func (l *loader) separator(n strictyaml.Node) {
	fs := &l.p.fields
	fs.separator = short(n)
	if l.framed && fs.separator != nil && l.p.framing.ends(fs.separator) {
		n.Faultf("found %q, expected no end of frame in it", wireText(fs.separator))
	}
}

// ends says whether text of the line would end the frame.
func (g *framing) ends(text []byte) bool {
	switch g.form {
	case formLine:
		return bytes.ContainsAny(text, "\r\n")
	case formEnded, formBetween:
		return bytes.Contains(text, g.end)
	}
	return false
}

func (l *loader) pattern(n strictyaml.Node) {
	s, ok := n.Text()
	if !ok {
		return
	}
	var err error
	if l.p.fields.pattern, err = newPattern(s); err != nil {
		n.Faultf("found a pattern that cannot be read: %v", err)
	}
}

// finishForm brings together what the form needs of all fields.
func (l *loader) finishForm(m strictyaml.Map) {
	fs := &l.p.fields
	switch n, _ := m.Get(string(fs.form)); fs.form {
	case byPattern:
		if fs.pattern != nil && !fs.has("") {
			l.groups(n)
		}
	case byJSON:
		fs.paths = fs.pathTree()
	case byColumns, byBinary:
		for _, f := range fs.list {
			fs.reach = max(fs.reach, int(f.at.to))
			if !f.optional && f.kind != kindUnread {
				fs.needs = max(fs.needs, int(f.at.to))
			}
		}
	}
}

// groups brings the groups of the pattern to the fields of their names.
func (l *loader) groups(n strictyaml.Node) {
	fs := &l.p.fields
	p := fs.pattern
	p.groups, p.names = make([]int, len(fs.list)), make([]string, len(fs.list))
	for i, group := range p.sure.SubexpNames() {
		if group == "" {
			continue
		}
		at := slices.IndexFunc(fs.list, func(f field) bool { return f.name == group })
		switch {
		case at < 0:
			n.Faultf("found the group %q, expected a field of that name", group)
			continue
		case p.groups[at] > 0:
			n.Faultf("found the group %q again, expected it once", group)
			continue
		}
		p.groups[at], p.names[at] = i, group
	}
	for i := range fs.list {
		if p.groups[i] == 0 {
			l.places[i].node.Faultf("found no group %q in the pattern, expected one for this field", fs.list[i].name)
		}
	}
}

func (fs *fields) has(kind fieldKind) bool {
	return slices.ContainsFunc(fs.list, func(f field) bool { return f.kind == kind })
}

// mustMeasure faults what no field can be blamed for alone. A field that could not be read may be the missing one.
func (fs *fields) mustMeasure(list strictyaml.Node) {
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
	signs := slices.ContainsFunc(fs.list, func(f field) bool { return f.minus == minusLoosens })
	if signs && fs.has(kindDirection) {
		list.Faultf("found a direction field and a minus that loosens, expected one of them")
	}
}

func plural(columns int) string {
	if columns == 1 {
		return "1 column"
	}
	return strconv.Itoa(columns) + " columns"
}

// dotted reads where a value stands in a JSON object.
func dotted(n strictyaml.Node) []string {
	s, ok := n.Text()
	if !ok {
		return nil
	}
	keys := strings.Split(s, ".")
	if len(keys) > maxDepth || slices.Contains(keys, "") || len(s) > 200 {
		n.Faultf("found %.60q, expected the keys to the value with points between them, such as result.torque", s)
		return nil
	}
	return keys
}
