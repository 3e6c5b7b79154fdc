package show

import (
	"fmt"
	"time"
)

// Safety is what nothing that this program writes stands for.
const Safety = `Witnessmark records and checks; it is no safety device. The engine maker's procedure, local rules and the ` +
	`judgement of the licensed person stand above it.`

// Dash is a text, or a dash where there is none.
func Dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// Name is a person's name, or that it was blanked.
func Name(s string) string {
	if s == "" {
		return "(name blanked)"
	}
	return s
}

// Date reads an instant, or a day, whose beginning in UTC it gives. The error says how to write them.
func Date(text string) (t time.Time, day bool, err error) {
	if t, err = time.Parse(time.DateOnly, text); err == nil {
		return t, true, nil
	}
	if t, err = time.Parse(time.RFC3339, text); err != nil {
		return t, false, fmt.Errorf("%q is no date: write it like 2026-03-31, or 2026-03-31T14:00:00Z", text)
	}
	return t, false, nil
}
