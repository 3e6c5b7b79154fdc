package sim

import (
	"strings"

	"witnessmark/device/strictyaml"
)

// acts are the keys of which a step has exactly one.
var acts = []Act{TightenTo, TurnBy, LoosenBy, Stray, Pause, Noise, Unplug, Plug, Repeat}

// steps reads one item of the list of steps, which may stand for several pulls.
func (r *reader) steps(n strictyaml.Node) {
	m := n.Map("wrench", "joint", "stage", "fastener", "fasteners", "tag", "low", "again", "spoil", "angle",
		string(TightenTo), string(TurnBy), string(LoosenBy), string(Stray), string(Pause), string(Noise),
		string(Unplug), string(Plug), string(Repeat))
	act, value, ok := theAct(n, m)
	if !ok {
		return
	}
	line, _ := n.Pos()
	s := Step{Line: line, Act: act, Wrench: r.last.Wrench, Joint: r.last.Joint, Stage: r.last.Stage}
	set(m, "wrench", word, &s.Wrench)
	set(m, "joint", word, &s.Joint)
	set(m, "stage", word, &s.Stage)
	r.last = s
	switch act {
	case Pause:
		s.For = span(value)
	case Unplug, Plug, Repeat:
		s.Wrench = word(value)
	case Noise:
		s.Noise = octets(value)
	}
	r.knowsWrench(n, m, value, s)
	if !s.Pulls() {
		only(m, "wrench", string(act))
		r.script.Steps = append(r.script.Steps, s)
		return
	}
	r.pull(n, m, value, s)
}

// theAct finds the one act of a step.
func theAct(n strictyaml.Node, m strictyaml.Map) (act Act, value strictyaml.Node, ok bool) {
	var found, all []string
	for _, a := range acts {
		all = append(all, string(a))
		if v, there := m.Get(string(a)); there {
			act, value = a, v
			found = append(found, string(a))
		}
	}
	switch {
	case len(m.Keys()) == 0:
		m.Need(string(TightenTo)) // faults an empty map; of what is no map at all it was said already
	case len(found) == 0:
		n.Faultf("found no act, expected one of %s", strings.Join(all, ", "))
	case len(found) > 1:
		n.Faultf("found %s, expected one of them", strings.Join(found, " and "))
	}
	return act, value, len(found) == 1
}

func (r *reader) knowsWrench(n strictyaml.Node, m strictyaml.Map, value strictyaml.Node, s Step) {
	if s.Act == Pause || r.tools[s.Wrench] {
		return
	}
	at := n
	if w, ok := m.Get("wrench"); ok {
		at = w
	} else if s.Act == Unplug || s.Act == Plug || s.Act == Repeat {
		at = value
	}
	at.Faultf("found wrench %q, expected one of the list of wrenches above", s.Wrench)
}

// only faults the keys that mean nothing to an act.
func only(m strictyaml.Map, meant ...string) {
	for _, key := range m.Keys() {
		known := false
		for _, k := range meant {
			known = known || k == key
		}
		if !known {
			at, _ := m.Key(key)
			at.Faultf("found %q, which means nothing beside %s", key, meant[len(meant)-1])
		}
	}
}

// pull reads what a pull says of itself, and spreads it over its fasteners.
func (r *reader) pull(n strictyaml.Node, m strictyaml.Map, value strictyaml.Node, s Step) {
	meant := []string{"wrench", "joint", "stage", "fastener", "fasteners", "tag", "again", "spoil"}
	switch s.Act {
	case TightenTo:
		s.Torque = positive(newtons)(value)
		meant = append(meant, "low")
		if low, ok := m.Get("low"); ok {
			if s.Low = positive(newtons)(low); s.Low >= s.Torque && s.Torque > 0 {
				low.Faultf("found a low pull of %g N·m, expected less than the %g N·m aimed at", s.Low, s.Torque)
			}
		}
	case Stray:
		s.Torque = positive(newtons)(value)
		meant = []string{"wrench", "tag", "spoil", "angle"}
		set(m, "angle", degrees, &s.Angle)
	default:
		s.Angle = positive(degrees)(value)
	}
	only(m, append(meant, string(s.Act))...)
	set(m, "tag", word, &s.Tag)
	if sp, ok := m.Get("spoil"); ok {
		s.Spoil = fault(sp)
	}
	if s.Act == Stray {
		s.Joint, s.Stage = "", ""
		r.script.Steps = append(r.script.Steps, s)
		return
	}
	again := false
	set(m, "again", yes, &again)
	for _, id := range r.fasteners(n, m, s.Joint) {
		s.Fastener = id
		r.script.Steps = append(r.script.Steps, s)
		if again {
			twice := s
			twice.Low, twice.Spoil = 0, nil
			r.script.Steps = append(r.script.Steps, twice)
		}
	}
}

// fasteners are those named by one key or the other; each must have its bolt.
func (r *reader) fasteners(n strictyaml.Node, m strictyaml.Map, joint string) (ids []string) {
	one, single := m.Get("fastener")
	list, several := m.Get("fasteners")
	known := func(n strictyaml.Node) {
		id := word(n)
		if !r.places[place{joint, id}] && id != "" {
			n.Faultf("found fastener %q of joint %q, expected one of the list of bolts above", id, joint)
		}
		ids = append(ids, id)
	}
	switch {
	case single == several:
		n.Faultf("expected either fastener or fasteners")
	case single:
		known(one)
	default:
		each(list, known)
	}
	return ids
}

func fault(n strictyaml.Node) *Fault {
	m := n.Map("noise", "flip", "split", "cut")
	f := &Fault{}
	set(m, "noise", octets, &f.Noise)
	set(m, "flip", small, &f.Flip)
	set(m, "split", small, &f.Split)
	set(m, "cut", small, &f.Cut)
	return f
}
