package match

// none is an angle that was not sent.
const none = int64(-1) << 62

// observed is an observation in the matcher's own units.
type observed struct {
	Observation
	torque int64 // mN·m
	angle  int64 // m°, or none
	// The fastener that a person named, and that of a scanned label or the wrench's tag: its index, elsewhere, or unsaid.
	named, tagged int
	tool          int
	// No likelihood of the torque is higher, and none of the angle.
	peakTorque, peakAngle nats
	// by stage: the observation as it would be at a fastener there; nil: the same everywhere.
	applied []observed
}

// at is the observation as it would be at a fastener in a stage.
func (o *observed) at(stage int) *observed {
	if o.applied == nil {
		return o
	}
	return &o.applied[stage]
}

const (
	elsewhere = -1
	unsaid    = -2
)

func (m *Matcher) observe(o Observation) observed {
	seen := observed{Observation: o, torque: int64(o.Torque) / milli, angle: none, named: unsaid, tagged: unsaid, tool: m.phys.tool(o.Wrench)}
	if o.Angle != nil {
		seen.angle = int64(*o.Angle)
		m.phys.tools[seen.tool].see(seen.angle)
	}
	if o.Named != "" {
		seen.named = elsewhere
		if f, ok := m.ids[o.Named]; ok {
			seen.named = f
		}
	}
	if f, _ := m.told(&o); f >= 0 {
		seen.tagged = f
	}
	seen.applied = m.applied(&seen)
	lowest := seen.torque
	for i := range seen.applied {
		lowest = min(lowest, seen.applied[i].torque)
	}
	// The narrowest density is that of a torque near its target, which is no lower than wildHigh allows, or, at the end of a
	// turn, near where a fastener stood.
	narrow := max(lowest*opScatter/wildHigh, 1)
	seen.peakTorque = gauss(0, narrow*narrow)
	if o.Angle != nil {
		seen.peakAngle = gauss(0, angleNoise*angleNoise) + ln2
	}
	return seen
}

// applied is what an observation would be in each stage, nil where no stage has an adapter.
func (m *Matcher) applied(o *observed) []observed {
	if m.through == nil || o.Corrected {
		return nil
	}
	out := make([]observed, len(m.through))
	for i, applied := range m.through {
		out[i] = *o
		if applied != nil {
			out[i].Torque, out[i].Guard = applied(o.Torque), applied(o.Guard)
			out[i].torque = int64(out[i].Torque) / milli
		}
	}
	return out
}
