package chart

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"witnessmark/audit"
	"witnessmark/audit/procedure"
	"witnessmark/cmd/witnessmark/internal/worked"
	"witnessmark/device/unit"
)

func pull(fastener string, torque, angle int64, verdict audit.Verdict, flags ...string) worked.Pull {
	a := unit.Angle(angle) * unit.Degree
	return worked.Pull{Fastener: fastener, Torque: unit.Torque(torque) * unit.NewtonMetre, Angle: &a, Mark: audit.Mark{Verdict: verdict, Flags: flags},
		Figures: procedure.Figures{Torques: procedure.TorqueWindow{Set: true, Low: 57 * unit.NewtonMetre, High: 63 * unit.NewtonMetre}}}
}

func TestByOrder(t *testing.T) {
	s := &worked.Stage{Pulls: []worked.Pull{pull("1", 60, 25, audit.Pass), pull("2", 66, 30, audit.HighTorque), pull("1", 61, 2, audit.Pass, audit.ReHit)}}
	s.Pulls[2].Figures.Torques.High = 80 * unit.NewtonMetre // a window of its own
	c := ByOrder(s, unit.Nm)
	want := []Point{{1, 60, Dot, ""}, {2, 66, Triangle, "2"}, {3, 61, Ring, ""}}
	for i, p := range c.Points {
		if p != want[i] {
			t.Errorf("got %+v, want %+v", p, want[i])
		}
	}
	if len(c.Windows) != 2 || c.Windows[0] != (Box{0.5, 2.5, 57, 63}) || c.Windows[1] != (Box{2.5, 3.5, 57, 80}) || len(c.Limits) != 4 {
		t.Errorf("got %+v, %+v, want a window for two pulls and one for the third", c.Windows, c.Limits)
	}
	// 1 lbf·ft is 1.3558179483314004 N·m (NIST SP 811, appendix B.8).
	if c := ByOrder(s, unit.LbfFt); c.Points[0].Y < 44.2537 || c.Points[0].Y > 44.2538 || c.Up.Name != "torque, lbf·ft" {
		t.Errorf("got %v %s, want 44.2537 lbf·ft", c.Points[0].Y, c.Up.Name)
	}
}

func TestByAngle(t *testing.T) {
	s := &worked.Stage{Pulls: []worked.Pull{pull("1", 60, 25, audit.Pass), pull("2", 60, 40, audit.Pass)}}
	c, ok := ByAngle(s, unit.Nm)
	if !ok || c.Points[1].X != 40 || len(c.Windows) != 1 || c.Windows[0].Low != 57 || c.Windows[0].Left != c.Across.Low {
		t.Errorf("got %+v, %v, want one window across all angles", c, ok)
	}
	s.Pulls[0].Angle, s.Pulls[1].Angle = nil, nil
	if _, ok := ByAngle(s, unit.Nm); ok {
		t.Error("got a picture of angles that were not sent")
	}
}

// Whatever is pulled, everything lies within the axes, and the picture is whole and tells what was typed as text.
func TestCharts_EverythingIsInside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &worked.Stage{}
		for range rapid.IntRange(1, 30).Draw(t, "pulls") {
			s.Pulls = append(s.Pulls, pull(`<b>&"`, rapid.Int64Range(0, 2000).Draw(t, "torque"), rapid.Int64Range(-400, 400).Draw(t, "angle"),
				rapid.SampledFrom([]audit.Verdict{audit.Pass, audit.LowTorque}).Draw(t, "verdict")))
		}
		byAngle, _ := ByAngle(s, unit.Nm)
		for _, c := range []Chart{ByOrder(s, unit.Nm), byAngle} {
			for _, p := range c.Points {
				if p.X < c.Across.Low || p.X > c.Across.High || p.Y < c.Up.Low || p.Y > c.Up.High {
					t.Fatalf("got %+v outside %+v, %+v", p, c.Across, c.Up)
				}
			}
			if n := len(c.Up.Ticks); n < 1 || n > 6 {
				t.Fatalf("got %d ticks of %+v", n, c.Up)
			}
			if n := elements(t, c.SVG(`"><script>`), "circle"); n+elements(t, c.SVG(""), "path.bad") != len(s.Pulls) {
				t.Fatalf("got %d marks, want %d", n, len(s.Pulls))
			}
		}
	})
}

// elements counts those of a name, and of a class where one follows a dot. A script is a fault.
func elements(t *rapid.T, svg, what string) (n int) {
	name, class, _ := strings.Cut(what, ".")
	for d := xml.NewDecoder(strings.NewReader(svg)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return n
		}
		if err != nil {
			t.Fatalf("got no XML: %v", err)
		}
		e, ok := token.(xml.StartElement)
		if ok && e.Name.Local == "script" {
			t.Fatal("got a script")
		}
		if ok && e.Name.Local == name && (class == "" || e.Attr[0].Value == class) {
			n++
		}
	}
}
