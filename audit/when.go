package audit

import "time"

// When is a time as it is told to people: in UTC, which its Z says, to the second, e.g. 2026-03-31 14:00:00Z.
func When(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05Z") }
