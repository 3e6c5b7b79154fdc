package profile

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/frame"
)

// FuzzDecode gives any stream to any form, from framer to reading, and all of it as one frame. Seeds are the captures,
// which hold every fault, and the frames that are drawn in the profiles.
func FuzzDecode(f *testing.F) {
	names, all := BuiltinNames(), builtins(f)
	for _, name := range formNames() {
		names, all["form "+name] = append(names, "form "+name), mustParse(f, formTexts[name])
	}
	for _, file := range captures(f) {
		c, stream := readCapture(f, file), []byte(nil)
		for _, chunk := range c.Chunks {
			stream = append(stream, chunk.Bytes...)
		}
		name, _, _ := strings.Cut(c.Profile, " ")
		f.Add(stream, uint8(slices.Index(names, name)))
	}
	for i, name := range names {
		f.Add(drawnBytes(f, drawings[name].frame), uint8(i))
	}
	f.Fuzz(func(t *testing.T, stream []byte, form uint8) {
		p := all[names[int(form)%len(names)]]
		framer := p.NewFramer()
		take := func(f frame.Frame) {
			whole := bytes.Clone(f.Bytes)
			mustBeSound(t, p, frame.Frame{Bytes: whole, Fault: f.Fault})
			if from, to, why := p.framing.cut(whole, p.check.sum != nil && !p.check.hex); why == nil && p.check.seal(whole, from, to, len(p.fields.lead)) {
				mustBeSound(t, p, frame.Frame{Bytes: whole}) // no stream made up at random has a check that fits
			}
		}
		framer.Push(stream, take)
		framer.Silence(take)
		if tail, torn := framer.End(); torn {
			take(tail)
		}
		take(frame.Frame{Bytes: stream})
	})
}

// mustBeSound holds what becomes of a frame to what everybody after it relies on.
func mustBeSound(t *testing.T, p *Profile, f frame.Frame) {
	got := p.Decode("TW-01", f)
	set := 0
	for _, is := range []bool{got.Reading != nil, got.Refusal != nil, got.Ignored} {
		if is {
			set++
		}
	}
	if set != 1 || got.Refusal != nil && (got.Refusal.Detail == "" || !slices.Contains(device.Reasons(), got.Refusal.Reason)) {
		t.Fatalf("%s: got %+v %+v of %q, want exactly one of them, with its reason", p.Name, got, got.Refusal, f.Bytes)
	}
	from := 0
	for _, part := range p.Explain(f).Parts {
		if part.From < from || part.To <= part.From || part.To > len(f.Bytes) {
			t.Fatalf("%s: got %+v of %q, want parts in order", p.Name, part, f.Bytes)
		}
		from = part.From
	}
	r := got.Reading
	if r == nil {
		return
	}
	if r.Torque < 0 || r.Torque > MaxTorque || r.Angle != nil && max(*r.Angle, -*r.Angle) > MaxAngle || r.TorqueText == "" || len(r.Raw) == 0 {
		t.Fatalf("%s: got %+v of %q, want what a wrench can measure", p.Name, r, f.Bytes)
	}
	for _, text := range []string{r.TorqueText, r.Clock, r.Serial, r.Tag, r.Preset, r.ErrorCode} {
		if !printable([]byte(text)) {
			t.Fatalf("%s: got %q of %q, want printable ASCII", p.Name, text, f.Bytes)
		}
	}
	written := p.Encode(*r)
	if written == nil {
		return // more digits than the form has room for
	}
	again := p.Decode("TW-01", frame.Frame{Bytes: written})
	if again.Reading == nil || again.Reading.Torque != r.Torque || again.Reading.Direction != r.Direction ||
		r.Counter != nil && (again.Reading.Counter == nil || *again.Reading.Counter != *r.Counter) {
		t.Fatalf("%s: got %+v of %q, and %+v %+v after writing it as %q", p.Name, r, f.Bytes, again.Reading, again.Refusal, written)
	}
}
