package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/profile"
)

// playCommand plays a script.
type playCommand struct {
	Script string        `arg:"" help:"The script, a YAML file; see wrenchsim example."`
	Speed  float64       `default:"1" help:"So many times faster than the script says; 0: without any wait."`
	Resend time.Duration `default:"2s" help:"A reading without acknowledgement is sent again after this long."`
	JSON   bool          `name:"json" help:"Tell the truth as JSON, one pull a line."`
	placeFlags
}

// Run plays the script to its end, or until it is interrupted.
func (c *playCommand) Run(ctx context.Context, to streams) (err error) {
	if c.Speed < 0 {
		return inputError{errors.New("a speed below 0 makes no sense: give 0 or more")}
	}
	text, err := os.ReadFile(c.Script)
	if err != nil {
		return inputError{fmt.Errorf("read the script: %w", err)}
	}
	script, err := sim.Parse(c.Script, text)
	if err != nil {
		return inputError{err}
	}
	wrenches, err := c.wrenches(script)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, putAway(wrenches)) }()
	for _, t := range script.Wrenches {
		if err := wrenches[t.ID].Plug(ctx); err != nil {
			return err
		}
		fmt.Fprintf(to.notes, "wrench %s at %s\n", t.ID, wrenches[t.ID].Addr())
	}
	player, err := sim.NewPlayer(script, wrenches, c.pause)
	if err != nil {
		return err
	}
	return c.play(ctx, player, to.out)
}

func (c *playCommand) wrenches(script *sim.Script) (map[string]*sim.Wrench, error) {
	forms := make([]*profile.Profile, 0, len(script.Wrenches))
	for _, t := range script.Wrenches {
		f, err := form(t.Profile)
		if err != nil {
			return nil, err
		}
		if err := readable(t, f); err != nil {
			return nil, err
		}
		forms = append(forms, f)
	}
	lines, spoken, err := c.lines(forms)
	if err != nil {
		return nil, err
	}
	wrenches := map[string]*sim.Wrench{}
	for i, t := range script.Wrenches {
		wrenches[t.ID] = sim.New(sim.Options{Wrench: t.ID, Form: spoken[i], Line: lines[i], Meter: t.Meter, Clock: time.Now, Resend: c.Resend})
	}
	return wrenches, nil
}

func putAway(wrenches map[string]*sim.Wrench) error {
	var errs []error
	for _, w := range wrenches {
		errs = append(errs, w.Close())
	}
	return errors.Join(errs...)
}

// pause waits as long as the script says, by the speed asked for.
func (c *playCommand) pause(ctx context.Context, d time.Duration) error {
	if c.Speed == 0 || d == 0 {
		return ctx.Err()
	}
	t := time.NewTimer(time.Duration(float64(d) / c.Speed))
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

func (c *playCommand) play(ctx context.Context, player *sim.Player, out io.Writer) error {
	for {
		if _, more := player.Next(); !more {
			return nil
		}
		truth, err := player.Do(ctx)
		if err != nil {
			return err
		}
		if truth == nil {
			continue
		}
		if err := c.tell(out, *truth); err != nil {
			return fmt.Errorf("tell the truth: %w", err)
		}
	}
}

func (c *playCommand) tell(out io.Writer, t sim.Truth) error {
	if c.JSON {
		return json.NewEncoder(out).Encode(t)
	}
	angle := "no angle"
	if t.Reading.Angle != nil {
		angle = t.Reading.Angle.String()
	}
	at := "nowhere"
	if t.Fastener != "" {
		at = fmt.Sprintf("%s %s of %s", t.Stage, t.Fastener, t.Joint)
	}
	_, err := fmt.Fprintf(out, "%4d  %-8s %9s %-6s %8s  %-9s %s\n", t.No, t.Wrench, t.Reading.TorqueText, t.Reading.Unit, angle, t.Hit, at)
	return err
}
