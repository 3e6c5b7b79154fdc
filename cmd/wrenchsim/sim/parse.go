package sim

import (
	"time"

	"witnessmark/device/strictyaml"
)

// format is the first line of a script.
const format = "witnessmark/script/1"

// reader reads one script; faults gather in the document.
type reader struct {
	script Script
	tools  map[string]bool
	places map[place]bool
	last   Step // for what a step leaves out
}

// Parse reads a script. The error is strictyaml.Faults: every fault of the file with its line and column.
func Parse(file string, text []byte) (*Script, error) {
	doc := strictyaml.Parse(file, text)
	r := &reader{tools: map[string]bool{}, places: map[place]bool{}}
	m := doc.Root().Map("format", "seed", "pace", "hand", "wrenches", "bolts", "steps")
	if n, ok := m.Need("format"); ok {
		if f, ok := n.Text(); ok && f != format {
			n.Faultf("found format %q, expected %q", f, format)
		}
	}
	if n, ok := m.Get("seed"); ok {
		r.script.Seed = uint64(count(n))
	}
	if n, ok := m.Get("pace"); ok {
		r.script.Pace = span(n)
	}
	r.script.Hand = CommonHand()
	if n, ok := m.Get("hand"); ok {
		r.hand(n)
	}
	if n, ok := m.Need("wrenches"); ok {
		each(n, r.tool)
	}
	if n, ok := m.Get("bolts"); ok {
		each(n, r.group)
	}
	if n, ok := m.Need("steps"); ok {
		each(n, r.steps)
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return &r.script, nil
}

// each reads the items of a list that must not be empty.
func each(n strictyaml.Node, read func(strictyaml.Node)) {
	items, ok := n.List()
	if ok && len(items) == 0 {
		n.Faultf("found an empty list, expected at least one item")
	}
	for _, item := range items {
		read(item)
	}
}

func (r *reader) hand(n strictyaml.Node) {
	m := n.Map("overshoot", "scatter", "angle")
	set(m, "overshoot", share, &r.script.Hand.Overshoot)
	set(m, "scatter", share, &r.script.Hand.Scatter)
	set(m, "angle", degrees, &r.script.Hand.Angle)
}

// set reads a key into a field where the key is there.
func set[T any](m strictyaml.Map, key string, read func(strictyaml.Node) T, field *T) {
	if n, ok := m.Get(key); ok {
		*field = read(n)
	}
}

func (r *reader) tool(n strictyaml.Node) {
	m := n.Map("id", "profile", "serial", "resolution", "angle_resolution", "threshold", "wind_up", "counter", "clock")
	t := Tool{Meter: CommonMeter()}
	if id, ok := m.Need("id"); ok {
		if t.ID = word(id); r.tools[t.ID] && t.ID != "" {
			id.Faultf("wrench %q stands here twice, expected another id", t.ID)
		}
		r.tools[t.ID] = true
	}
	if p, ok := m.Need("profile"); ok {
		t.Profile = word(p)
	}
	if res, ok := m.Get("resolution"); ok {
		t.Meter.TorqueStep, t.Meter.Unit = torqueStep(res)
	}
	set(m, "serial", word, &t.Meter.Serial)
	set(m, "angle_resolution", angleStep, &t.Meter.AngleStep)
	set(m, "threshold", newtons, &t.Meter.Threshold)
	set(m, "wind_up", windUp, &t.Meter.WindUp)
	set(m, "counter", count, &t.Meter.First)
	set(m, "clock", word, &t.Meter.Layout)
	r.script.Wrenches = append(r.script.Wrenches, t)
}

func (r *reader) group(n strictyaml.Node) {
	m := n.Map("joint", "fasteners", "rate", "scatter", "yield", "past_yield", "stiction", "off")
	g := Group{Spec: CommonBolt()}
	set(m, "joint", word, &g.Joint)
	set(m, "rate", rate, &g.Spec.Rate)
	set(m, "scatter", share, &g.Spec.Scatter)
	set(m, "yield", newtons, &g.Spec.Yield)
	set(m, "past_yield", positive(share), &g.Spec.YieldRatio)
	set(m, "stiction", share, &g.Spec.Stiction)
	set(m, "off", share, &g.Spec.OffRatio)
	list, ok := m.Need("fasteners")
	if !ok {
		return
	}
	each(list, func(n strictyaml.Node) {
		id := word(n)
		at := place{g.Joint, id}
		if r.places[at] && id != "" {
			n.Faultf("fastener %q of joint %q has a bolt already, expected each one once", id, g.Joint)
		}
		r.places[at] = true
		g.Fasteners = append(g.Fasteners, id)
	})
	r.script.Bolts = append(r.script.Bolts, g)
}

// maxSpan bounds a pause: a longer one is a slip of the unit.
const maxSpan = 24 * time.Hour
