package demo

import "witnessmark/cmd/wrenchsim/sim"

// act is one thing that the technician does. Exactly one of pull, check and name is used, meets only with pull; say is printed
// before it.
type act struct {
	say   string
	pull  *sim.Step
	check string // answers a check …
	value string // … with a measured value, empty: yes
	name  string // says which fastener the last reading was
	meets string // the check that a pull measures
}

// order is the order of the joint in procedure.yaml.
var order = []string{"5", "6", "3", "4", "7", "8", "1", "2", "9", "10"}

const (
	snugLong, snugFront = 30, 12
	seatLong, seatFront = 60, 28
)

func snug(id string) act {
	t := float64(snugLong)
	if id == "10" {
		t = snugFront
	}
	return act{pull: &sim.Step{Act: sim.TightenTo, Wrench: small, Stage: "snug", Fastener: id, Torque: t}}
}

func seat(id string) act {
	t, w := float64(seatLong), large
	if id == "10" {
		t, w = seatFront, small
	}
	return act{pull: &sim.Step{Act: sim.TightenTo, Wrench: w, Stage: "seat", Fastener: id, Torque: t}}
}

func turn(id string) act {
	return act{pull: &sim.Step{Act: sim.TurnBy, Wrench: large, Stage: "turn", Fastener: id, Angle: 90}}
}

// low makes a pull end early.
func (a act) low(torque float64) act {
	step := *a.pull
	step.Low = torque
	a.pull = &step
	return a
}

func (a act) saying(words string) act {
	a.say = words
	return a
}

// story is the day at the bench: three rounds with the mistakes that people make.
func story() []act {
	acts := []act{{say: "Ten new bolts are oiled and fitted.", check: "new-bolts", value: "10"}}
	for _, id := range order {
		switch id {
		case "3":
			acts = append(acts, snug("3").low(21).saying("Mistake: the pull on fastener 3 is given up early."), snug("3"))
		case "8": // skipped
		default:
			acts = append(acts, snug(id))
		}
	}
	acts = append(acts,
		seat("5").saying("Mistake: fastener 8 was skipped, and the second round begins."),
		snug("8").saying("The paint marks show which one it was: back to fastener 8."),
		act{say: "The Technician says so.", name: "8"})
	for _, id := range order[1:] {
		switch id {
		case "4":
			acts = append(acts, seat("4"), seat("4").saying("Mistake: fastener 4 is hit twice."))
		case "7":
			acts = append(acts, seat("10").saying("Mistake: the short front bolt is hit in the place of a long one."), seat("7"))
		case "10":
		default:
			acts = append(acts, seat(id))
		}
	}
	acts = append(acts,
		act{say: "The crankshaft is measured.", check: "end-float", value: "0.14 mm"},
		act{say: "The crankshaft is turned with the wrench, which measures its drag.", meets: "drag",
			pull: &sim.Step{Act: sim.Stray, Wrench: small, Torque: 5.6, Angle: 175}},
		act{say: "Mistake: the wrench is tried on the bench block.", pull: &sim.Step{Act: sim.Stray, Wrench: large, Torque: 45, Angle: 37}})
	for _, id := range order[:len(order)-1] {
		acts = append(acts, turn(id))
	}
	return acts
}
