// Package bolt knows the geometry and strength of metric bolts, to estimate what clamps a joint: the preload behind a
// torque, which depends on friction that nobody measures, and behind an angle, which depends on what the joint yields.
// Both are estimates, given as an interval and for information only: no verdict rests on them.
package bolt

import (
	"fmt"
	"strconv"
	"strings"

	"witnessmark/device/unit"
)

// Thread is an ISO metric thread.
type Thread struct {
	Diameter unit.Length // nominal, d
	Pitch    unit.Length // P
}

// coarse is the coarse pitch series of ISO 261 by diameter in mm, in µm (from memory).
var coarse = map[string]int64{"3": 500, "4": 700, "5": 800, "6": 1000, "7": 1000, "8": 1250, "10": 1500, "12": 1750,
	"14": 2000, "16": 2000, "18": 2500, "20": 2500, "22": 2500, "24": 3000, "27": 3000, "30": 3500}

// ParseThread reads "M12x1.75", or "M12" for the coarse pitch.
func ParseThread(s string) (Thread, error) {
	d, p, fine := strings.Cut(strings.TrimPrefix(strings.ReplaceAll(s, "×", "x"), "M"), "x")
	diameter, err := millimetres(d)
	if !strings.HasPrefix(s, "M") || err != nil {
		return Thread{}, fmt.Errorf("found the thread %q, expected a metric one such as M12x1.75", s)
	}
	if !fine {
		pitch, known := coarse[d]
		if !known {
			return Thread{}, fmt.Errorf("found the thread %q, whose coarse pitch is not known here: write the pitch, such as M12x1.75", s)
		}
		return Thread{diameter, unit.Length(pitch * 1000)}, nil
	}
	pitch, err := millimetres(p)
	if err != nil || pitch >= diameter/2 {
		return Thread{}, fmt.Errorf("found the pitch %q in the thread %q, expected millimetres, such as 1.75", p, s)
	}
	return Thread{diameter, pitch}, nil
}

func millimetres(s string) (unit.Length, error) {
	whole, fraction, _ := strings.Cut(s, ".")
	if len(fraction) > 3 || strings.Trim(whole+fraction, "0123456789") != "" || whole == "" {
		return 0, strconv.ErrSyntax
	}
	n, err := strconv.ParseInt(whole+(fraction + "000")[:3], 10, 32)
	if err != nil || n == 0 {
		return 0, strconv.ErrRange
	}
	return unit.Length(n * 1000), nil
}

// The diameters of ISO 724 and ISO 898-1, to the nearest nanometre.

// PitchDiameter is d2 = d − 0.649519·P.
func (t Thread) PitchDiameter() unit.Length { return t.Diameter - t.Pitch*649_519/1_000_000 }

// RootDiameter is d3 = d − 1.226869·P.
func (t Thread) RootDiameter() unit.Length { return t.Diameter - t.Pitch*1_226_869/1_000_000 }

// StressArea is the nominal stress area A_s = π/4·((d2+d3)/2)² of ISO 898-1, in µm².
func (t Thread) StressArea() int64 {
	d := int64(t.PitchDiameter()+t.RootDiameter()) / 2
	return d * d / 1_000_000 * 785_398 / 1_000_000
}

// proof is the nominal proof stress of a property class (ISO 898-1, from memory) in N/mm²: up to 16 mm, and above.
var proof = map[string][2]int64{"4.6": {225, 225}, "5.8": {380, 380}, "8.8": {580, 600}, "9.8": {650, 650}, "10.9": {830, 830}, "12.9": {970, 970}}

// ProofLoad is the load in N that a bolt of a property class must bear without lasting stretch; false: the class is not known.
func (t Thread) ProofLoad(class string) (newton int64, ok bool) {
	s, ok := proof[class]
	stress := s[0]
	if t.Diameter > 16_000_000 {
		stress = s[1]
	}
	return t.StressArea() * stress / 1_000_000, ok
}
