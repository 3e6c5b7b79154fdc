package control

import "net/http"

// routes is where a handler is put behind a pattern.
type routes interface {
	Handle(pattern string, h http.Handler)
	HandleFunc(pattern string, h func(http.ResponseWriter, *http.Request))
}

// names collects the patterns and serves nothing.
type names []string

func (n *names) Handle(pattern string, _ http.Handler) { *n = append(*n, pattern) }

func (n *names) HandleFunc(pattern string, _ func(http.ResponseWriter, *http.Request)) {
	*n = append(*n, pattern)
}

// Patterns lists what Handler serves from a desk, each as "METHOD /path".
func Patterns(d Desk) []string {
	var n names
	server{desk: d}.route(&n)
	return n
}
