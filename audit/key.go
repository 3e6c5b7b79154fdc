package audit

// KeyChanged says that the ledger is signed with another key from now on. Both keys stand here as verifier's texts (C2SP
// signed-note), so that whoever knows one of them can follow to the other. The first checkpoint that holds this entry
// bears the signatures of both.
type KeyChanged struct {
	OldKey string `json:"old_key" db:"old_key"`
	NewKey string `json:"new_key" db:"new_key"`
	Reason string `json:"reason" db:"reason"`
	Person string `json:"person" db:"person"`
}

// Kind implements Event.
func (KeyChanged) Kind() string { return "key change" }
