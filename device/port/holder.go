package port

import "fmt"

// Holder is a program that has a device open.
type Holder struct {
	PID  int    `json:"pid"`
	Name string `json:"name"`
}

// String is for people.
func (h Holder) String() string { return fmt.Sprintf("%s (process %d)", h.Name, h.PID) }
