package profile

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
)

// probes are files that hold the unknown word "nonsense" where a key or one of several values is expected. The fault
// that it makes names all that the language knows there.
var probes = map[string]string{
	"":                         "nonsense: 1\n",
	"serial":                   "serial: {nonsense: 1}\n",
	"serial.parity=":           "serial: {parity: nonsense}\n",
	"serial.stop=":             "serial: {stop: nonsense}\n",
	"frame":                    "frame: {nonsense: 1}\n",
	"frame.length":             "frame: {length: {nonsense: 1}}\n",
	"frame.length.as=":         "frame: {length: {as: nonsense}}\n",
	"frame.length.order=":      "frame: {length: {order: nonsense, as: u16}}\n",
	"check":                    "check: {nonsense: 1}\n",
	"check.kind=":              "check: {kind: nonsense}\n",
	"check.over":               "check: {over: {nonsense: 1}, kind: xor}\n",
	"check.over=":              "check: {over: nonsense, kind: xor}\n",
	"check.sent=":              "check: {sent: nonsense, kind: xor}\n",
	"check.order=":             "check: {order: nonsense, kind: CRC-16/MODBUS}\n",
	"registers":                "registers: {nonsense: 1}\n",
	"registers.table=":         "registers: {table: nonsense}\n",
	"registers.accepted":       "registers: {accepted: {nonsense: 1}}\n",
	"fields":                   "fields: {nonsense: 1}\n",
	"fields.decimal=":          "fields: {decimal: nonsense, separator: x}\n",
	"fields.order=":            "fields: {order: nonsense, binary: true}\n",
	"fields.list.kind=":        "fields: {separator: x, list: [{kind: nonsense}]}\n",
	"fields.list.minus=":       "fields: {separator: x, list: [{kind: angle, minus: nonsense}]}\n",
	"fields.list.order=":       "fields: {binary: true, list: [{kind: angle, order: nonsense}]}\n",
	"fields.list.spelled.any=": "fields: {separator: x, list: [{kind: judgement, spelled: {x: nonsense}}]}\n",
	"answers":                  "answers: {nonsense: 1}\n",
	"send":                     "send: {nonsense: 1}\n",
	"send.poll":                "send: {poll: {nonsense: 1}}\n",
}

var expected = regexp.MustCompile(`found (?:the unknown key )?"nonsense", expected ([^\n]*)`)

// features gives what the language knows: keys as "frame.end", values as "frame.end=CR".
func features(t *testing.T) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for place, text := range probes {
		_, err := Parse("probe.yaml", []byte(head+text))
		if err == nil {
			t.Fatalf("%s: got no fault of %q", place, text)
		}
		found := expected.FindStringSubmatch(err.Error())
		if found == nil {
			t.Fatalf("%s: got %v, want a fault that names the choice", place, err)
		}
		for _, one := range strings.Split(strings.ReplaceAll(found[1], " or ", ", "), ", ") {
			switch before, isValue := strings.CutSuffix(place, "="); {
			case isValue:
				all[worded(before, one)] = true
			case place == "":
				all[one] = true
			default:
				all[place+"."+one] = true
			}
		}
	}
	for _, keys := range slices.Concat(slices.Concat(slices.Collect(maps.Values(settings))...), slices.Concat(slices.Collect(maps.Values(placing))...)) {
		all["fields.list."+keys] = true
	}
	all["fields.list.epoch"] = true
	for name := range plainNumbers {
		all["fields.list.as="+name] = true
	}
	for _, more := range []string{"fields.list.as=bcd", "fields.list.as=text", "frame.end=CRLF", "frame.end=CR", "frame.end=LF",
		"frame.end=any", "frame.end=others", "serial.bits=7", "serial.bits=8"} {
		all[more] = true
	}
	return all
}

// worded names a value. What differs in its number only is one feature, and so are the checks of one width.
func worded(place, value string) string {
	place = regexp.MustCompile(`^.*\.(order|decimal)$`).ReplaceAllString(place, "$1")
	place = regexp.MustCompile(`\.spelled\..*$`).ReplaceAllString(place, ".spelled")
	switch {
	case place == "fields.list.as":
		value = regexp.MustCompile(`^(bcd|text)\d+$`).ReplaceAllString(value, "$1")
	case place == "check.kind":
		value, _, _ = strings.Cut(value, "/")
	case place == "frame.end" && !slices.Contains([]string{"CRLF", "CR", "LF", "any"}, value):
		value = "others"
	}
	return place + "=" + value
}

// used walks over a file.
func used(at string, node any, all map[string]bool) {
	switch node := node.(type) {
	case map[string]any:
		for key, value := range node {
			place := strings.TrimPrefix(at+"."+key, ".")
			all[place] = true
			used(place, value, all)
		}
	case []any:
		for _, one := range node {
			used(at, one, all)
		}
	case string:
		all[worded(at, node)] = true
	default:
		text, err := yaml.Marshal(node)
		if err == nil {
			all[worded(at, strings.TrimSpace(string(text)))] = true
		}
	}
}

// Whoever looks for an example of something that the language knows finds it in a profile that ships, and each is held
// to its captures. Left out are settings of the port that differ in a word only.
func TestBuiltin_EveryFeatureIsUsed(t *testing.T) {
	use := map[string]bool{"serial.parity=mark": true, "serial.parity=space": true, "serial.stop=1.5": true}
	for _, name := range BuiltinNames() {
		text, err := builtin.ReadFile("builtin/" + name + ".yaml")
		if err != nil {
			t.Fatal(err)
		}
		var file any
		if err := yaml.Unmarshal(text, &file); err != nil {
			t.Fatal(err)
		}
		used("", file, use)
	}
	for _, feature := range slices.Sorted(maps.Keys(features(t))) {
		if !use[feature] {
			t.Errorf("got %s in no built-in profile, want it in one", feature)
		}
	}
}
