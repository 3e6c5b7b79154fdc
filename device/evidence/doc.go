// Package evidence keeps what came from a port, whatever became of it.
package evidence
