package audit

// ClockSet says that the clock of the computer was set: what was recorded before bears times of the clock as it was. Nothing is
// judged anew: the order of entries never hung on it.
type ClockSet struct {
	By int64 `json:"by" db:"by_ms"` // in milliseconds, above 0: forward
	// AtLeast: it was noticed only by the clock showing less than the entry before, so that it was set back by more than that.
	AtLeast bool `json:"at_least,omitempty" db:"at_least"`
}

// Kind implements Event.
func (ClockSet) Kind() string { return "clock set" }
