//go:build !linux

package journal

// GiveBack is for Linux only.
func (j *Journal) GiveBack() error { return nil }
