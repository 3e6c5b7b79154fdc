package audit

// LossAccepted says that a part of the record is lost for good and that it goes on without: a signed checkpoint outside proves
// Size leaves, and what database and journal hold leads no further than Remains of them, or elsewhere from there on.
type LossAccepted struct {
	Size        int64  `json:"size" db:"size"`
	Root        []byte `json:"root" db:"root"` // SHA-256 tree root (RFC 6962), as the next but one
	Remains     int64  `json:"remains" db:"remains"`
	RemainsRoot []byte `json:"remains_root" db:"remains_root"`
	Reason      string `json:"reason" db:"reason"`
	Person      string `json:"person" db:"person"`
}

// Kind implements Event.
func (LossAccepted) Kind() string { return "loss accepted" }
