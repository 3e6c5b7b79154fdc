package audit

// PersonForgotten says that the name and the badges of a person were blanked. What they did stays, under an id that names
// nobody any more.
type PersonForgotten struct {
	Person string `json:"person" db:"person"`
	Reason string `json:"reason" db:"reason"`
	By     string `json:"by" db:"forgotten_by"` // who said so
}

// Kind implements Event.
func (PersonForgotten) Kind() string { return "person forgotten" }
