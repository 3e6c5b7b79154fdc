package sim

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"witnessmark/device/unit"
)

func TestParse_Example(t *testing.T) {
	s, err := Parse("example.yaml", []byte(Example))
	if err != nil {
		t.Fatal(err)
	}
	want := Meter{Gauge: Gauge{Threshold: 5, WindUp: 0.04}, Unit: unit.Nm, TorqueStep: "0.1", AngleStep: "1", Serial: "SIM-0001", Layout: "2006-01-02T15:04:05"}
	if s.Wrenches[0].Meter != want {
		t.Errorf("got meter %+v, want %+v", s.Wrenches[0].Meter, want)
	}
	if got, want := s.Hand, (Hand{Overshoot: 0.005, Scatter: 0.008, Angle: 1}); got != want {
		t.Errorf("got hand %+v, want %+v", got, want)
	}
	spec := CommonBolt()
	spec.Yield = 95
	if got := (Group{"main-caps", []string{"1", "2", "3", "4"}, spec}); !reflect.DeepEqual(s.Bolts[0], got) {
		t.Errorf("got bolts %+v, want %+v", s.Bolts[0], got)
	}
	if s.Seed != 42 || s.Pace != 2*time.Second {
		t.Errorf("got seed %d, pace %v, want 42, 2s", s.Seed, s.Pace)
	}
}

func TestParse_StepsInOrder(t *testing.T) {
	s, err := Parse("s.yaml", []byte(head+`
  - {wrench: w1, joint: caps, stage: snug, fasteners: ["1", "2"], tighten_to: 30 N·m}
  - {fastener: "2", tighten_to: 22 lbf·ft, low: 12 N·m, again: true, tag: "7", spoil: {flip: 3, noise: "00 ff"}}
  - {stray: 17 N·m, angle: 4°}
  - {unplug: w1}
  - {pause: 200 ms}
  - {stage: turn, fastener: "1", turn_by: 90°}
  - {stage: ease, fastener: "1", loosen_by: 45.5°}
`))
	if err != nil {
		t.Fatal(err)
	}
	// 22 lbf·ft = 29.827995 N·m, from the exact definitions behind NIST SP 811 App. B.9
	low := Step{Line: 8, Act: TightenTo, Wrench: "w1", Joint: "caps", Stage: "snug", Fastener: "2", Torque: 29.827995, Low: 12,
		Tag: "7", Spoil: &Fault{Flip: 3, Noise: []byte{0, 255}}}
	done := low
	done.Low, done.Spoil = 0, nil
	want := []Step{
		{Line: 7, Act: TightenTo, Wrench: "w1", Joint: "caps", Stage: "snug", Fastener: "1", Torque: 30},
		{Line: 7, Act: TightenTo, Wrench: "w1", Joint: "caps", Stage: "snug", Fastener: "2", Torque: 30},
		low, done,
		{Line: 9, Act: Stray, Wrench: "w1", Torque: 17, Angle: 4},
		{Line: 10, Act: Unplug, Wrench: "w1", Joint: "caps", Stage: "snug"},
		{Line: 11, Act: Pause, Wrench: "w1", Joint: "caps", Stage: "snug", For: 200 * time.Millisecond},
		{Line: 12, Act: TurnBy, Wrench: "w1", Joint: "caps", Stage: "turn", Fastener: "1", Angle: 90},
		{Line: 13, Act: LoosenBy, Wrench: "w1", Joint: "caps", Stage: "ease", Fastener: "1", Angle: 45.5},
	}
	if len(s.Steps) != len(want) {
		t.Fatalf("got %d steps, want %d", len(s.Steps), len(want))
	}
	for i := range want {
		if !reflect.DeepEqual(s.Steps[i], want[i]) {
			t.Errorf("step %d: got %+v, want %+v", i+1, s.Steps[i], want[i])
		}
	}
}

// head is six lines of a script before its steps.
const head = `format: witnessmark/script/1
wrenches:
  - {id: w1, profile: semicolon-xor}
bolts:
  - {joint: caps, fasteners: ["1", "2"]}
steps:`

func TestParse_Faults(t *testing.T) {
	for name, c := range map[string]struct{ text, want string }{
		"an unknown wrench, at the wrench": {head + "\n  - {wrench: w2, joint: caps, fastener: \"1\", tighten_to: 30 N·m}\n",
			`s.yaml:7:14: found wrench "w2", expected one of the list of wrenches above`},
		"an unknown fastener, at the fastener": {head + "\n  - {wrench: w1, joint: caps, fasteners: [\"1\", \"9\"], tighten_to: 30 N·m}\n",
			`s.yaml:7:48: found fastener "9" of joint "caps", expected one of the list of bolts above`},
		"no act": {head + "\n  - {wrench: w1, joint: caps, fastener: \"1\"}\n",
			`s.yaml:7:5: found no act, expected one of tighten_to, turn_by, loosen_by, stray, pause, noise, unplug, plug, repeat`},
		"two acts": {head + "\n  - {wrench: w1, joint: caps, fastener: \"1\", tighten_to: 30 N·m, turn_by: 90°}\n",
			`s.yaml:7:5: found tighten_to and turn_by, expected one of them`},
		"a torque without its unit": {head + "\n  - {wrench: w1, joint: caps, fastener: \"1\", tighten_to: 30}\n",
			`s.yaml:7:58: found "30", expected a torque such as 30 N·m`},
		"an aim of nothing": {head + "\n  - {wrench: w1, joint: caps, fastener: \"1\", turn_by: 0.0°}\n",
			`s.yaml:7:55: found nothing, expected more than 0`},
		"a low pull that is none": {head + "\n  - {wrench: w1, joint: caps, fastener: \"1\", tighten_to: 30 N·m, low: 31 N·m}\n",
			`s.yaml:7:71: found a low pull of 31 N·m, expected less than the 30 N·m aimed at`},
		"a key that means nothing there": {head + "\n  - {pause: 5 s, tag: \"3\"}\n",
			`s.yaml:7:18: found "tag", which means nothing beside pause`},
		"both ways to name fasteners": {head + "\n  - {wrench: w1, joint: caps, fastener: \"1\", fasteners: [\"2\"], tighten_to: 30 N·m}\n",
			`s.yaml:7:5: expected either fastener or fasteners`},
		"bytes that are none": {head + "\n  - {wrench: w1, noise: \"0g\"}\n",
			`s.yaml:7:25: found "0g", expected bytes in hexadecimal such as "ff 00 0a"`},
		"a pause without unit": {head + "\n  - {pause: 5}\n",
			`s.yaml:7:13: found "5", expected a time up to 24h0m0s such as 1.5 s or 200 ms`},
		"a bolt in a hole that is taken": {strings.Replace(head, `["1", "2"]`, `["1", "1"]`, 1) + "\n  - {pause: 5 s}\n",
			`s.yaml:5:36: fastener "1" of joint "caps" has a bolt already, expected each one once`},
		"a share that is no percentage": {strings.Replace(head, "[\"1\", \"2\"]", "[\"1\"], scatter: 0.08", 1) + "\n  - {pause: 5 s}\n",
			`s.yaml:5:46: found "0.08", expected a percentage from 0 to 100 such as 8 %`},
		"a rate without the degree": {strings.Replace(head, "[\"1\", \"2\"]", "[\"1\"], rate: 1.2 N·m", 1) + "\n  - {pause: 5 s}\n",
			`s.yaml:5:43: found "1.2 N·m", expected a torque rate such as 1.2 N·m/°`},
		"another format": {strings.Replace(head, "script/1", "script/9", 1) + "\n  - {pause: 5 s}\n",
			`s.yaml:1:9: found format "witnessmark/script/9", expected "witnessmark/script/1"`},
		"no steps": {head + " []\n", `s.yaml:6:8: found an empty list, expected at least one item`},
		"all faults at once": {head + "\n  - {pause: 5}\n  - {wrench: w1, noise: \"0g\"}\n",
			"s.yaml:7:13: found \"5\", expected a time up to 24h0m0s such as 1.5 s or 200 ms\n" +
				`s.yaml:8:25: found "0g", expected bytes in hexadecimal such as "ff 00 0a"`},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := Parse("s.yaml", []byte(c.text))
			if err == nil {
				t.Fatalf("got %+v, want %s", s, c.want)
			}
			if err.Error() != c.want {
				t.Errorf("got\n%s\nwant\n%s", err, c.want)
			}
		})
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(Example))
	f.Add([]byte(head + "\n  - {pause: 5 s}\n"))
	f.Add([]byte("steps: [{stray: 1e9 N·m, wrench: }]\nbolts: {}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		if s, err := Parse("f.yaml", text); (s == nil) == (err == nil) {
			t.Errorf("got script %v and error %v, want exactly one of them", s, err)
		}
	})
}
