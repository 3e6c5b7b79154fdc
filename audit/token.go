package audit

import "time"

// TokenGiven gives a machine a token by which it acts as a person until Expires; an empty Person takes the token back.
// The token itself is nowhere in the record.
type TokenGiven struct {
	Token   string     `json:"token" db:"token"` // its name
	Person  string     `json:"person" db:"person"`
	By      string     `json:"by" db:"given_by"`
	Expires *time.Time `json:"expires,omitempty" db:"expires"` // nil where it is taken back
}

// Kind implements Event.
func (TokenGiven) Kind() string { return "token" }
