package config

import (
	"strconv"
	"strings"
	"time"

	"witnessmark/device/finder"
	"witnessmark/device/modbus"
	"witnessmark/device/port"
	"witnessmark/device/strictyaml"
)

// Place is where a wrench is plugged in, or is looked for on the board. It opens nothing: its error says that port,
// profile and idle limit can never work together.
func (w Wrench) Place(b *finder.Board) (port.Place, error) {
	if w.Port == "" {
		return b.Place(w.Declared.Wrench, w.Find, w.Profile), nil
	}
	if w.Profile.Registers() != nil {
		return modbus.At(w.Port, w.Profile)
	}
	// A capture is played with its pauses where these end frames.
	wishes := []port.Option{port.Pauses(w.Profile.Gap() > 0)}
	if w.Idle > 0 {
		wishes = append(wishes, port.Idle(w.Idle))
	}
	return port.At(w.Port, port.Mode(w.Profile.Mode()), wishes...)
}

// OnNetwork says that the wrench is reached over TCP.
func (w Wrench) OnNetwork() bool {
	return strings.Contains(w.Port, "tcp") && strings.Contains(w.Port, "://")
}

// ages reads how long the wrench may be silent.
func ages(m strictyaml.Map, w *Wrench) {
	w.Stale, w.Gone, w.Idle = maybe(m, "stale", duration), maybe(m, "gone", duration), maybe(m, "idle", duration)
	if w.Stale > 0 && w.Gone > 0 && w.Gone <= w.Stale {
		at(m, "gone").Faultf("a wrench would be gone before it is stale: make gone the longer time")
	}
	if w.Idle > 0 && !w.OnNetwork() {
		at(m, "idle").Faultf("only a connection over a network is given up for its silence: leave idle out for a wrench on a serial port or in a capture")
	}
}

// duration reads a number and a unit, such as 90 s or 1.5 min.
func duration(s string) (time.Duration, string) {
	const fault = "expected a time above 0 and up to 24 h, for example 500 ms, 30 s, 10 min or 8 h"
	number := strings.TrimRight(s, "abcdefghijklmnopqrstuvwxyz")
	unit, known := map[string]string{"ms": "ms", "s": "s", "min": "m", "h": "h"}[s[len(number):]]
	number = strings.TrimSpace(number)
	d, err := time.ParseDuration(number + unit)
	if !known || err != nil || strings.Trim(number, "0123456789.") != "" || d <= 0 || d > 24*time.Hour {
		return 0, fault
	}
	return d, ""
}

// size reads a number of bytes, such as 64 MiB.
func size(s string) (int64, string) {
	const fault = "expected a size from 2 MiB to 1024 GiB, for example 64 MiB or 2 GiB"
	number, unit, _ := strings.Cut(s, " ")
	n, err := strconv.ParseInt(number, 10, 32)
	switch {
	case err == nil && unit == "MiB":
		n <<= 20
	case err == nil && unit == "GiB":
		n <<= 30
	default:
		return 0, fault
	}
	if n < 2<<20 || n > 1<<40 {
		return 0, fault
	}
	return n, ""
}
