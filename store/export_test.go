package store

import "time"

// Impatient has the server wait no longer than that for who writes, from now on until back is called.
func Impatient(d time.Duration) (back func()) {
	was := patience
	patience = d
	return func() { patience = was }
}

// Dial is how the server is reached.
var Dial = dial
