package profile

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/strictyaml"
	"witnessmark/device/unit"
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

// Each case breaks one thing in a good file; the fault must stand alone and at its place.
func TestParse_Faults(t *testing.T) {
	for _, c := range []struct{ rule, old, new, want string }{
		{"the format is of another version", "wrench/1", "wrench/2", `1:9: found "witnessmark/wrench/2"`},
		{"a key is missing", "version: \"1\"\n", "", `1:1: found no key "version"`},
		{"a key is unknown", "title:", "titel:", `4:1: found the unknown key "titel"`},
		{"a name with a capital", "name: good", "name: Good", `2:7: found the name "Good"`},
		{"a name that is too long", "name: good", "name: g234567890123456789012345678901234567890x", "at most 40"},
		{"a title of two lines", "title: A good file", "title: \"A good\\nfile\"", "4:8: found"},
		{"a title that is too long", "A good file", strings.Repeat("a good file ", 20), "expected one line"},
		{"an empty version", `version: "1"`, `version: " "`, `3:10: found " ", expected one line`},
		{"a baud rate in words", "baud: 9600", "baud: fast", `5:16: found "fast"`},
		{"nine bits", "bits: 8", "bits: 9", "from 7 to 8"},
		{"an unknown parity", "parity: none", "parity: no", "none, odd, even, mark or space"},
		{"three stop bits", "stop: 1", "stop: 3", "1, 1.5 or 2"},
		{"no stop bits", ", stop: 1", "", `5:9: found no key "stop"`},
		{"an unknown ending", "end: CRLF", "end: LFCR", "CRLF, CR, LF or any"},
		{"a frame longer than is kept", "max: 128", "max: 513", "from 8 to 512"},
		{"an unknown check", "kind: xor", "kind: crc", "expected none, xor, sum, sum-negated, lrc, CRC-8/SMBUS"},
		{"a check over nothing named", "over: inside, ", "", `7:8: found no key "over"`},
		{"an unknown span", "over: inside", "over: all", "inside, through or line"},
		{"a mark without a check", `kind: xor, over: inside, mark: "*"`, `kind: none, mark: "*"`, "7:21: found mark, expected none"},
		{"a mark that is too long", `"*"`, `"*****************"`, "1 to 16 ASCII"},
		{"a mark that is not ASCII", `"*"`, `"×"`, "1 to 16 ASCII"},
		{"a separator that ends lines", `separator: ";"`, `separator: "\n"`, "1 to 16 ASCII"},
		{"a lead that is empty", `lead: "#"`, `lead: ""`, "1 to 16 ASCII"},
		{"no separator", "  separator: \";\"\n", "", `9:3: found none of separator, columns, pattern, json or binary`},
		{"a decimal sign in words", "decimal: point", "decimal: dot", "point or comma"},
		{"a decimal comma between commas", "separator: \";\"\n  decimal: point", "separator: \",\"\n  decimal: comma", "11:12: found a decimal comma"},
		{"fields that are no list", "  list:\n", "  list: all\nignored:\n", "expected a list"},
		{"a field without a kind", "{kind: counter}", "{name: count}", `13:7: found no key "kind"`},
		{"a field of an unknown kind", "kind: counter", "kind: count", `13:14: found "count", expected torque, unit`},
		{"two fields of a kind", "{kind: counter}", "{kind: counter}\n    - {kind: counter}", "14:14: found a second counter field"},
		{"a setting of another kind", "{kind: counter}", "{kind: counter, decimals: 1}", `13:23: found the unknown key "decimals"`},
		{"an optional torque", "decimals: 1", "optional: true", `found the unknown key "optional"`},
		{"optional in other words", "optional: true", "optional: yes", "true or false"},
		{"too many decimals", "decimals: 1", "decimals: 7", "from 0 to 6"},
		{"a minus of another sense", "decimals: 1", "minus: tightens", "refused or loosens"},
		{"one letter for both directions", "loosen: L", "loosen: R", `16:45: found "R" for both`},
		{"no letter for a direction", ", loosen: L", "", `found no key "loosen"`},
		{"no torque", "    - {kind: torque, unit: N·m, decimals: 1}\n", "", "13:5: found no torque field"},
		{"no unit of torque", "unit: N·m, ", "", "found no unit of torque"},
		{"an unknown unit", "unit: N·m", "unit: N/m", "unknown unit of torque"},
		{"two units of torque", "{kind: counter}", "{kind: counter}\n    - {kind: unit, spelled: {Nm: N·m}}", "one of them"},
		{"a unit field without spellings", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {}}", "found no spelling"},
		{"a spelling with a blank", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {\" Nm\": N·m}}", "found the spelling"},
		{"a spelling that is too long", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {newtonmetres-and-more: N·m}}", "found the spelling"},
		{"a spelling of an unknown unit", "unit: N·m, decimals: 1}", "decimals: 1}\n    - {kind: unit, spelled: {Nm: N·m, X: yards}}", "unknown unit of torque"},
		{"a direction told twice", "decimals: 1", "minus: loosens", "found a direction field and a minus"},
		{"an ignored beginning of a reading", `["!"]`, `["!", "#"]`, `17:15: found "#", expected a beginning that no reading has`},
		{"an empty ignored beginning", `["!"]`, `[""]`, "1 to 16 ASCII"},
		{"an ignored beginning that is no list", `["!"]`, `"!"`, "expected a list"},
		{"an acknowledgement of something unknown", "%counter%", "%torque%", `18:6: found %torque%, expected %counter%`},
		{"an acknowledgement with one percent sign", "%counter%", "%counter", "expected ASCII text"},
		{"an acknowledgement that is not ASCII", "=%counter%", "§%counter%", "expected ASCII text"},
		{"an acknowledgement that is empty", `"=%counter%"`, `""`, "expected ASCII text"},
		{"an acknowledgement of a field that may be empty", "{kind: counter}", "{kind: counter, optional: true}", "18:6: found %counter%, expected a field"},
		{"an acknowledgement of a field that is not there", "%counter%", "%tag%", "18:6: found %tag%, expected a field"},
	} {
		t.Run(c.rule, func(t *testing.T) {
			text := strings.Replace(goodFile, c.old, c.new, 1)
			if text == goodFile {
				t.Fatalf("%q does not stand in the file", c.old)
			}
			p, err := Parse("bad.yaml", []byte(text))
			var faults strictyaml.Faults
			if !errors.As(err, &faults) || p != nil {
				t.Fatalf("got %v, %v, want faults and no profile", p, err)
			}
			if !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "bad.yaml:") {
				t.Errorf("got %v\nwant a fault with %q", err, c.want)
			}
		})
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

// FuzzParse reads any file. One that is taken must be of use for any stream, the file itself for one.
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
			t.Errorf("got %v, %v, want one of them", p, err)
		}
		if p == nil {
			return
		}
		for _, r := range through(p, []byte(text)) {
			if r.Reading != nil {
				p.Ack(*r.Reading)
			}
		}
		n := int64(1)
		for _, r := range through(p, p.Encode(device.Reading{Torque: unit.NewtonMetre, Unit: unit.Nm, Direction: device.Loosen, Counter: &n})) {
			if r.Reading != nil {
				p.Tell(*r.Reading, true)
			}
		}
	})
}
