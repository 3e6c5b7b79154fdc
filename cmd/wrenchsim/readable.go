package main

import (
	"fmt"
	"time"

	"witnessmark/cmd/wrenchsim/sim"
	"witnessmark/device/frame"
	"witnessmark/device/profile"
)

// readable refuses a wrench whose own form does not read what the script lets it send: it would be pulled and never heard.
func readable(t sim.Tool, form *profile.Profile) error {
	w := sim.New(sim.Options{Wrench: t.ID, Form: form, Meter: t.Meter, Clock: time.Now})
	r, err := w.Take(sim.Pull{Torque: 30, Angle: 30}, "")
	if err != nil {
		return err
	}
	bytes := form.Encode(r)
	if bytes == nil {
		return inputError{fmt.Errorf("wrench %s: profile %s has no room for %s %s with the serial number %q: choose another resolution, serial or profile",
			t.ID, form.Name, r.TorqueText, r.Unit, r.Serial)}
	}
	why := "it is no frame"
	read := func(f frame.Frame) {
		switch got := form.Decode(t.ID, f); {
		case got.Reading != nil:
			why = ""
		case got.Refusal != nil:
			why = got.Refusal.Detail
		}
	}
	framer := form.NewFramer()
	framer.Push(bytes, read)
	framer.Silence(read)
	if why != "" {
		return inputError{fmt.Errorf("wrench %s: profile %s does not read what this script lets the wrench send (%s): give it a clock or a serial number in the script if that is what is missing, else choose another profile",
			t.ID, form.Name, why)}
	}
	return nil
}
