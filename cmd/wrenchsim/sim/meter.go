package sim

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// Meter is how a wrench writes down what its gauge measured.
type Meter struct {
	Gauge
	Unit       unit.TorqueUnit // the unit it reports in; empty: N·m
	TorqueStep string          // resolution in that unit as decimal text, e.g. "0.1"
	AngleStep  string          // resolution in degrees, e.g. "1"; empty: it sends no angle
	Serial     string          // the serial number it speaks; empty: none
	First      int64           // its count before the first reading
	Layout     string          // layout of its clock after package time; empty: it sends none
}

// CommonMeter is a wrench to a tenth of a N·m and a whole degree that counts angle from 5 N·m.
func CommonMeter() Meter {
	return Meter{Gauge: Gauge{Threshold: 5, WindUp: 0.04}, TorqueStep: "0.1", AngleStep: "1"}
}

// newtonMetres is what one of a unit is in N·m: exact definitions, printed in NIST SP 811 App. B.
var newtonMetres = map[unit.TorqueUnit]float64{
	unit.Nm: 1, unit.DNm: 0.1, unit.CNm: 0.01, unit.MNm: 0.001,
	unit.LbfFt: 1.3558179483314004, unit.LbfIn: 0.1129848290276167,
	unit.OzfIn: 0.00706155181422604375, unit.KgfM: 9.80665, unit.KgfCm: 0.0980665, unit.GfCm: 0.0000980665,
}

// Take makes the reading of a pull: rounded to the wrench's resolution, with its next count and its clock.
func (w *Wrench) Take(p Pull, tag string) (device.Reading, error) {
	m := w.o.Meter
	r := device.Reading{Wrench: w.o.Wrench, Unit: m.Unit, Direction: device.Tighten, Serial: m.Serial, Tag: tag}
	if r.Unit == "" {
		r.Unit = unit.Nm
	}
	if p.Loosens {
		r.Direction = device.Loosen
	}
	one, known := newtonMetres[r.Unit]
	if !known {
		return r, fmt.Errorf("take the torque of a pull: unknown unit %q", r.Unit)
	}
	var err error
	if r.TorqueText, err = rounded(p.Torque/one, m.TorqueStep); err != nil {
		return r, err
	}
	if r.Torque, err = unit.TorqueIn(r.TorqueText, r.Unit); err != nil {
		return r, fmt.Errorf("take the torque of a pull: %w", err)
	}
	if r.Angle, err = m.angle(p.Angle); err != nil {
		return r, err
	}
	w.mu.Lock()
	w.counter++
	count := w.counter
	w.mu.Unlock()
	r.Counter = &count
	if m.Layout != "" {
		r.Clock = w.o.Clock().Format(m.Layout)
	}
	return r, nil
}

func (m Meter) angle(degrees float64) (*unit.Angle, error) {
	if m.AngleStep == "" {
		return nil, nil
	}
	text, err := rounded(degrees, m.AngleStep)
	if err != nil {
		return nil, err
	}
	a, err := unit.AngleOf(text)
	if err != nil {
		return nil, fmt.Errorf("take the angle of a pull: %w", err)
	}
	return &a, nil
}

// rounded is the value as a wrench shows it: the nearest multiple of the step, with the step's digits.
func rounded(value float64, step string) (string, error) {
	s, err := strconv.ParseFloat(step, 64)
	if err != nil || s <= 0 || math.IsInf(s, 0) {
		return "", fmt.Errorf("resolution %q: write a decimal number above 0, e.g. 0.1", step)
	}
	_, fraction, _ := strings.Cut(step, ".")
	return strconv.FormatFloat(math.Round(value/s)*s, 'f', len(fraction), 64), nil
}
