package profile

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"witnessmark/device"
	"witnessmark/device/frame"
	"witnessmark/device/unit"
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
		f.Add(all[name].Encode(readingFor(all[name])), uint8(i))
	}
	f.Fuzz(func(t *testing.T, stream []byte, form uint8) {
		p := all[names[int(form)%len(names)]]
		framer := p.NewFramer()
		take := func(f frame.Frame) {
			mustBeSound(t, p, frame.Frame{Bytes: bytes.Clone(f.Bytes), Fault: f.Fault})
			mustBeSoundSealed(t, p, f.Bytes)
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
	if again.Reading == nil || !saysTheSame(p, r, again.Reading) {
		t.Fatalf("%s: got %+v of %q, and %+v %+v after writing it as %q", p.Name, r, f.Bytes, again.Reading, again.Refusal, written)
	}
	if twice := p.Encode(*again.Reading); !bytes.Equal(twice, written) {
		t.Fatalf("%s: got %q of %q, and %q after reading that", p.Name, written, f.Bytes, twice)
	}
}

// saysTheSame compares what was read before and after it was written. An angle is written with as many digits as the
// form has; where it is all that tells the direction, nought tells none.
func saysTheSame(p *Profile, before, after *device.Reading) bool {
	f := p.fields.list[max(0, slices.IndexFunc(p.fields.list, func(f field) bool { return f.kind == kindAngle }))]
	if before.Angle != nil {
		digit := math.Pow10(3 - f.decimals)
		if f.scale.ratio != nil {
			worth, _ := f.scale.ratio.Float64()
			digit *= worth
		}
		if after.Angle == nil || math.Abs(float64(*before.Angle-*after.Angle)) > digit/2+1 {
			return false
		}
	}
	told := before.Torque != 0 || f.minus != minusLoosens
	count := func(r *device.Reading) int64 {
		if r.Counter == nil {
			return -1
		}
		return *r.Counter
	}
	return before.Torque == after.Torque && count(before) == count(after) && (!told || before.Direction == after.Direction)
}

// mustBeSoundSealed puts a check that fits into the bytes: no bytes made up at random have one.
func mustBeSoundSealed(t *testing.T, p *Profile, b []byte) {
	whole := bytes.Clone(b)
	if from, to, why := p.framing.cut(whole, p.check.sum != nil && !p.check.hex); why == nil && p.check.seal(whole, from, to, len(p.fields.lead)) {
		mustBeSound(t, p, frame.Frame{Bytes: whole})
	}
}

// readingFor is one that the form can write.
func readingFor(p *Profile) device.Reading {
	r := device.Reading{Torque: 45 * unit.NewtonMetre, Unit: unit.Nm, Direction: device.Tighten, Angle: ptr(31 * unit.Degree),
		Counter: ptr[int64](7), Clock: "2026-01-17T09:41:07Z", Serial: "AB7", Tag: "M7", Preset: "0007", Battery: ptr[int64](87)}
	for _, f := range p.fields.list {
		if f.kind == kindJudgement {
			r.Judged = device.Judgement(f.spelled[0].means)
		}
	}
	return r
}
