package audit

import "witnessmark/device/label"

// BadgeGiven gives a badge to a person. Given again it moves; an empty Person takes it back. A person may have several.
type BadgeGiven struct {
	Badge  string `json:"badge" db:"badge"`
	Person string `json:"person" db:"person"` // who has it from now on
	By     string `json:"by" db:"given_by"`   // who gave it, or took it back
}

// LeafHidden keeps the badge out of the ledger: it is a person's, as the name is.
func (BadgeGiven) LeafHidden() []string { return []string{"badge"} }

// LabelScanned is a label that a barcode scanner read at a bench. It signs a person in, brings a build to the bench or
// says where the next reading will be. A build that it opens and a joint that it starts are entries of their own behind it.
type LabelScanned struct {
	Bench   string     `json:"bench" db:"bench"`
	Scanner string     `json:"scanner" db:"scanner"`
	Label   label.Kind `json:"label" db:"label"` // empty: not understood, and Note says why
	Value   string     `json:"value" db:"value"`
	Text    string     `json:"text" db:"text"` // as the scanner sent it, escaped where it cannot be printed
	Note    string     `json:"note,omitempty" db:"note"`
	Family  string     `json:"family,omitempty" db:"family"` // engine family that the label or its scanner stands for
	Run     uint64     `json:"run" db:"run"`                 // joint run on the bench, 0: none
	Person  string     `json:"person" db:"person"`           // whose badge it is, else who is signed in; empty: nobody
	// More is how many further labels that were not understood came too fast to be kept one by one.
	More int64 `json:"more,omitempty" db:"more"`
}

// LeafHidden keeps badges out of the ledger, and what may be one. Whose badge it was is in Person.
func (l LabelScanned) LeafHidden() []string {
	if l.Label == label.Badge || l.Label == "" {
		return []string{"value", "text"}
	}
	return nil
}

// Kind implements Event.
func (BadgeGiven) Kind() string { return "badge" }

// Kind implements Event.
func (LabelScanned) Kind() string { return "scan" }
