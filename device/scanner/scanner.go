// Package scanner keeps one barcode scanner connected and understands the labels that it reads.
//
//	port ─bytes→ lines of any ending ─→ label ─→ Take
//
// A scanner sends a label once and waits for nothing: one that is lost is scanned again by the person who sees that
// nothing happened. Unlike the link of a wrench, this one therefore needs no queue and no acknowledgement.
package scanner

import (
	"context"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"witnessmark/device"
	"witnessmark/device/evidence"
	"witnessmark/device/frame"
	"witnessmark/device/label"
	"witnessmark/device/link"
	"witnessmark/device/port"
)

// Mode is how a scanner's serial port is set where the configuration says nothing.
var Mode = port.Mode{Baud: 9600, DataBits: 8, Parity: "none", StopBits: "1"}

// Scan is what came of one label.
type Scan struct {
	Label   label.Label // the zero one: not understood
	Refused string      // why it was not understood, in a sentence that does not repeat it; empty: it was
	Text    string      // what the scanner sent, what cannot be printed escaped
	// More is how many further scans that were not understood came too fast to be told one by one.
	More int64
}

// State is how a scanner fares at present.
type State struct {
	Up      bool      // the port is open
	Reason  string    // why it is not up, for people
	Seen    time.Time // when bytes last came, by Clock; zero: not since Run began
	Refused int64     // scans since Run began that were not understood, those not told one by one included
}

// Scanner is one scanner and what is to become of its scans.
type Scanner struct {
	Place  port.Place
	Labels label.Forms
	// Take is given the scans one at a time, in order. It returns nil once the scan is kept and acted upon; an error
	// ends Run. It may take its time: the system holds some hundred labels meanwhile.
	Take func(context.Context, Scan) error
	// Notice is told every change of the state, one call at a time, and must return at once. nil: nobody listens.
	Notice func(State)
	Clock  func() time.Time
}

// longest is the length of a line, its ending included, and of what is kept of one.
const longest = 128

// Run keeps the scanner connected until ctx ends and then returns nil; otherwise its error is that of Take. A port that
// cannot be opened is no error but a State, and is tried again.
func Run(ctx context.Context, s Scanner) error {
	r := &run{Scanner: s}
	return link.Hold(ctx, s.Place, r.tell, r.talk)
}

// run is a Scanner at work; it belongs to the goroutine of Run.
type run struct {
	Scanner
	state   State
	limiter evidence.Limiter
}

func (r *run) tell(up bool, reason string) {
	r.state.Up, r.state.Reason = up, reason
	r.notice()
}

func (r *run) notice() {
	if r.Notice != nil {
		r.Notice(r.state)
	}
}

// talk reads one connection from plug to unplug.
func (r *run) talk(ctx context.Context, p port.Port) (heard bool, lost, err error) {
	stop := context.AfterFunc(ctx, func() { p.Close() })
	defer stop()
	lines := frame.NewLine(frame.AnyEnd, longest)
	chunk := make([]byte, 1024)
	for lost == nil && err == nil {
		var n int
		n, lost = p.Read(chunk)
		if n > 0 {
			heard, r.state.Seen = true, r.Clock().UTC()
			r.notice()
		}
		lines.Push(chunk[:n], func(f frame.Frame) {
			if err == nil {
				err = r.line(ctx, f)
			}
		})
	}
	if tail, torn := lines.End(); torn && err == nil && ctx.Err() == nil {
		err = r.line(ctx, tail)
	}
	if err == nil && ctx.Err() == nil {
		err = r.heldBack(ctx)
	}
	if shut := p.Close(); shut != nil {
		lost = shut
	}
	if ctx.Err() != nil {
		err = nil // who ends us has no use for what the end interrupted
	}
	return heard, lost, err
}

// line understands one line and hands it on.
func (r *run) line(ctx context.Context, f frame.Frame) error {
	raw := f.Bytes[:min(len(f.Bytes), longest)]
	text := strings.TrimRight(string(raw), "\r\n")
	if f.Fault != "" {
		return r.refuse(ctx, f.Fault, faults[f.Fault], text)
	}
	l, err := r.Labels.Read(text)
	if err != nil {
		return r.refuse(ctx, "label", err.Error(), text)
	}
	if err := r.heldBack(ctx); err != nil {
		return err
	}
	return r.Take(ctx, Scan{Label: l, Text: text})
}

func (r *run) refuse(ctx context.Context, reason, sentence, text string) error {
	r.state.Refused++
	r.notice()
	now, tell := r.limiter.Refused(r.Clock(), device.Refusal{Reason: reason, Detail: sentence, Raw: []byte(text)})
	if !tell {
		return nil
	}
	return r.give(ctx, now)
}

// heldBack tells what was kept back of a row of scans that were not understood.
func (r *run) heldBack(ctx context.Context) error {
	for _, held := range r.limiter.Over() {
		if err := r.give(ctx, held); err != nil {
			return err
		}
	}
	return nil
}

func (r *run) give(ctx context.Context, not device.Refusal) error {
	return r.Take(ctx, Scan{Refused: not.Detail, Text: printable(string(not.Raw)), More: not.More})
}

// faults are the sentences for lines that are no lines.
var faults = map[string]string{
	device.ReasonTorn:    "the scanner was unplugged in the middle of a label, or ends none: scan it again, and set the scanner to send CR after each label",
	device.ReasonTooLong: "the scanner sent no end of a label: set it to send CR after each, and its speed to that of the configuration",
	device.ReasonNUL:     "the scanner sent noise: set its speed and parity to those of the configuration",
}

// printable escapes a text that is not fit to be shown or kept as it came.
func printable(text string) string {
	if utf8.ValidString(text) && !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) {
		return text
	}
	quoted := strconv.Quote(text)
	return quoted[1 : len(quoted)-1]
}
