package bench

import "fmt"

// Unknown is the refusal of an event that names what is not there.
type Unknown struct{ sentence string }

func (u *Unknown) Error() string { return u.sentence }

func unknown(format string, args ...any) error { return &Unknown{fmt.Sprintf(format, args...)} }
