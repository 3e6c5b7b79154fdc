package bench

import (
	"errors"
	"fmt"
	"maps"
	"slices"

	"witnessmark/audit"
	"witnessmark/audit/adapter"
	"witnessmark/audit/match"
	"witnessmark/audit/procedure"
	"witnessmark/device/unit"
)

// fits is what is fitted at a bench: adapters by wrench, the empty one for every wrench without its own.
type fits map[string]*adapter.Adapter

// of is what stands between a wrench and the fastener, nil: nothing that the bench knows of.
func (f fits) of(wrench string) *adapter.Adapter {
	if a := f[wrench]; a != nil {
		return a
	}
	return f[""]
}

func asAdapter(ev audit.AdapterFitted) adapter.Adapter {
	return adapter.Adapter{ID: ev.Adapter, Lever: ev.WrenchLength, Offset: ev.Extension, Angle: ev.Angle}
}

func (s *Shop) fit(ev audit.AdapterFitted) {
	if ev.Adapter == "" {
		delete(s.fits[ev.Bench], ev.Wrench)
		return
	}
	if s.fits[ev.Bench] == nil {
		s.fits[ev.Bench] = fits{}
	}
	a := asAdapter(ev)
	s.fits[ev.Bench][ev.Wrench] = &a
}

func (s *Shop) refuseFit(ev audit.AdapterFitted) error {
	now := s.fits[ev.Bench][ev.Wrench]
	if _, known := s.wrenches[ev.Wrench]; !known && ev.Wrench != "" {
		return unknown("no wrench %q in this shop: name one that the configuration has, or none for every wrench at the bench", ev.Wrench)
	}
	switch {
	case ev.Bench == "":
		return errors.New("an adapter is fitted at a bench: name one")
	case ev.Adapter == "" && now == nil:
		return fmt.Errorf("no adapter is fitted there: %w", ErrAlready)
	case ev.Adapter == "":
		return nil
	case now != nil && *now == asAdapter(ev):
		return fmt.Errorf("adapter %s is fitted there already: %w", ev.Adapter, ErrAlready)
	}
	if err := asAdapter(ev).Check(); err != nil {
		return fmt.Errorf("adapter %s cannot be fitted: %w", ev.Adapter, err)
	}
	return nil
}

// correct turns what the wrench showed into what the fastener got through what is fitted at the bench. What is learned of a
// wrench holds for it with this adapter: one that bends winds up more.
func correct(o *match.Observation, a *adapter.Adapter) {
	if a != nil {
		o.Torque, o.Corrected, o.Wrench = a.Applied(o.Torque), true, o.Wrench+"\x00"+a.ID
	}
}

// adapterAt is what stood between wrench and fastener at a stage (-1: none of the joint): what the bench had fitted, else
// what the stage names; nil: nothing. other is true where the bench had another one than the stage names.
func (r *run) adapterAt(stage int, fitted *adapter.Adapter) (a *adapter.Adapter, other bool) {
	if stage < 0 {
		return fitted, false
	}
	wants := r.joint.Stages[stage].Adapter
	if fitted != nil {
		return fitted, wants != "" && wants != fitted.ID
	}
	if a, ok := r.procedure.Adapters[wants]; ok {
		return &a, false
	}
	return nil, false
}

// through notes what stood between wrench and fastener, and what the fastener got.
func through(m *audit.Mark, a *adapter.Adapter, shown unit.Torque) {
	if a != nil {
		m.Adapter, m.Applied = a.ID, int64(a.Applied(shown))
	}
}

// gotten is the torque of a reading at the fastener.
func (t *taken) gotten() unit.Torque { return AtFastener(&t.mark, &t.reading) }

// wanted is a target in words, with what a wrench shows of it through the adapter that it is pulled with.
func (r *run) wanted(f procedure.Figures, stage int, fitted *adapter.Adapter) string {
	a, other := r.adapterAt(stage, fitted)
	if a == nil || f.Torque == 0 {
		return f.Target()
	}
	shown := f
	shown.Torque = a.Shown(f.Torque)
	shown.Torques.Low, shown.Torques.High = a.Shown(f.Torques.Low), a.Shown(f.Torques.High)
	text := fmt.Sprintf("%s shown by the wrench with adapter %s, which is %s at the fastener", shown.Target(), a.ID, f.Torque)
	if other {
		text += fmt.Sprintf(" (the procedure wants adapter %s here)", r.joint.Stages[stage].Adapter)
	}
	return text
}

// Fitted is an adapter at a bench, in words a person reads.
type Fitted struct {
	Adapter      string `json:"adapter"`
	Wrench       string `json:"wrench,omitempty"` // empty: every wrench that has none of its own
	WrenchLength string `json:"wrench_length"`
	Extension    string `json:"extension"`
	Angle        string `json:"angle"`
}

// list is what is fitted, the one for every wrench first.
func (f fits) list() []Fitted {
	var out []Fitted
	for _, w := range slices.Sorted(maps.Keys(f)) {
		a := f[w]
		out = append(out, Fitted{a.ID, w, a.Lever.String(), a.Offset.String(), a.Angle.String()})
	}
	return out
}
