package audit

// HandedOver puts a joint that is on a bench into the hands of another person: the readings that come from now on are theirs,
// until it is handed over again, somebody's badge is scanned at the bench, or the joint is closed.
type HandedOver struct {
	Bench  string `json:"bench" db:"bench"`
	Run    uint64 `json:"run" db:"run"`
	Person string `json:"person" db:"person"` // who works from now on
}

// Kind implements Event.
func (HandedOver) Kind() string { return "hand-over" }
