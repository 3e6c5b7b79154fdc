package sim

import (
	"encoding/hex"
	"math"
	"strconv"
	"strings"
	"time"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// The functions of this file read one value each. What they cannot read becomes a fault and the zero value, a quantity
// NaN: the script is refused then, and a comparison with it raises no second fault.

func word(n strictyaml.Node) string {
	text, ok := n.Text()
	if ok && strings.TrimSpace(text) == "" {
		n.Faultf("found an empty text, expected a name")
	}
	return text
}

func yes(n strictyaml.Node) bool {
	text, ok := n.Text()
	if ok && text != "true" && text != "false" {
		n.Faultf("found %q, expected true or false", text)
	}
	return text == "true"
}

func count(n strictyaml.Node) int64 {
	text, ok := n.Text()
	if !ok {
		return 0
	}
	v, err := strconv.ParseInt(text, 10, 64)
	if err != nil || v < 0 {
		n.Faultf("found %q, expected a whole number from 0", text)
		return 0
	}
	return v
}

// small is a number of bits or bytes of a frame.
func small(n strictyaml.Node) int {
	v := count(n)
	if v < 1 || v > 1<<16 {
		n.Faultf("found %d, expected 1 to %d", v, 1<<16)
		return 0
	}
	return int(v)
}

func span(n strictyaml.Node) time.Duration {
	text, ok := n.Text()
	if !ok {
		return 0
	}
	d, err := time.ParseDuration(strings.ReplaceAll(text, " ", ""))
	if err != nil || d < 0 || d > maxSpan {
		n.Faultf("found %q, expected a time up to %v such as 1.5 s or 200 ms", text, maxSpan)
		return 0
	}
	return d
}

func octets(n strictyaml.Node) []byte {
	text, ok := n.Text()
	if !ok {
		return nil
	}
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil || len(b) == 0 {
		n.Faultf("found %q, expected bytes in hexadecimal such as \"ff 00 0a\"", text)
		return nil
	}
	return b
}

// share is a percentage as a share of one.
func share(n strictyaml.Node) float64 {
	text, ok := n.Text()
	if !ok {
		return math.NaN()
	}
	number, percent := strings.CutSuffix(text, "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if !percent || err != nil || v < 0 || v > 100 || math.IsNaN(v) {
		n.Faultf("found %q, expected a percentage from 0 to 100 such as 8 %%", text)
		return math.NaN()
	}
	return v / 100
}

// positive refuses the nothing that a quantity may otherwise be.
func positive(read func(strictyaml.Node) float64) func(strictyaml.Node) float64 {
	return func(n strictyaml.Node) float64 {
		v := read(n)
		if v == 0 {
			n.Faultf("found nothing, expected more than 0")
		}
		return v
	}
}

func newtons(n strictyaml.Node) float64 {
	text, ok := n.Text()
	if !ok {
		return math.NaN()
	}
	t, _, err := unit.ParseTorque(text)
	if err != nil || t < 0 {
		n.Faultf("found %q, expected a torque such as 30 N·m", text)
		return math.NaN()
	}
	return float64(t) / float64(unit.NewtonMetre)
}

func degrees(n strictyaml.Node) float64 {
	text, ok := n.Text()
	if !ok {
		return math.NaN()
	}
	a, err := unit.ParseAngle(text)
	if err != nil || a < 0 {
		n.Faultf("found %q, expected an angle such as 90°", text)
		return math.NaN()
	}
	return float64(a) / float64(unit.Degree)
}

// rate is a torque rate in N·m per degree.
func rate(n strictyaml.Node) float64 {
	text, ok := n.Text()
	if !ok {
		return math.NaN()
	}
	torque, per, _ := strings.Cut(text, "/")
	t, _, err := unit.ParseTorque(strings.TrimSpace(torque))
	if per = strings.TrimSpace(per); err != nil || t <= 0 || per != "°" && per != "deg" {
		n.Faultf("found %q, expected a torque rate such as 1.2 N·m/°", text)
		return math.NaN()
	}
	return float64(t) / float64(unit.NewtonMetre)
}

// windUp is degrees per N·m.
func windUp(n strictyaml.Node) float64 {
	text, ok := n.Text()
	if !ok {
		return math.NaN()
	}
	angle, per, _ := strings.Cut(text, "/")
	a, err := unit.ParseAngle(strings.TrimSpace(angle))
	u, unitErr := unit.ParseTorqueUnit(strings.TrimSpace(per))
	if err != nil || unitErr != nil || a < 0 {
		n.Faultf("found %q, expected a wind-up such as 0.04 °/N·m", text)
		return math.NaN()
	}
	return float64(a) / float64(unit.Degree) / newtonMetres[u]
}

// torqueStep is the resolution of a wrench, which also says what unit it reports in.
func torqueStep(n strictyaml.Node) (step string, u unit.TorqueUnit) {
	text, ok := n.Text()
	if !ok {
		return "", ""
	}
	step, _, _ = strings.Cut(text, " ")
	t, u, err := unit.ParseTorque(text)
	if _, stepErr := rounded(0, step); err != nil || stepErr != nil || t <= 0 {
		n.Faultf("found %q, expected the smallest step shown, number and unit apart, such as 0.1 N·m", text)
	}
	return step, u
}

// angleStep is the resolution in degrees; none is for a wrench that sends no angle.
func angleStep(n strictyaml.Node) string {
	text, ok := n.Text()
	if !ok || text == "none" {
		return ""
	}
	step := strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(text, "°"), "deg"))
	if _, err := rounded(0, step); err != nil || step == text {
		n.Faultf("found %q, expected the smallest step shown such as 1°, or none", text)
	}
	return step
}
