package adapter_test

import (
	"math"
	"testing"

	"witnessmark/audit/adapter"
	"witnessmark/device/unit"
)

func inch(n float64) unit.Length { return unit.Length(math.Round(n * 25_400_000)) }

func torque(t *testing.T, text string, u unit.TorqueUnit) unit.Torque {
	t.Helper()
	v, err := unit.TorqueIn(text, u)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func TestAdapter_Published(t *testing.T) {
	for _, c := range []struct {
		source         string
		lever, offset  unit.Length
		angle          unit.Angle
		applied, shown string
		in             unit.TorqueUnit
		decimals       int
	}{
		{"US Navy NAVEDTRA, airman training, figures 3-44 and 3-45", inch(12), inch(6), 0, "100.0", "66.7", unit.LbfIn, 1},
		{"US Army TM 9-254, figures 4-5 and 4-6", inch(12), inch(2), 0, "70", "60", unit.LbfIn, 0},
		{"US Army TM 9-2350-261-20-1, page 2-29", inch(12), inch(4), 0, "40", "30", unit.LbfFt, 0},
		{"maintenance manual of a light aircraft, 2-90, figure 2-14", inch(12), inch(3), 0, "30", "24", unit.LbfFt, 0},
		{"constructed from TM 9-254, figure 4-6, at 60°", inch(12), inch(4), 60 * unit.Degree, "40.0000", "34.2857", unit.LbfFt, 4},
		{"constructed: across, nothing changes", inch(12), inch(4), 90 * unit.Degree, "40.0000", "40.0000", unit.LbfFt, 4},
		{"constructed: back along the handle", inch(12), inch(4), 180 * unit.Degree, "40.0000", "60.0000", unit.LbfFt, 4},
	} {
		a := adapter.Adapter{Lever: c.lever, Offset: c.offset, Angle: c.angle}
		if err := a.Check(); err != nil {
			t.Errorf("%s: %v", c.source, err)
		}
		if got := a.Shown(torque(t, c.applied, c.in)).In(c.in, c.decimals); got != c.shown {
			t.Errorf("%s: got %s shown, want %s", c.source, got, c.shown)
		}
		exact := a.Shown(torque(t, c.applied, c.in))
		if got := a.Applied(exact).In(c.in, c.decimals); got != c.applied {
			t.Errorf("%s: got %s applied, want %s", c.source, got, c.applied)
		}
	}
}

// The cosine against the standard library, at every tenth of a degree, through a lever and an offset of a metre each.
func TestAdapter_EveryAngle(t *testing.T) {
	for a := unit.Angle(0); a <= 90*unit.Degree; a += 100 {
		got := adapter.Adapter{Lever: 1_000_000_000, Offset: 1_000_000_000, Angle: a}.Applied(1_000_000_000_000)
		want := 1e12 * (1 + math.Cos(float64(a)/1000*math.Pi/180))
		if d := float64(got) - want; math.Abs(d) > 1000 {
			t.Fatalf("%s: got %d µN·m, want %.0f", a, got, want)
		}
	}
}

func TestAdapter_Check(t *testing.T) {
	for rule, a := range map[string]adapter.Adapter{
		"no lever":                  {Offset: 1},
		"a negative offset":         {Lever: 10, Offset: -1},
		"an angle beyond 180°":      {Lever: 10, Offset: 1, Angle: 181 * unit.Degree},
		"back beyond the grip":      {Lever: 10, Offset: 10, Angle: 180 * unit.Degree},
		"a negative angle":          {Lever: 10, Offset: 1, Angle: -1},
		"a lever of less than zero": {Lever: -10},
	} {
		if a.Check() == nil {
			t.Errorf("%s: got no error", rule)
		}
	}
}
