package show

import (
	"fmt"
	"strings"
)

// Count is a number of things, e.g. "1 bench", "2 benches". The words are those that take an s, or es after a hiss.
func Count(n int, what string) string {
	switch {
	case n == 1:
	case strings.HasSuffix(what, "ch"):
		what += "es"
	default:
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}
