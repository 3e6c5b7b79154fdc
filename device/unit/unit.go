// Package unit holds the measured quantities of the trade as scaled integers: torque in micro-newton-metres,
// angle in milli-degrees, length in nanometres. They are read from decimal text without passing through a float.
package unit

// Torque is a torque in micro-newton-metres (µN·m); positive tightens, negative is never stored:
// the direction of a reading stands beside it.
type Torque int64

// Angle is an angle in milli-degrees (m°).
type Angle int64

// Length is a length in nanometres (nm), for clearances, bolt lengths and hole coordinates.
type Length int64

// Scales of the integers above.
const (
	NewtonMetre Torque = 1_000_000
	Degree      Angle  = 1_000
	Millimetre  Length = 1_000_000
)

// TorqueUnit is a unit that a wrench or a procedure states a torque in.
type TorqueUnit string

// The torque units that are understood, by the spelling that we print.
const (
	Nm    TorqueUnit = "N·m"
	CNm   TorqueUnit = "cN·m"
	DNm   TorqueUnit = "dN·m"
	MNm   TorqueUnit = "mN·m" // milli
	LbfFt TorqueUnit = "lbf·ft"
	LbfIn TorqueUnit = "lbf·in"
	OzfIn TorqueUnit = "ozf·in"
	KgfM  TorqueUnit = "kgf·m"
	KgfCm TorqueUnit = "kgf·cm"
	GfCm  TorqueUnit = "gf·cm"
)
