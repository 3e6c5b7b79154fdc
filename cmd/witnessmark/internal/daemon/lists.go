package daemon

import (
	"witnessmark/audit/bench"
	"witnessmark/audit/judge"
	"witnessmark/cmd/witnessmark/internal/control"
)

// Status implements control.Desk.
func (d *Daemon) Status() control.Status {
	at := d.writer.reach()
	database := "up"
	if at.trouble != nil {
		database = at.trouble.Error()
	}
	return control.Status{Shop: d.opt.Config.Shop.ID, Entries: d.journal.Last(), Position: at.position,
		Database: database, Disk: d.disk.trouble(), Clock: d.clockTrouble(), Listen: d.Addr(), Version: d.opt.Version}
}

// Procedures implements control.Desk.
func (d *Daemon) Procedures() []control.Procedure {
	list := []control.Procedure{}
	d.live.look(func(s *bench.Shop) {
		for _, p := range s.Procedures() {
			list = append(list, control.Procedure{Family: p.Family, Revision: p.Revision, Title: p.Title, Used: p.Used})
		}
	})
	return list
}

// Builds implements control.Desk.
func (d *Daemon) Builds() []control.Build {
	list := []control.Build{}
	d.live.look(func(s *bench.Shop) {
		for _, b := range s.Builds() {
			list = append(list, control.Build{ID: b.ID, BuildOpened: b.BuildOpened, Standing: b.Standing(), InDoubt: s.InDoubt(b.ID)})
		}
	})
	return list
}

// Benches implements control.Desk.
func (d *Daemon) Benches() []control.Bench {
	list := []control.Bench{}
	for _, b := range d.opt.Config.Benches {
		list = append(list, control.Bench{ID: b.ID, Title: b.Title, Wrenches: append([]string{}, b.Wrenches...)})
	}
	return list
}

// Wrenches implements control.Desk.
func (d *Daemon) Wrenches() []control.Wrench {
	list := []control.Wrench{}
	for _, w := range d.opt.Config.Wrenches {
		id := w.Declared.Wrench
		h := d.links.health(id)
		c := control.Wrench{ID: id, Title: w.Declared.Title, Bench: d.opt.Config.BenchOf(id), Port: w.Port,
			Profile: w.Profile.Name, State: string(h.Phase), Since: h.Since, Up: h.Up, Reason: h.Reason, Where: h.where(),
			Readings: h.readings, Last: h.last, Resent: h.Resent, Skipped: h.skipped, Refused: h.refused, Epoch: h.epoch,
			Due: w.Declared.Due, Cycles: w.Declared.Cycles}
		d.live.look(func(s *bench.Shop) { c.Pulls = s.Pulls(id) })
		c.Uncalibrated = judge.Uncalibrated(w.Declared, d.opt.Clock(), c.Pulls+1)
		if !h.Seen.IsZero() {
			c.LastSeen = &h.Seen
		}
		if w.Port == "" {
			c.Port = w.Find.String()
		}
		list = append(list, c)
	}
	return list
}

// View implements control.Desk. It has every reading that was acknowledged before it was asked for.
func (d *Daemon) View(benchID string) (v bench.View, err error) {
	if _, err := d.bench(benchID); err != nil {
		return v, err
	}
	if err := d.live.await(d.life, d.life, d.journal.Last()); err != nil {
		return v, err
	}
	d.live.look(func(s *bench.Shop) { v = s.View(benchID) })
	return v, nil
}

// Watch implements control.Desk.
func (d *Daemon) Watch(benchID string) (<-chan control.Update, func(), error) {
	if _, err := d.bench(benchID); err != nil {
		return nil, nil, err
	}
	updates, stop := d.live.watch(benchID)
	return updates, stop, nil
}
