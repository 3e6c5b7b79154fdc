package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"time"

	"witnessmark/device/capture"
	"witnessmark/device/profile"
)

// record is a capture in the making. Each piece is with the system as it comes: after a crash the file lacks at most
// its last line.
type record struct {
	file *os.File
	err  error
}

// newRecord gives nil where none was asked for. A file that is there is never written over.
func (c *wrenchListen) newRecord(began time.Time, p *profile.Profile) (*record, error) {
	if c.Record == "" {
		if c.MadeBy != "" || c.Wrench != "" {
			return nil, inputError{errors.New("--made-by and --wrench go into a capture: name its file with --record")}
		}
		return nil, nil
	}
	head := capture.Capture{MadeBy: c.MadeBy, Wrench: c.Wrench, Began: began.UTC()}
	if p != nil {
		head.Profile = p.Name + " " + p.Version
	}
	if head.MadeBy == "" || head.Wrench == "" {
		return nil, inputError{errors.New("a capture says where it comes from: add --made-by 'your name, the wrench, the date' and --wrench ID")}
	}
	f, err := os.OpenFile(c.Record, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	switch {
	case errors.Is(err, fs.ErrExist):
		return nil, inputError{fmt.Errorf("%s is there already: name another file", c.Record)}
	case err != nil:
		return nil, fmt.Errorf("make the capture: %w", err)
	}
	if err := head.Write(f); err != nil {
		return nil, errors.Join(err, f.Close(), os.Remove(c.Record))
	}
	return &record{file: f}, nil
}

func (r *record) add(c capture.Chunk) {
	if r == nil || r.err != nil {
		return
	}
	if _, err := r.file.Write(c.Append(nil)); err != nil {
		r.err = fmt.Errorf("write the capture: %w", err)
	}
}

// failed says that it makes no sense to go on.
func (l *listening) failed() bool { return l.view.err != nil || l.record != nil && l.record.err != nil }

// Close gives the first error of any write.
func (r *record) Close() error {
	if r == nil {
		return nil
	}
	return errors.Join(r.err, r.file.Sync(), r.file.Close())
}
