package daemon

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"witnessmark/audit"
	"witnessmark/audit/bench"
	"witnessmark/cmd/witnessmark/internal/control"
	"witnessmark/device/unit"
)

// FitAdapter implements control.Desk. The same adapter, fitted there already, is no error.
func (d *Daemon) FitAdapter(ctx context.Context, benchID string, in control.Fit) (bench.View, error) {
	ev, err := d.fitted(benchID, in)
	if err != nil {
		return bench.View{}, err
	}
	return d.fit(ctx, ev, in.Person)
}

// RemoveAdapter implements control.Desk.
func (d *Daemon) RemoveAdapter(ctx context.Context, benchID string, in control.TakeOff) (bench.View, error) {
	if err := d.liesAt(benchID, in.Wrench); err != nil {
		return bench.View{}, err
	}
	return d.fit(ctx, audit.AdapterFitted{Bench: benchID, Wrench: in.Wrench}, in.Person)
}

func (d *Daemon) fit(ctx context.Context, ev audit.AdapterFitted, person string) (bench.View, error) {
	var already bool
	v, err := d.atBench(ctx, ev.Bench, person, func(s *bench.Shop, id string) (audit.Event, error) {
		ev.Person = id
		already = errors.Is(s.Refusal(ev), bench.ErrAlready)
		return ev, nil
	})
	if already && ev.Adapter != "" {
		return d.View(ev.Bench)
	}
	return v, err
}

// fitted reads what a person wrote.
func (d *Daemon) fitted(benchID string, in control.Fit) (ev audit.AdapterFitted, err error) {
	if err := d.liesAt(benchID, in.Wrench); err != nil {
		return ev, err
	}
	ev = audit.AdapterFitted{Bench: benchID, Wrench: in.Wrench, Adapter: strings.TrimSpace(in.Adapter)}
	if ev.Adapter == "" {
		return ev, control.Malformed("say which adapter is fitted: give its id, as the procedure names it where it does")
	}
	var l, e, a error
	ev.WrenchLength, l = unit.ParseLength(in.WrenchLength)
	ev.Extension, e = unit.ParseLength(in.Extension)
	ev.Angle, a = unit.ParseAngle(cmp.Or(in.Angle, "0°"))
	if err := cmp.Or(l, e, a); err != nil {
		return ev, control.Malformed(fmt.Sprintf("adapter %s: %v", ev.Adapter, err))
	}
	return ev, nil
}

// liesAt refuses a wrench that does not lie at the bench; none is every wrench there.
func (d *Daemon) liesAt(benchID, wrench string) error {
	b, err := d.bench(benchID)
	if err != nil || wrench == "" || slices.Contains(b.Wrenches, wrench) {
		return err
	}
	return control.Unknown(fmt.Sprintf("no wrench %s at bench %s: it has %s", wrench, benchID, strings.Join(b.Wrenches, ", ")))
}
