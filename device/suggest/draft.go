package suggest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"witnessmark/device"
	"witnessmark/device/sketch"
)

// draft is a profile on its way to become text.
type draft struct {
	cut
	verdict verdict
	*reader
	search  *search
	ignored []string // beginnings of frames that are no readings
}

// text is the whole file.
func (d *draft) text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# A proposal, made from a capture and from what the display showed. Where it says \"taken for\", look in the")
	line("# wrench's manual. `witnessmark wrench try` shows what this file makes of a capture or of the wrench itself.")
	line("#")
	for _, l := range d.picture() {
		line("%s", strings.TrimRight("#   "+l, " "))
	}
	line("format: witnessmark/wrench/1")
	line("name: %s", cmp.Or(d.search.asked.Name, "proposed"))
	line("version: \"1\"")
	line("title: Proposed from a capture")
	line("%s", d.serial())
	for _, l := range comment("# ", d.cut.told) {
		line("%s", l)
	}
	line("frame: {%s}", d.frameLine())
	for _, l := range d.checkLines() {
		line("%s", l)
	}
	for _, l := range d.layout.write(d.fields) {
		line("%s", l)
	}
	if len(d.ignored) > 0 {
		line("# frames that begin so are no readings")
		line("ignore: [%s]", strings.Join(d.ignored, ", "))
	}
	return b.String()
}

// serial is how the line is set: the bytes do not tell.
func (d *draft) serial() string {
	a := d.search.asked
	return fmt.Sprintf("serial: {baud: %d, bits: %d, parity: %s, stop: %s}",
		cmp.Or(a.Baud, 9600), cmp.Or(a.Bits, 8), cmp.Or(a.Parity, "none"), cmp.Or(a.Stop, "1"))
}

// frameLine leaves twice the room that was needed.
func (d *draft) frameLine() string {
	if strings.HasSuffix(d.frame, fmt.Sprintf("length: %d", d.longest())) {
		return d.frame
	}
	return fmt.Sprintf("%s, max: %d", d.frame, min(max((2*d.longest()+15)/16*16, 32), device.MaxRaw))
}

func (d *draft) longest() (most int) {
	for _, s := range d.samples {
		most = max(most, len(s.bytes))
	}
	return most
}

// checkLines says which check guards the frames.
func (d *draft) checkLines() []string {
	v := d.verdict
	if v.none() {
		return nil
	}
	parts := []string{"kind: " + v.Name(), "over: " + d.over()}
	if v.mark != "" {
		parts = append(parts, "mark: "+quotedText(v.mark))
	}
	sent := "bytes"
	if v.hex {
		sent = "hex"
	}
	parts = append(parts, "sent: "+sent)
	if v.low {
		parts = append(parts, "order: low first")
	}
	if behind := -v.at - v.width; behind > 0 && len(d.end) == 0 && !d.any {
		parts = append(parts, fmt.Sprintf("at: %d", v.at))
	}
	found := fmt.Sprintf("%s fits %d of %s; by accident it would do so once in %s", v.Name(), v.fits, count(v.of, "different frame", "different frames"), rare(v.chance))
	return append(comment("# ", found), "check: {"+strings.Join(parts, ", ")+"}")
}

// over is the range of the check, by its name where it has one.
func (d *draft) over() string {
	v := d.verdict
	head := d.cut.head + len(d.lead)
	inside := v.at - len(v.mark)
	if d.after > 0 {
		inside = v.at - len(d.end)
	}
	switch {
	case d.cut.head+len(d.end)+len(d.lead) == 0 && !d.any: // there is no line to name
	case v.from == head && v.to == inside:
		return "inside"
	case v.from == head && v.to == v.at:
		return "through"
	case v.from == 0 && v.to == inside:
		return "line"
	}
	return fmt.Sprintf("{from: %d, to: %d}", v.from, v.to)
}

// rare is one in so many, in words.
func rare(chance float64) string {
	switch {
	case chance < -9:
		return "more than a thousand million captures"
	case chance < -6:
		return "more than a million captures"
	}
	return fmt.Sprintf("%.0f captures", math.Pow(10, -chance))
}

// picture is one frame with what each byte became.
func (d *draft) picture() []string {
	n := d.at[0]
	f := d.table.samples[n].bytes
	parts := []sketch.Part{{From: 0, To: len(d.start), Label: "start"}, {From: len(d.start), To: d.cut.head, Label: "length"}}
	base := 0
	if d.form() != "binary" {
		base = d.cut.head
		parts = append(parts, sketch.Part{From: base, To: base + len(d.lead), Label: "lead"})
	}
	for _, fld := range d.fields {
		from, to := d.extent(n, fld.column)
		label := fld.name
		if fld.kind == "unread" {
			label += ", not read"
		}
		parts = append(parts, sketch.Part{From: base + from, To: base + to, Label: label})
	}
	if v := d.verdict; !v.none() {
		at := len(f) + v.at
		parts = append(parts, sketch.Part{From: at - len(v.mark), To: at, Label: "mark"}, sketch.Part{From: at, To: at + v.width, Label: "check"})
	}
	if d.form() == "binary" {
		return sketch.Hex(f, parts, sketch.Look{Width: 100})
	}
	return sketch.Text(f, parts, sketch.Look{Width: 100})
}

// score prefers a guarded frame, then what reads the most frames, then what is best understood. What was only guessed
// does not count.
func (d *draft) score(p *Proposal) int {
	score := 1 + 300*p.Readings/max(p.Readings+p.Refused+p.Ignored, 1)
	for kind := range d.kinds {
		if kind != "unread" && kind != "serial" && !(kind == "direction" && d.guessedWay) {
			score += 10
		}
	}
	if !d.verdict.none() {
		score += 1000
	}
	score += d.prior()
	if d.torque.rounded {
		score -= 20
	}
	if !d.sure {
		score -= 5
	}
	switch {
	case len(d.end) > 0 || d.any:
		score += 30 // the pauses of a capture are those of the adapter and the network too
	case d.counted:
		score += 20 // a fixed length takes frames of another length for noise
	}
	return score
}

// prior is how much a layout is to be preferred among those that read the same frames: columns and patterns fit many lines
// in which numbers of another length would not fit.
func (d *draft) prior() int {
	padded := slices.ContainsFunc(d.torque.cells, func(t string) bool {
		return strings.HasPrefix(strings.TrimLeft(t, "+-"), "0") && !strings.HasPrefix(t, "0.")
	})
	l, columns := d.layout.(*columned)
	switch {
	case d.form() == "json":
		return 60
	case d.form() == "separator":
		return 50
	case columns && (padded || l.padded(d.torque.column)):
		return 20
	case d.form() == "pattern":
		return 10
	}
	return 0
}

// ignorable is how those frames begin that are whole, but no readings.
func (d *draft) ignorable() (prefixes []string) {
	if l, ok := d.layout.(*bytesAt); ok {
		return d.otherSorts(l)
	}
	for _, s := range d.cut.samples {
		b, ok := body(d.cut, d.verdict.seal, s.bytes)
		if !d.verdict.none() && !d.verdict.fit(s.bytes) {
			b, ok = body(d.cut, seal{}, s.bytes)
		}
		if !ok || !d.cut.isText(b) || !d.whole(s, string(b)) {
			continue
		}
		if p := d.beginning(string(b)); p != "" && len(prefixes) < 8 {
			prefixes = addBeginning(prefixes, p)
		}
	}
	for i, p := range prefixes {
		prefixes[i] = quotedText(p)
	}
	return prefixes
}

// addBeginning keeps only beginnings of which none begins another.
func addBeginning(prefixes []string, p string) []string {
	if slices.ContainsFunc(prefixes, func(other string) bool { return strings.HasPrefix(p, other) }) {
		return prefixes
	}
	prefixes = slices.DeleteFunc(prefixes, func(other string) bool { return strings.HasPrefix(other, p) })
	return append(prefixes, p)
}

// otherSorts is how frames begin whose check is right and that are of another sort.
func (d *draft) otherSorts(l *bytesAt) (prefixes []string) {
	own := commonStart(d.table.samples)
	for _, s := range d.cut.samples {
		if l.sort < 0 || d.verdict.none() || !d.verdict.fit(s.bytes) || len(own) <= l.sort || s.bytes[l.sort] == own[l.sort] {
			continue
		}
		if p := quoted(s.bytes[:l.sort+1]); !slices.Contains(prefixes, p) {
			prefixes = append(prefixes, p)
		}
	}
	return prefixes
}

// whole tells a frame that was meant from the rest of a torn one: its check is right, or it says nothing that a reading
// could end with.
func (d *draft) whole(s sample, body string) bool {
	if !d.verdict.none() && d.verdict.fit(s.bytes) {
		return true
	}
	if sep, ok := d.layout.(*separated); ok && sep.separator != " " && strings.Contains(body, sep.separator) {
		return strings.Count(body, sep.separator) == len(sep.cells)-1 && !strings.ContainsAny(body, "0123456789") // a heading
	}
	for _, reading := range d.bodies {
		if strings.HasSuffix(reading, body) || strings.HasPrefix(reading, body) {
			return false
		}
	}
	return len(body) >= 2
}

// beginning is the shortest beginning that no reading has, up to the end of the first word.
func (d *draft) beginning(body string) string {
	end := strings.IndexAny(body[1:], " \t;,:=|/0123456789") + 1
	if end == 0 {
		end = min(len(body), 16)
	}
	if !alphanumeric(body[0]) {
		end = 1
	}
	for ; end <= min(len(body), 16); end++ {
		p := body[:end]
		if c := p[end-1]; end > 1 && c >= '0' && c <= '9' || body[0] >= '0' && body[0] <= '9' || body[0] == ' ' {
			return "" // numbers change from one frame to the next
		}
		if !slices.ContainsFunc(d.bodies, func(r string) bool { return strings.HasPrefix(r, p) }) {
			return p
		}
	}
	return ""
}
