// Package adapter corrects a reading for what stands between wrench and fastener: a crowfoot or an extension that
// moves the fastener away from the drive, so that the wrench shows less or more than the fastener gets.
//
//	handle ════════════════╤ drive            L: from the middle of the grip to the drive
//	        <───── L ─────>╲ α                E: from the drive to the fastener
//	                        ╲E                α: between the adapter and the line of the wrench; 0° straight on,
//	                         o fastener          90° across, 180° back along the handle
//
// The fastener gets T = S·(L + E·cos α)/L of the S that the wrench shows (FAA AC 43.13-1B, 7-40h; US Army TM 9-254,
// figures 4-5 and 4-6).
package adapter

import (
	"errors"
	"fmt"
	"math/big"

	"witnessmark/device/unit"
)

// Adapter is a crowfoot or an extension on one wrench.
type Adapter struct {
	ID     string
	Lever  unit.Length // L, above 0
	Offset unit.Length // E, not negative
	Angle  unit.Angle  // α, 0 … 180°
}

// Check says what is wrong with an adapter's figures.
func (a Adapter) Check() error {
	switch {
	case a.Lever <= 0:
		return errors.New("the lever is not above 0: give the length from the middle of the grip to the drive")
	case a.Offset < 0:
		return errors.New("the offset is negative: give the distance from drive to fastener, and an angle above 90° where it points back")
	case a.Angle < 0 || a.Angle > 180*unit.Degree:
		return fmt.Errorf("the angle is %s: give 0° straight on, 90° across, 180° back along the handle", a.Angle)
	case a.Angle > 90*unit.Degree && a.Offset >= a.Lever:
		return errors.New("the adapter reaches back beyond the grip: the wrench would show nothing that means anything")
	}
	return nil
}

// Applied is the torque that the fastener got when the wrench showed s, to the nearest µN·m.
func (a Adapter) Applied(s unit.Torque) unit.Torque { return scale(s, a.reach(), int64(a.Lever)) }

// Shown is what the wrench shows when the fastener gets t, to the nearest µN·m.
func (a Adapter) Shown(t unit.Torque) unit.Torque { return scale(t, int64(a.Lever), a.reach()) }

// reach is L + E·cos α in nm.
func (a Adapter) reach() int64 {
	e := new(big.Int).Mul(big.NewInt(int64(a.Offset)), big.NewInt(cosine(int64(a.Angle))))
	return int64(a.Lever) + nearest(e, big.NewInt(one))
}

func scale(t unit.Torque, by, of int64) unit.Torque {
	p := new(big.Int).Mul(big.NewInt(int64(t)), big.NewInt(by))
	return unit.Torque(nearest(p, big.NewInt(of)))
}

// nearest is n/d rounded to the nearest, halves away from 0; d > 0.
func nearest(n, d *big.Int) int64 {
	twice := new(big.Int).Lsh(n, 1)
	half := new(big.Int).Set(d)
	if n.Sign() < 0 {
		half.Neg(half)
	}
	return twice.Add(twice, half).Quo(twice, new(big.Int).Lsh(d, 1)).Int64()
}

// one is 1 in the units of cosine.
const one = int64(1) << 40

// cosine is cos(a) for a = 0 … 180000 m°, in units of 2^-40, by its series in whole numbers: the same everywhere.
func cosine(a int64) int64 {
	if a > 90_000 {
		return -cosine(180_000 - a)
	}
	x := new(big.Int).Mul(big.NewInt(a), pi60)
	x.Quo(x, big.NewInt(180_000)) // radians, in units of 2^-60
	square := new(big.Int).Mul(x, x)
	square.Rsh(square, 60)
	term, sum := new(big.Int).Lsh(big.NewInt(1), 60), new(big.Int).Lsh(big.NewInt(1), 60)
	for k := int64(1); k <= 12; k++ {
		term.Mul(term, square).Rsh(term, 60).Quo(term, big.NewInt((2*k-1)*(2*k)))
		if k%2 == 1 {
			sum.Sub(sum, term)
		} else {
			sum.Add(sum, term)
		}
	}
	return nearest(sum, new(big.Int).Lsh(big.NewInt(1), 20))
}

// pi60 is π in units of 2^-60.
var pi60 = big.NewInt(3622009729038561421)
