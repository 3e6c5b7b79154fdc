// Package replay runs matching and judging over a file of readings, with no database and no daemon.
package replay

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"witnessmark/audit/procedure"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// maxLine bounds a line of the readings file, in bytes.
const maxLine = 64 << 10

// line is one reading as the file states it. Numbers stay text so that no float comes between file and reading.
type line struct {
	Wrench    string       `json:"wrench"`
	Counter   *int64       `json:"counter"`
	Torque    *json.Number `json:"torque"`
	Unit      string       `json:"unit"`
	Angle     *json.Number `json:"angle"`
	Direction string       `json:"direction"`
	At        string       `json:"at"`
	Fastener  *string      `json:"fastener"`
}

// Read reads the readings of one joint, one JSON object a line, and refuses the whole file at its first fault,
// which names file and line. A fastener, where given, must be one of the joint's.
func Read(name string, in io.Reader, j *procedure.Joint) ([]device.Reading, error) {
	known := map[string]bool{}
	for _, f := range j.Fasteners {
		known[f.ID] = true
	}
	sc := bufio.NewScanner(in)
	sc.Buffer(make([]byte, 4096), maxLine)
	var out []device.Reading
	n := 0
	for sc.Scan() {
		n++
		text := bytes.TrimSpace(sc.Bytes())
		if len(text) == 0 {
			continue
		}
		r, err := parse(text)
		if err == nil && r.Tag != "" && !known[r.Tag] {
			err = fmt.Errorf("joint %s has no fastener %q", j.ID, r.Tag)
		}
		if err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, n, err)
		}
		out = append(out, r)
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("%s:%d: read a line: %w", name, n+1, err)
	}
	return out, nil
}

func parse(text []byte) (device.Reading, error) {
	var l line
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&l); err != nil {
		return device.Reading{}, fmt.Errorf("not a reading: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return device.Reading{}, errors.New("more than one reading on the line: put each on a line of its own")
	}
	return l.reading(text)
}

func (l *line) reading(raw []byte) (device.Reading, error) {
	r := device.Reading{Wrench: l.Wrench, Counter: l.Counter, Raw: bytes.Clone(raw)}
	if l.Wrench == "" {
		return r, errors.New(`"wrench" is missing: name the wrench`)
	}
	if l.Torque == nil {
		return r, errors.New(`"torque" is missing: give the final torque`)
	}
	if err := l.quantities(&r); err != nil {
		return r, err
	}
	switch device.Direction(l.Direction) {
	case "":
		r.Direction = device.Tighten
	case device.Tighten, device.Loosen:
		r.Direction = device.Direction(l.Direction)
	default:
		return r, fmt.Errorf(`"direction" is %q: use "tighten" or "loosen"`, l.Direction)
	}
	if l.At != "" {
		if _, err := time.Parse(time.RFC3339Nano, l.At); err != nil {
			return r, fmt.Errorf(`"at" is %q: use an RFC 3339 time such as 2026-03-01T09:30:00Z`, l.At)
		}
		r.Clock = l.At
	}
	if l.Fastener != nil {
		r.Tag = *l.Fastener
	}
	return r, nil
}

func (l *line) quantities(r *device.Reading) error {
	u, err := unit.ParseTorqueUnit(l.Unit)
	if err != nil {
		return fmt.Errorf(`"unit": %w`, err)
	}
	r.Unit, r.TorqueText = u, l.Torque.String()
	if r.Torque, err = unit.TorqueIn(r.TorqueText, u); err != nil {
		return fmt.Errorf(`"torque": %w`, err)
	}
	if r.Torque < 0 {
		return fmt.Errorf(`"torque" is %s: give it without a sign and say "direction": "loosen"`, r.TorqueText)
	}
	if l.Angle == nil {
		return nil
	}
	a, err := unit.AngleOf(l.Angle.String())
	if err != nil {
		return fmt.Errorf(`"angle": %w`, err)
	}
	if a < 0 {
		return fmt.Errorf(`"angle" is %s: give it without a sign and say "direction": "loosen"`, l.Angle)
	}
	r.Angle = &a
	return nil
}
