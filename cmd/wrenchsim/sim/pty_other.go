//go:build !linux

package sim

import (
	"errors"
	"fmt"
)

// Pty is a line over a pseudo-terminal, on Linux.
func Pty(link string) (Line, error) {
	return nil, fmt.Errorf("plug in at %s: %w", link, errors.ErrUnsupported)
}
