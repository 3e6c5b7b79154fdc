// Package label reads what a barcode scanner gave: it tells by the prefix, or by the check digit, what kind of label it
// was, and verifies the check digit where the label has one.
//
//	E:TB42-10577        an engine of the form {engine, prefix "E:"}: its serial number is TB42-10577
//	1M8GDM9AXKP042788   an engine of the form {engine, check vin}, which needs no prefix
package label

import (
	"errors"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind is what a label stands for.
type Kind string

// The kinds of label.
const (
	Engine    Kind = "engine"     // the serial number of an engine
	WorkOrder Kind = "work order" //
	Badge     Kind = "badge"      // a person's
	Joint     Kind = "joint"      // id of a joint in the procedure
	Fastener  Kind = "fastener"   // id of a fastener in the joint
	Lot       Kind = "lot"        // number of a lot of new parts
)

// Kinds lists the kinds in the order in which they are to be named.
func Kinds() []Kind { return []Kind{Engine, WorkOrder, Badge, Joint, Fastener, Lot} }

// Form is one way in which labels of a kind are written.
type Form struct {
	Kind   Kind
	Prefix string // stands before the value and is no part of it; empty: told by the check alone
	Check  Check
	Family string // the engine family that such a label stands for; empty: it says nothing of that
}

// Fault says what is wrong with a form, as what was expected; empty where nothing is.
func (f Form) Fault() string {
	if f.Prefix == "" && f.Check != VIN && f.Check != GS1 {
		return "expected a prefix: only a check of vin or gs1 tells a label without one from any other"
	}
	return ""
}

// Label is a label that was understood.
type Label struct {
	Kind   Kind
	Value  string // never empty
	Note   string // what a person should know of it, e.g. NoCheckDigit; empty: nothing
	Family string // as its form says
}

// Forms are all forms of label that a scanner meets. Of two prefixes that fit, the longer one counts; without a prefix
// the first form whose look fits.
type Forms []Form

// The longest text that a label may hold, in bytes.
const longest = 128

var errText = errors.New("the label holds characters that are no text: set the scanner to plain text, or clean the label and scan it again")

// Read understands the text of one scan, or says in a sentence why it does not. The sentence never repeats the text: it
// may be somebody's badge.
func (fs Forms) Read(text string) (Label, error) {
	switch {
	case !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }):
		return Label{}, errText
	case len(text) > longest:
		return Label{}, errors.New("the label is too long: two scans ran together, scan again")
	}
	f, ok := fs.of(text)
	if !ok {
		return Label{}, errors.New("no kind of label begins like this one: see labels in the configuration of the scanner")
	}
	value, note, err := f.Check.verify(text, f.Prefix)
	if err != nil {
		return Label{}, err
	}
	if value == "" {
		return Label{}, errors.New("the label is empty behind its prefix: print it again")
	}
	return Label{f.Kind, value, note, f.Family}, nil
}

// of finds the form of a text.
func (fs Forms) of(text string) (Form, bool) {
	best := -1
	for i, f := range fs {
		if f.Prefix != "" && strings.HasPrefix(text, f.Prefix) && (best < 0 || len(f.Prefix) > len(fs[best].Prefix)) {
			best = i
		}
	}
	if best < 0 {
		best = slices.IndexFunc(fs, func(f Form) bool { return f.Prefix == "" && f.Check.looks(strings.TrimSpace(text)) })
	}
	if best < 0 {
		return Form{}, false
	}
	return fs[best], true
}
