// Package tried writes what became of the frames of a trial, for people as pictures and for machines as JSON lines.
package tried

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"witnessmark/device"
	"witnessmark/device/profile"
	"witnessmark/device/sketch"
	"witnessmark/device/trial"
	"witnessmark/device/unit"
)

// Teller is told of a trial in its order and writes it as it comes. It keeps the first error of its output.
type Teller interface {
	Frame(f trial.Frame, e profile.Explanation)
	Gone(at time.Duration, what string) // the port went away, or does not open: a sentence without its full stop
	Back(at time.Duration)              // the port is there, for the first time or again
	End(t Tally) error
}

// Tally counts what became of frames.
type Tally struct {
	Frames   int            `json:"frames"`
	Readings int            `json:"readings"`
	Ignored  int            `json:"ignored"`
	Refused  int            `json:"refused"`
	Reasons  map[string]int `json:"reasons,omitempty"` // of those refused
}

// Add counts one frame.
func (t *Tally) Add(r profile.Result) {
	t.Frames++
	switch {
	case r.Reading != nil:
		t.Readings++
	case r.Refusal != nil:
		if t.Reasons == nil {
			t.Reasons = map[string]int{}
		}
		t.Refused++
		t.Reasons[r.Refusal.Reason]++
	default:
		t.Ignored++
	}
}

// means says what a reason is about, for the one who reads the tally. Their order is that of the tally.
var means = []struct{ reason, about string }{
	{device.ReasonForm, "the frame has not the fields that the profile draws"},
	{device.ReasonChecksum, "a disturbed line, or another check than the profile says"},
	{device.ReasonValue, "a number that no wrench can measure"},
	{device.ReasonTorn, "the port went away in the middle of a frame"},
	{device.ReasonTooLong, "no end of frame came: wrong end of frame, or wrong baud rate"},
	{device.ReasonNUL, "a break or a parity error: wrong settings, or a disturbed cable"},
	{device.ReasonNoise, "bytes outside of frames: wrong start of frame, or disturbed"},
	{device.ReasonStranger, "another wrench than the one expected"},
}

// Page writes for people.
type Page struct {
	Out    io.Writer
	Look   sketch.Look
	Brief  bool // a line for each frame instead of its picture
	tally  int
	failed error
}

func (p *Page) printf(format string, args ...any) {
	if p.failed == nil {
		_, p.failed = fmt.Fprintf(p.Out, format, args...)
	}
}

// paint gives text a colour of ECMA-48.
func (p *Page) paint(code int, text string) string {
	if !p.Look.Colour {
		return text
	}
	return fmt.Sprintf("\x1b[%dm%s\x1b[0m", code, text)
}

const (
	bold  = 1
	faint = 2
	red   = 31
	green = 32
)

// How many bytes of a frame are drawn at most; what follows is only counted. Of one that could not be taken apart the
// beginning is enough. Text that is longer than a few lines is drawn without its hexadecimal digits.
const (
	mostDrawn = 160
	mostWhole = 48
	mostHex   = 64
)

// Frame draws one frame: when it came, its bytes, what they are, and what became of it.
func (p *Page) Frame(f trial.Frame, e profile.Explanation) {
	p.tally++
	head := fmt.Sprintf("frame %d", p.tally)
	if p.Brief {
		p.printf("%s %s  %s\n", p.paint(bold, fmt.Sprintf("%4d", p.tally)), p.paint(faint, seconds(f.At)), p.outcome(f))
		return
	}
	p.printf("%s  %s\n", p.paint(bold, head), p.paint(faint, fmt.Sprintf("%s, %s", strings.TrimSpace(seconds(f.At)), bytesOf(len(f.Bytes)))))
	look := p.Look
	look.Width -= len(indent)
	draw, most := sketch.Hex, mostDrawn
	if len(f.Bytes) > mostHex && isText(f.Bytes) {
		draw, most = sketch.Text, device.MaxRaw
	}
	shown, named := f.Bytes[:min(len(f.Bytes), most)], parts(e, most)
	if len(e.Parts) == 1 { // it says of the whole frame what is said below it
		shown, named = f.Bytes[:min(len(f.Bytes), mostWhole)], nil
	}
	for _, line := range draw(shown, named, look) {
		p.printf("%s\n", strings.TrimRight(indent+line, " "))
	}
	if more := len(f.Bytes) - len(shown); more > 0 {
		p.printf("%s… and %s more\n", indent, bytesOf(more))
	}
	for i, line := range Wrap(p.words(f), p.Look.Width-len(indent)-2) {
		mark := "  "
		if i == 0 {
			mark = p.mark(f.Result) + " "
		}
		p.printf("%s%s%s\n", indent, mark, line)
	}
	p.printf("\n")
}

const indent = "  "

// isText tells a frame that a person can read.
func isText(b []byte) bool {
	return !bytes.ContainsFunc(b, func(r rune) bool { return r > '~' || r < ' ' && r != '\r' && r != '\n' && r != '\t' })
}

// plain are the parts that stand between others and need no word: what they are is seen.
var plain = []string{"separator", "text of the pattern", "JSON", "not looked at"}

// parts are those of the explanation that stand in the bytes drawn.
func parts(e profile.Explanation, length int) (all []sketch.Part) {
	for _, part := range e.Parts {
		if part.From >= length || slices.Contains(plain, part.Name) {
			continue
		}
		label := part.Name
		if part.Meaning != "" {
			label += ": " + part.Meaning
		}
		all = append(all, sketch.Part{From: part.From, To: min(part.To, length), Label: label})
	}
	return all
}

func seconds(at time.Duration) string { return fmt.Sprintf("%9.3f s", at.Seconds()) }

func bytesOf(n int) string {
	if n == 1 {
		return "1 byte"
	}
	return fmt.Sprintf("%d bytes", n)
}

func (p *Page) mark(r profile.Result) string {
	switch {
	case r.Reading != nil:
		return p.paint(green, "✓")
	case r.Refusal != nil:
		return p.paint(red, "✗")
	}
	return p.paint(faint, "–")
}

func (p *Page) outcome(f trial.Frame) string { return p.mark(f.Result) + " " + p.words(f) }

// words is what became of a frame.
func (p *Page) words(f trial.Frame) string {
	switch r := f.Result; {
	case r.Reading != nil:
		return Words(*r.Reading)
	case r.Refusal != nil:
		return fmt.Sprintf("refused, %s: %s", r.Refusal.Reason, r.Refusal.Detail)
	}
	return fmt.Sprintf("no reading: the profile ignores frames that begin like %s", beginning(f.Bytes))
}

// beginning is the first characters of a frame, for people.
func beginning(b []byte) string {
	var s strings.Builder
	for _, c := range b[:min(len(b), 8)] {
		if c == '\r' || c == '\n' {
			break
		}
		s.WriteString(sketch.Name(c))
	}
	return "“" + s.String() + "”"
}

// Words is a reading in one sentence: what was measured, then what the wrench said beside it.
func Words(r device.Reading) string {
	said := []string{r.Torque.String()}
	if r.Unit != unit.Nm {
		said[0] = fmt.Sprintf("%s %s (%s)", r.TorqueText, r.Unit, r.Torque)
	}
	if r.Angle != nil {
		said = append(said, r.Angle.String())
	}
	said = append(said, map[device.Direction]string{device.Tighten: "tightened", device.Loosen: "loosened"}[r.Direction])
	add := func(there bool, format string, args ...any) {
		if there {
			said = append(said, fmt.Sprintf(format, args...))
		}
	}
	add(r.Counter != nil, "number %d", number(r.Counter))
	add(r.Judged != "", "judged %s by the wrench", r.Judged)
	add(r.Preset != "", "preset %s", r.Preset)
	add(r.Tag != "", "tag %s", r.Tag)
	add(r.Clock != "", "its clock %s", r.Clock)
	add(r.Serial != "", "wrench %s", r.Serial)
	add(r.Battery != nil, "battery %d %%", number(r.Battery))
	add(r.ErrorCode != "", "error %s", r.ErrorCode)
	add(r.Stored, "from its memory")
	return strings.Join(said, ", ")
}

func number(n *int64) int64 {
	if n == nil {
		return 0
	}
	return *n
}

// Unplugged is what a capture says of a port that went away.
const Unplugged = "the port went away"

// Gone says that the port went away.
func (p *Page) Gone(at time.Duration, what string) {
	p.rule(strings.TrimSpace(seconds(at)) + "  " + what)
}

// Back says that the port is open.
func (p *Page) Back(at time.Duration) { p.rule(strings.TrimSpace(seconds(at)) + "  the port is open") }

func (p *Page) rule(text string) {
	p.printf("%s\n", p.paint(faint, "── "+text+" ──"))
	if !p.Brief {
		p.printf("\n")
	}
}

// End writes the tally.
func (p *Page) End(t Tally) error {
	if t.Frames == 0 {
		p.printf("No frame came.\n")
		return p.failed
	}
	p.printf("%s: %s, %d refused, %d no readings\n", plural(t.Frames, "frame"), plural(t.Readings, "reading"), t.Refused, t.Ignored)
	for _, m := range means {
		if n := t.Reasons[m.reason]; n > 0 {
			p.printf("  %4d %-9s %s\n", n, m.reason, m.about)
		}
	}
	return p.failed
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// Wrap breaks a sentence between words.
func Wrap(text string, width int) (lines []string) {
	line := ""
	for _, word := range strings.Split(text, " ") {
		if line != "" && len([]rune(line))+1+len([]rune(word)) > width {
			lines, line = append(lines, line), ""
		}
		if line != "" {
			line += " "
		}
		line += word
	}
	return append(lines, line)
}
