package sim

import (
	"time"
)

// Script is a bench played from a file: its wrenches, its bolts, the operator's hand, and what is done.
type Script struct {
	Seed     uint64
	Pace     time.Duration // from one pull to the next
	Hand     Hand
	Wrenches []Tool
	Bolts    []Group
	Steps    []Step
}

// Tool is a wrench of a script. Profile names the form that it writes.
type Tool struct {
	ID      string
	Profile string
	Meter   Meter
}

// Group is a set of fasteners with bolts of one kind. Joint tells apart fasteners of the same name; it may be empty.
type Group struct {
	Joint     string
	Fasteners []string
	Spec      BoltSpec
}

// Act is what a step does.
type Act string

// The acts. Stray is a pull at something that is no fastener of the script.
const (
	TightenTo Act = "tighten_to"
	TurnBy    Act = "turn_by"
	LoosenBy  Act = "loosen_by"
	Stray     Act = "stray"
	Pause     Act = "pause"
	Noise     Act = "noise"
	Unplug    Act = "unplug"
	Plug      Act = "plug"
	Repeat    Act = "repeat"
)

// Step is one thing done. What the act does not need is zero.
type Step struct {
	Line     int // in the file, from 1; 0: made by a program
	Act      Act
	Wrench   string
	Joint    string
	Stage    string // for the truth only: the bench is not told
	Fastener string
	Torque   float64 // N·m: the aim, or the torque of a stray pull
	Low      float64 // N·m at which the hand lets go early; 0: it does not
	Angle    float64 // degrees
	Tag      string
	For      time.Duration
	Noise    []byte
	Spoil    *Fault
}

// Pulls reports whether the step is a pull at something.
func (s Step) Pulls() bool {
	switch s.Act {
	case TightenTo, TurnBy, LoosenBy, Stray:
		return true
	}
	return false
}
