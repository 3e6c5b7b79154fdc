package cluster

import (
	"errors"
	"fmt"
	"os"
	"strings"
)

// maxLog is the size at which the server's log is set aside; one older log is kept.
const maxLog = 4 << 20

// log takes the server's words into a file beside its folder. Only the goroutine that copies them writes.
type log struct {
	path string
	max  int64
	file *os.File
	size int64
}

func openLog(path string) (*log, error) {
	l := &log{path: path, max: maxLog}
	if err := l.open(); err != nil {
		return nil, fmt.Errorf("open the log of PostgreSQL (see to the disk and the rights of its folder): %w", err)
	}
	return l, nil
}

func (l *log) open() error {
	f, err := os.OpenFile(l.path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	st, err := f.Stat()
	if err != nil {
		return errors.Join(err, f.Close())
	}
	l.file, l.size = f, st.Size()
	return nil
}

// Write never fails: a server must not stand still or end because its log cannot be kept. What does not fit on a full
// disk is lost, as the words of a server are that ends after us.
func (l *log) Write(p []byte) (int, error) {
	if l.size+int64(len(p)) > l.max {
		l.turn()
	}
	n, _ := l.file.Write(p)
	l.size += int64(n)
	return len(p), nil
}

// turn sets the log aside and begins another. Where that cannot be done the old file goes on, and is tried again
// after as much again.
func (l *log) turn() {
	old := l.file
	l.size = 0
	if os.Rename(l.path, l.path+".1") != nil || l.open() != nil {
		return
	}
	_ = old.Close() // its words are set aside, nothing hangs on them
}

func (l *log) Close() error { return l.file.Close() }

// tail is the last three lines.
func (l *log) tail() string {
	text, err := os.ReadFile(l.path)
	if err != nil {
		return err.Error()
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return strings.Join(lines[max(0, len(lines)-3):], " | ")
}
