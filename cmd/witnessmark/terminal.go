package main

import (
	"io"
	"os"

	"github.com/mattn/go-isatty"
)

// terminal is true where a person sits at the other end.
func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}
