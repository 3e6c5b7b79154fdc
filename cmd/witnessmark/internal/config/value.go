package config

import (
	"strconv"
	"strings"
	"time"

	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
)

// A value turns a scalar into what it means, or says what was expected instead.
type value[T any] func(text string) (v T, fault string)

// need reads a key that must be there.
func need[T any](m strictyaml.Map, key string, read value[T]) T {
	n, ok := m.Need(key)
	return scalar(n, ok, read)
}

// maybe reads a key that may be missing; the zero value stands for that.
func maybe[T any](m strictyaml.Map, key string, read value[T]) T {
	n, ok := m.Get(key)
	return scalar(n, ok, read)
}

func scalar[T any](n strictyaml.Node, ok bool, read value[T]) (v T) {
	if !ok {
		return v
	}
	text, ok := n.Text()
	if !ok {
		return v
	}
	v, fault := read(text)
	if fault != "" {
		n.Faultf("found %q, %s", text, fault)
	}
	return v
}

func line(s string) (string, string) {
	if strings.TrimSpace(s) == "" || strings.ContainsAny(s, "\r\n\x00") {
		return "", "expected one line of text"
	}
	return s, ""
}

// ident accepts what may stand in a key, a label of a metric and a path of the control socket without quoting.
func ident(s string) (string, string) {
	const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_."
	if s == "" || len(s) > 64 || strings.Trim(s, letters) != "" || strings.Trim(s, ".") == "" {
		return "", "expected 1 to 64 letters, digits, '-', '_' or '.'"
	}
	return s, ""
}

func unused(what string, ids map[string]bool) value[string] {
	return func(s string) (string, string) {
		id, fault := ident(s)
		if fault == "" && ids[id] {
			return "", "expected an id that no other " + what + " has"
		}
		ids[id] = true
		return id, fault
	}
}

func date(s string) (time.Time, string) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return time.Time{}, "expected a date, for example 2026-05-04"
	}
	return t, ""
}

// endOfDay is the last microsecond of a day: a calibration holds through the day that its label names.
func endOfDay(t time.Time) time.Time { return t.Add(24*time.Hour - time.Microsecond) }

type torques struct{ low, high unit.Torque }

// span reads a range of torque such as 10..200 N·m; the unit stands behind the second number and holds for both.
func span(s string) (torques, string) {
	const fault = "expected a range of torque, for example 10..200 N·m"
	low, high, ok := strings.Cut(s, "..")
	if !ok {
		return torques{}, fault
	}
	hi, u, err := unit.ParseTorque(strings.TrimSpace(high))
	if err != nil {
		return torques{}, fault
	}
	lo, err := unit.TorqueIn(strings.TrimSpace(low), u)
	if err != nil || lo < 0 || lo >= hi {
		return torques{}, fault
	}
	return torques{lo, hi}, ""
}

// percent reads a share such as +0.8 % into millionths.
func percent(s string) (int64, string) {
	const wanted = "expected a share such as +0.8 %, at most 100 % and with at most four decimals"
	number, ok := strings.CutSuffix(s, "%")
	number = strings.TrimSpace(number)
	sign := int64(1)
	if rest, minus := strings.CutPrefix(number, "-"); minus {
		number, sign = rest, -1
	} else {
		number = strings.TrimPrefix(number, "+")
	}
	whole, fraction, _ := strings.Cut(number, ".")
	if !ok || whole == "" || len(whole) > 3 || len(fraction) > 4 || strings.Trim(whole+fraction, "0123456789") != "" {
		return 0, wanted
	}
	v, err := strconv.ParseInt(whole+(fraction + "0000")[:4], 10, 32)
	if err != nil || v > 1_000_000 {
		return 0, wanted
	}
	return sign * v, ""
}

func cycles(s string) (int64, string) {
	n, err := strconv.ParseInt(s, 10, 32)
	if err != nil || n < 1 {
		return 0, "expected a number of readings, such as 5000"
	}
	return n, ""
}
