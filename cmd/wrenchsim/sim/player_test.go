package sim

import (
	"context"
	"encoding/json"
	"io"
	"net"
	"reflect"
	"testing"
	"time"

	"witnessmark/device"
	"witnessmark/device/unit"
)

// instant is a line whose peer acknowledges every frame of plainForm at once.
type instant struct{}

func (instant) Open(context.Context) (io.ReadWriteCloser, error) {
	ours, theirs := net.Pipe()
	go func() {
		defer theirs.Close()
		chunk := make([]byte, 64)
		for {
			n, err := theirs.Read(chunk)
			if err != nil {
				return
			}
			for i, b := range chunk[:n] {
				if b == ';' {
					if _, err := theirs.Write([]byte("ok " + string(chunk[:i]) + "\n")); err != nil {
						return
					}
				}
			}
		}
	}()
	return patient{ours}, nil
}
func (instant) Addr() string { return "instant" }
func (instant) Close() error { return nil }

func script(steps ...Step) *Script {
	return &Script{Seed: 5, Hand: Hand{Overshoot: 0.01, Scatter: 0.01, Angle: 1}, Steps: steps,
		Wrenches: []Tool{{ID: "w1"}},
		Bolts:    []Group{{Joint: "caps", Fasteners: []string{"1", "2", "3"}, Spec: CommonBolt()}}}
}

func to(fastener string, torque float64) Step {
	return Step{Act: TightenTo, Wrench: "w1", Joint: "caps", Stage: "snug", Fastener: fastener, Torque: torque}
}

// play does every step and gives the truths.
func play(t *testing.T, s *Script, pause func(context.Context, time.Duration) error) []Truth {
	t.Helper()
	w := newWrench(t, instant{}, plainForm{})
	if err := w.Plug(t.Context()); err != nil {
		t.Fatal(err)
	}
	p, err := NewPlayer(s, map[string]*Wrench{"w1": w}, pause)
	if err != nil {
		t.Fatal(err)
	}
	var truths []Truth
	for {
		if _, ok := p.Next(); !ok {
			return truths
		}
		truth, err := p.Do(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if truth != nil {
			truths = append(truths, *truth)
		}
	}
}

func TestPlayer_TellsTheTruth(t *testing.T) {
	low := to("3", 30)
	low.Low = 12
	off := Step{Act: LoosenBy, Wrench: "w1", Joint: "caps", Fastener: "2", Angle: 90}
	stray := Step{Act: Stray, Wrench: "w1", Torque: 17}
	got := play(t, script(to("1", 30), to("2", 30), to("1", 30), low, to("3", 30), off, stray), nil)
	want := []struct {
		fastener string
		hit      Hit
	}{{"1", Fresh}, {"2", Fresh}, {"1", ReHit}, {"3", Low}, {"3", Fresh}, {"2", Loosened}, {"", Nowhere}}
	if len(got) != len(want) {
		t.Fatalf("got %d truths, want %d", len(got), len(want))
	}
	for i, g := range got {
		if g.No != i+1 || g.Fastener != want[i].fastener || g.Hit != want[i].hit {
			t.Errorf("pull %d: got no %d, fastener %q, %s, want fastener %q, %s", i+1, g.No, g.Fastener, g.Hit, want[i].fastener, want[i].hit)
		}
		if *g.Reading.Counter != int64(8+i) {
			t.Errorf("pull %d: got count %d, want %d", i+1, *g.Reading.Counter, 8+i)
		}
	}
	if got[2].Turned != 0 || got[0].Turned == 0 {
		t.Errorf("got a fresh bolt turned by %v° and a re-hit one by %v°, want more than 0 and 0", got[0].Turned, got[2].Turned)
	}
	if got[3].Reading.TorqueText != "12.0" {
		t.Errorf("low pull: got %s, want 12.0", got[3].Reading.TorqueText)
	}
	if got[5].Reading.Direction != device.Loosen {
		t.Errorf("loosening: got direction %s, want %s", got[5].Reading.Direction, device.Loosen)
	}
}

func TestPlayer_SameSeedSamePulls(t *testing.T) {
	steps := []Step{to("1", 30), to("2", 30), to("3", 30), to("1", 60)}
	one, err := json.Marshal(play(t, script(steps...), nil))
	if err != nil {
		t.Fatal(err)
	}
	same, err := json.Marshal(play(t, script(steps...), nil))
	if err != nil {
		t.Fatal(err)
	}
	reseeded := script(steps...)
	reseeded.Seed = 6
	other, err := json.Marshal(play(t, reseeded, nil))
	if err != nil {
		t.Fatal(err)
	}
	if string(one) != string(same) {
		t.Errorf("same seed: got\n%s\nwant\n%s", same, one)
	}
	if string(one) == string(other) {
		t.Error("another seed: got the same pulls, want others")
	}
}

func TestPlayer_UnpluggedReadingsComeLater(t *testing.T) {
	got := play(t, script(to("1", 30), Step{Act: Unplug, Wrench: "w1"}, to("2", 30), to("3", 30), Step{Act: Plug, Wrench: "w1"}), nil)
	if len(got) != 3 {
		t.Errorf("got %d pulls, want 3", len(got))
	}
}

func TestPlayer_Pauses(t *testing.T) {
	var rests []time.Duration
	s := script(to("1", 30), Step{Act: Pause, For: 5 * time.Second}, to("2", 30))
	s.Pace = time.Second
	play(t, s, func(_ context.Context, d time.Duration) error { rests = append(rests, d); return nil })
	if want := []time.Duration{time.Second, 5 * time.Second, time.Second}; !reflect.DeepEqual(rests, want) {
		t.Errorf("got rests %v, want %v", rests, want)
	}
}

func TestPlayer_Refuses(t *testing.T) {
	t.Run("a script whose wrench is not there", func(t *testing.T) {
		if _, err := NewPlayer(script(), nil, nil); err == nil {
			t.Error("got a player, want a refusal")
		}
	})
	t.Run("a fastener without a bolt", func(t *testing.T) {
		f := NewFloor(1, Hand{}, nil)
		if _, _, err := f.Pull(to("9", 30), Gauge{}); err == nil {
			t.Error("got a pull, want a refusal")
		}
	})
}

func TestMeter_Rounds(t *testing.T) {
	for name, c := range map[string]struct {
		meter  Meter
		pull   Pull
		torque string
		micro  unit.Torque
		angle  string
	}{
		"to a tenth":                   {Meter{TorqueStep: "0.1", AngleStep: "1"}, Pull{Torque: 45.26, Angle: 31.4}, "45.3", 45_300_000, "31°"},
		"to a step of five hundredths": {Meter{TorqueStep: "0.05", AngleStep: "0.1"}, Pull{Torque: 45.28, Angle: 31.44}, "45.30", 45_300_000, "31.4°"},
		// NIST SP 811 App. B.9: 1 lbf·ft = 1.355 818 N·m
		"in its own unit": {Meter{Unit: unit.LbfFt, TorqueStep: "0.1", AngleStep: "1"}, Pull{Torque: 40.6745}, "30.0", 40_674_538, "0°"},
	} {
		t.Run(name, func(t *testing.T) {
			w := New(Options{Wrench: "w1", Meter: c.meter})
			r, err := w.Take(c.pull, "")
			if err != nil {
				t.Fatal(err)
			}
			if r.TorqueText != c.torque || r.Torque != c.micro || r.Angle.String() != c.angle {
				t.Errorf("got %s = %d µN·m, %s, want %s = %d µN·m, %s", r.TorqueText, r.Torque, r.Angle, c.torque, c.micro, c.angle)
			}
		})
	}
	t.Run("a wrench without angle sends none", func(t *testing.T) {
		r, err := New(Options{Meter: Meter{TorqueStep: "1"}}).Take(Pull{Torque: 3, Angle: 9}, "")
		if err != nil || r.Angle != nil {
			t.Errorf("got angle %v (%v), want none", r.Angle, err)
		}
	})
	t.Run("a resolution that is no number is refused", func(t *testing.T) {
		if _, err := New(Options{Meter: Meter{TorqueStep: "fine"}}).Take(Pull{Torque: 3}, ""); err == nil {
			t.Error("got a reading, want a refusal")
		}
	})
}
