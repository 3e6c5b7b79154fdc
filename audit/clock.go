package audit

// ClockSet says that the clock of the computer was set while the daemon ran: what was recorded before bears times of the clock as it
// was. Nothing is judged anew: the order of entries never hung on it.
type ClockSet struct {
	By int64 `json:"by" db:"by_ms"` // in milliseconds, above 0: forward
}

// Kind implements Event.
func (ClockSet) Kind() string { return "clock set" }
