package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"witnessmark/cmd/witnessmark/internal/tried"
	"witnessmark/device/link"
	"witnessmark/device/modbus"
	"witnessmark/device/port"
	"witnessmark/device/profile"
	"witnessmark/device/sketch"
	"witnessmark/device/trial"
)

type wrenchTry struct {
	Profile string        `arg:"" help:"A profile file, or the name of one that comes with the program."`
	Source  string        `arg:"" name:"capture|port" help:"A capture file, or a port such as ttyUSB0, /dev/serial/by-id/…, tcp://host:port."`
	Brief   bool          `help:"One line for each frame, without its picture."`
	JSON    bool          `name:"json" help:"One JSON object a line."`
	For     time.Duration `help:"Of a port: stop after this time, such as 30s; else at Ctrl-C." placeholder:"TIME"`
	Listen  bool          `help:"Of a port: send nothing, not even the start-up commands and polls of the profile."`
}

// Help is the long help of the command.
func (wrenchTry) Help() string {
	return `Under the bytes of each frame stands what they became:

  23 31 30 34 32 3b 34 35 2e 32 3b 4e 6d 0d 0a
  #  1  0  4  2  ;  4  5  .  2  ;  N  m  ␍  ␊
  ├┘ ├─────────┘    ├─────────┘    ├───┘
  │  │              │              ╰ unit N·m
  │  │              ╰ torque 45.2 N·m
  │  ╰ counter 1042
  ╰ lead
  ✓ 45.2 N·m, tightened, number 1042

  ✓ a reading   ✗ refused, and why   – no reading: the profile ignores such frames

Nothing is recorded and no reading is acknowledged: a wrench with a memory keeps
its readings and sends them again later. On a port the start-up commands and
polls of the profile are sent, unless you say --listen.

The profiles that come with the program:
  ` + strings.Join(profile.BuiltinNames(), ", ") + `

Exit code: 0 every frame is understood, 1 some were refused or none came,
2 bad input.`
}

// Run plays the capture or the port through the profile.
func (c *wrenchTry) Run(ctx context.Context, s shop) error {
	p, err := profileOf(c.Profile)
	if err != nil {
		return inputError{err}
	}
	t := &trying{profile: p, teller: c.teller(s.out)}
	if c.isPort() {
		err = c.live(ctx, t)
	} else {
		err = c.capture(s, t)
	}
	if err != nil {
		return err
	}
	if err := t.teller.End(t.tally); err != nil {
		return err
	}
	if t.tally.Refused > 0 || t.tally.Frames == 0 {
		return errAttention
	}
	return nil
}

// profileOf finds a profile by its name, else reads a file.
func profileOf(name string) (*profile.Profile, error) {
	if slices.Contains(profile.BuiltinNames(), name) {
		return profile.Builtin(name)
	}
	text, err := os.ReadFile(name)
	if errors.Is(err, os.ErrNotExist) && !strings.ContainsAny(name, "./") {
		return profile.Builtin(name) // its error lists the names there are
	}
	if err != nil {
		return nil, fmt.Errorf("read profile: %w", err)
	}
	return profile.Parse(name, text)
}

// isPort tells a port from a capture file. What is not there is a port if it is written like one.
func (c *wrenchTry) isPort() bool {
	if _, is := captureFile(c.Source); is {
		return false
	}
	_, missing := os.Stat(spec(c.Source))
	return missing == nil || strings.Contains(c.Source, "://") || strings.HasPrefix(c.Source, "/dev/")
}

// width is that of the terminals that everybody has.
const width = 80

func (c *wrenchTry) teller(out io.Writer) tried.Teller {
	if c.JSON {
		return &tried.Lines{Out: out}
	}
	return &tried.Page{Out: out, Brief: c.Brief, Look: sketch.Look{Width: width, Colour: coloured(out)}}
}

// coloured says whether to write colours: on a terminal, unless NO_COLOR is set (no-color.org).
func coloured(out io.Writer) bool {
	return terminal(out) && os.Getenv("NO_COLOR") == ""
}

// trying is one run of the command.
type trying struct {
	profile *profile.Profile
	teller  tried.Teller
	tally   tried.Tally
}

func (t *trying) took(f trial.Frame) {
	t.tally.Add(f.Result)
	t.teller.Frame(f, t.profile.Explain(f.Frame))
}

func (c *wrenchTry) capture(s shop, t *trying) error {
	file, _ := captureFile(c.Source)
	played, err := readCapture(s, file)
	if err != nil {
		return inputError{err}
	}
	trial.Play(t.profile, played, t.took, func(at time.Duration) { t.teller.Gone(at, tried.Unplugged) })
	return nil
}

// placeOf is where the wrench is plugged in: one that keeps its readings in registers is polled.
func placeOf(spec string, p *profile.Profile) (port.Place, error) {
	if p.Registers() != nil {
		return modbus.At(spec, p)
	}
	return port.At(spec, port.Mode(p.Mode()))
}

// live tries a port until Ctrl-C, or for as long as was asked.
func (c *wrenchTry) live(ctx context.Context, t *trying) error {
	place, err := placeOf(spec(c.Source), t.profile)
	if err != nil {
		return inputError{err}
	}
	if c.For > 0 {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, c.For)
		defer stop()
	}
	began := time.Now()
	since := func() time.Duration { return time.Since(began) }
	opened := false
	tell := func(up bool, reason string) {
		switch {
		case up:
			opened = true
			t.teller.Back(since())
		case ctx.Err() != nil:
		case opened:
			t.teller.Gone(since(), tried.Unplugged+": "+reason)
		default:
			t.teller.Gone(since(), "the port does not open, and is tried again: "+reason)
		}
	}
	return link.Hold(ctx, place, tell, func(ctx context.Context, p port.Port) (heard bool, lost, err error) {
		heard, lost = c.talk(ctx, t, p, since)
		return heard, lost, nil
	})
}
