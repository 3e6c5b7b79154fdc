// Package demo plays a day at an invented bench: real daemon, real database, real pseudo-terminals, and a simulated
// technician who makes mistakes. Shop, engine, people and figures are invented.
package demo

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"witnessmark/audit"
	"witnessmark/cmd/witnessmark/internal/config"
	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/profile"
	"witnessmark/device/unit"
)

//go:embed procedure.yaml
var procedureText string

// Bench is the id of the bench that the story is told at.
const Bench = "bench-2"

// Technician is who works at it.
const Technician = "Mara Voss"

// The invented scene.
const (
	shopID    = "kestrel-lane"
	shopName  = "Kestrel Lane Engine Works"
	benchID   = Bench
	family    = "TB-42"
	revision  = "5"
	joint     = "main-caps"
	small     = "S-60"  // 5 … 60 N·m
	large     = "L-250" // 20 … 250 N·m
	form      = "semicolon-xor"
	firstUnit = 10577
)

// Scene is where the story is played: two simulated wrenches, the bolts they meet, and the hand that holds them.
type Scene struct {
	Config   config.Config
	wrenches map[string]*sim.Wrench
	gauges   map[string]sim.Gauge
	floor    *sim.Floor
}

// tool describes a wrench of the scene.
type tool struct {
	id, title string
	low, high unit.Torque
}

var tools = []tool{
	{small, "Small click-and-angle wrench", 5 * unit.NewtonMetre, 60 * unit.NewtonMetre},
	{large, "Long wrench with angle sensor", 20 * unit.NewtonMetre, 250 * unit.NewtonMetre},
}

// NewScene plugs two simulated wrenches into pseudo-terminals whose stable names lie in the data folder. past is what
// was told on that data folder before: it chooses the bolts, and the wrenches go on counting from there.
func NewScene(ctx context.Context, data, listen string, now time.Time, past Past) (*Scene, error) {
	p, err := profile.Builtin(form)
	if err != nil {
		return nil, err
	}
	s := &Scene{wrenches: map[string]*sim.Wrench{}, gauges: map[string]sim.Gauge{}, floor: bolts(past.Builds + 1)}
	s.Config = config.Config{Shop: config.Shop{ID: shopID, Name: shopName}, Database: config.Private, Listen: listen,
		Benches: []config.Bench{{ID: benchID, Title: "Bench 2, long blocks", Wrenches: []string{small, large}}}}
	for _, t := range tools {
		port := filepath.Join(data, "wrench-"+t.id)
		if err := s.plug(ctx, t, port, p, past.Counters[t.id]); err != nil {
			return nil, errors.Join(err, s.Close())
		}
		s.Config.Wrenches = append(s.Config.Wrenches, config.Wrench{Port: port, Profile: p, Declared: declare(t, now)})
	}
	return s, nil
}

func (s *Scene) plug(ctx context.Context, t tool, port string, p *profile.Profile, first int64) error {
	if err := os.MkdirAll(filepath.Dir(port), 0o700); err != nil {
		return fmt.Errorf("make data folder: %w", err)
	}
	line, err := sim.Pty(port)
	if err != nil {
		return fmt.Errorf("plug in wrench %s: %w", t.id, err)
	}
	m := sim.CommonMeter()
	m.First, m.Layout = first, time.DateTime
	w := sim.New(sim.Options{Wrench: t.id, Form: p, Line: line, Meter: m, Clock: time.Now, Resend: time.Second})
	s.wrenches[t.id], s.gauges[t.id] = w, m.Gauge
	if err := w.Plug(ctx); err != nil {
		return fmt.Errorf("plug in wrench %s: %w", t.id, err)
	}
	return nil
}

// declare is a calibration two months old that holds for a year.
func declare(t tool, now time.Time) audit.WrenchDeclared {
	month := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, time.UTC)
	done, due := month.AddDate(0, -2, 0), month.AddDate(0, 10, 0)
	return audit.WrenchDeclared{Wrench: t.id, Title: t.title, Certificate: "KL-" + t.id + "-" + strconv.Itoa(done.Year()),
		Calibrated: &done, Due: &due, RangeLow: int64(t.low), RangeHigh: int64(t.high)}
}

// bolts puts nine long bolts and the short one at the front into their holes.
func bolts(seed uint64) *sim.Floor {
	long, front := sim.CommonBolt(), sim.CommonBolt()
	long.Rate, long.Scatter, long.Yield = 1.2, 0.06, 130
	front.Rate, front.Scatter, front.Yield = 0.7, 0.06, 60
	long.Stiction, front.Stiction = 0.01, 0.01 // well oiled: a second hit stays inside the window, and only the angle betrays it
	hand := sim.CommonHand()
	hand.Angle = 1
	return sim.NewFloor(seed, hand, []sim.Group{
		{Fasteners: []string{"1", "2", "3", "4", "5", "6", "7", "8", "9"}, Spec: long},
		{Fasteners: []string{"10"}, Spec: front},
	})
}

// Close puts the wrenches away.
func (s *Scene) Close() error {
	var errs []error
	for _, t := range tools {
		if w := s.wrenches[t.id]; w != nil {
			errs = append(errs, w.Close())
		}
	}
	return errors.Join(errs...)
}
