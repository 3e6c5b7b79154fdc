package profile

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"witnessmark/device/frame"
	"witnessmark/device/strictyaml"
)

const goodFile = `format: witnessmark/wrench/1
name: good
version: "1"
title: A good file
serial: {baud: 9600, bits: 8, parity: none, stop: 1}
frame: {end: CRLF, max: 128}
check: {kind: xor, over: inside, mark: "*"}
fields:
  lead: "#"
  separator: ";"
  decimal: point
  list:
    - {kind: counter}
    - {kind: torque, unit: N·m, decimals: 1}
    - {kind: angle, optional: true}
    - {kind: direction, tighten: R, loosen: L}
ignore: ["!"]
ack: "=%counter%"
`

func TestParse_Good(t *testing.T) {
	p, err := Parse("good.yaml", []byte(goodFile))
	if err != nil {
		t.Fatal(err)
	}
	if p.Name != "good" || p.Version != "1" || p.Title != "A good file" {
		t.Errorf("got %q %q %q, want the file's words", p.Name, p.Version, p.Title)
	}
	if got := decode(p, "#7;45.2;;R*2E\r\n"); got.Refusal == nil || got.Refusal.Reason != "checksum" {
		t.Errorf("got %+v, want a wrong check", got)
	}
}

func TestParse_AllFaultsInOneGoAndNoMore(t *testing.T) {
	for _, c := range []struct {
		changes []string
		want    int
	}{
		{[]string{"baud: 9600", "baud: 1", "kind: xor", "kind: crc", "N·m", "N/m", "%counter%", "%x%"}, 4},
		{[]string{"kind: torque, unit: N·m", "kind: torqe"}, 1},
		{[]string{"{kind: direction, tighten: R, loosen: L}", "direction"}, 1},
	} {
		_, err := Parse("bad.yaml", []byte(strings.NewReplacer(c.changes...).Replace(goodFile)))
		var faults strictyaml.Faults
		if !errors.As(err, &faults) || len(faults) != c.want {
			t.Errorf("got %v\nwant %d faults", err, c.want)
		}
	}
}

func TestParse_OneFaultIsToldOnce(t *testing.T) {
	for _, text := range []string{
		strings.Replace(goodFile, "{kind: counter}", "{kind: counter, kind: counter}", 1),
		strings.Replace(goodFile, "{kind: counter}", "counter", 1),
		"",
	} {
		_, err := Parse("bad.yaml", []byte(text))
		var faults strictyaml.Faults
		if !errors.As(err, &faults) {
			t.Fatalf("got %v, want faults", err)
		}
		lines := strings.Split(err.Error(), "\n")
		slices.Sort(lines)
		if got := slices.Compact(slices.Clone(lines)); len(got) != len(lines) {
			t.Errorf("got %v, want no fault twice", err)
		}
	}
}

func TestBuiltin(t *testing.T) {
	names := BuiltinNames()
	if !slices.IsSorted(names) || !slices.Contains(names, "semicolon-xor") {
		t.Errorf("got %q, want semicolon-xor among sorted names", names)
	}
	for _, name := range names {
		p, err := Builtin(name)
		if err != nil || p.Name != name {
			t.Errorf("%s: got %+v, %v, want the profile of that name", name, p, err)
		}
	}
	for _, name := range []string{"", "no such", "../read", "semicolon-xor.yaml"} {
		if _, err := Builtin(name); err == nil || !strings.Contains(err.Error(), "choose one of "+strings.Join(names, ", ")) {
			t.Errorf("%q: got %v, want an error that names the choice", name, err)
		}
	}
}

// FuzzParse reads any file. Its faults stand in it; one that is taken must be of use for any stream, the file itself for
// one, and for what it writes itself.
func FuzzParse(f *testing.F) {
	f.Add(goodFile)
	f.Add("fields: {list: [{kind: torque}]}")
	for _, name := range formNames() {
		f.Add(formTexts[name])
	}
	for _, name := range BuiltinNames() {
		text, err := builtin.ReadFile("builtin/" + name + ".yaml")
		if err != nil {
			f.Fatal(err)
		}
		f.Add(string(text))
	}
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Parse("fuzz.yaml", []byte(text))
		if (p == nil) == (err == nil) {
			t.Fatalf("got %v, %v, want one of them", p, err)
		}
		if p == nil {
			mustStandIn(t, err, text)
			return
		}
		stream := text + string(p.Encode(readingFor(p))) + text
		framer := p.NewFramer()
		take := func(f frame.Frame) {
			mustBeSound(t, p, frame.Frame{Bytes: bytes.Clone(f.Bytes), Fault: f.Fault})
			mustBeSoundSealed(t, p, f.Bytes)
		}
		framer.Push([]byte(stream), take)
		framer.Silence(take)
	})
}

// mustStandIn holds the faults of a file to its lines.
func mustStandIn(t *testing.T, err error, text string) {
	faults, ok := errors.AsType[strictyaml.Faults](err)
	if !ok || len(faults) == 0 {
		t.Fatalf("got %v, want faults", err)
	}
	for _, f := range faults {
		if f.Line < 1 || f.Column < 1 || f.Line > strings.Count(text, "\n")+strings.Count(text, "\r")+1 || f.Message == "" {
			t.Errorf("got %v, want it in the file, with a message", f)
		}
	}
}
