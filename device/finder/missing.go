package finder

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"witnessmark/device/port"
)

// named bounds how many ports a sentence names.
const named = 8

// missing says what was looked for, what is there instead, and what to do. It is called with board.mu held.
func (p *Place) missing() error {
	b := p.board
	if b.listing != nil {
		return b.listing
	}
	what := []string{"looked for " + p.rule.String()}
	if p.rule.Speaks != "" {
		what = append(what, b.listening()...)
	}
	var there []string
	for _, plug := range b.plugs {
		if t := b.taps[plug.Node]; plug.USB() || t != nil {
			there = append(there, describe(plug, t))
		}
	}
	if len(there) == 0 {
		what = append(what, "nothing is plugged in")
	} else {
		what = append(what, "plugged in: "+listed(there))
	}
	return fmt.Errorf("wrench %s was not found: %s. Plug it in, or correct find in the configuration", p.wrench, strings.Join(what, "; "))
}

// listening says where wrenches may speak, and what came of it so far.
func (b *Board) listening() (what []string) {
	var at []string
	for _, node := range slices.Sorted(maps.Keys(b.taps)) {
		if t := b.taps[node]; t.owner == nil && t.port != nil && t.stranger == "" {
			at = append(at, node)
		}
	}
	if len(at) > 0 {
		what = append(what, "listening at "+listed(at)+", so pull its trigger once")
	}
	for _, s := range b.strangers() {
		what = append(what, s.String())
	}
	for _, node := range slices.Sorted(maps.Keys(b.trouble)) {
		what = append(what, fmt.Sprintf("%s cannot be listened at: %v", node, b.trouble[node]))
	}
	return what
}

// String is for people.
func (s Stranger) String() string {
	return fmt.Sprintf("a wrench that says the serial number %s is plugged in at %s, and no wrench of the configuration has that number", s.Serial, s.Node)
}

// describe says what is plugged in and whose it is.
func describe(plug port.Plug, t *tap) string {
	about := strings.Fields(plug.Maker + " " + plug.Title)
	signs := []string{strings.Join(about, " ")}
	if plug.Serial != "" {
		signs = append(signs, "USB serial number "+plug.Serial)
	}
	if plug.Socket != "" {
		signs = append(signs, "USB socket "+plug.Socket)
	}
	if t != nil && t.owner != nil {
		signs = append(signs, "wrench "+t.owner.place.wrench)
	}
	signs = slices.DeleteFunc(signs, func(s string) bool { return s == "" })
	if len(signs) == 0 {
		return plug.Node
	}
	return plug.Node + " (" + strings.Join(signs, ", ") + ")"
}

func listed(all []string) string {
	if more := len(all) - named; more > 0 {
		all = append(slices.Clone(all[:named]), fmt.Sprintf("%d more", more))
	}
	return strings.Join(all, ", ")
}

// String says what is looked for, for people.
func (r Rule) String() string { return strings.Join(r.wants(), " or ") }

// wants lists what a rule looks for.
func (r Rule) wants() (all []string) {
	for _, w := range []struct{ what, is string }{
		{"a wrench that says the serial number ", r.Speaks}, {"the USB serial number ", r.USBSerial},
		{"the USB socket ", r.USBSocket}, {"the name ", r.Node},
	} {
		if w.is != "" {
			all = append(all, w.what+w.is)
		}
	}
	return all
}
