package evidence

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"witnessmark/device/capture"
)

const (
	madeBy = "witnessmark, kept by the daemon as raw evidence"
	suffix = ".capture"
	digits = 8       // of a file's number: names sort by it
	block  = 4 << 10 // what a file takes of the disk, whatever is in it
	atOnce = 32 << 10

	day  = 24 * time.Hour // the longest that a file goes on; a capture ends at a year
	back = time.Second    // a clock that goes back by more than this begins a file
)

// reel is the files of one wrench, the last of which is being written.
type reel struct {
	folder, wrench, profile string
	limits                  Limits

	file   *os.File // nil: the next piece begins one
	size   int64    // of file, as far as it is good
	header int64
	began  time.Time
	last   time.Duration // of the last piece in file
	text   []byte
}

// write writes as many of the next pieces as go out at once, and is done with these. After an error it is done with
// none, and may be tried again.
func (r *reel) write(b *batch) error {
	if r.file == nil {
		if err := r.begin(b.first().at); err != nil {
			return err
		}
	}
	rest, last, full := *b, r.last, false
	r.text = r.text[:0]
	for rest.more() && len(r.text) < atOnce {
		whole := len(r.text)
		at, inTime := r.elapsed(rest.first().at, last)
		r.text = rest.line(r.text, at)
		empty := whole == 0 && r.size == r.header // a file holds one piece, however long that is
		if full = !empty && (!inTime || r.size+int64(len(r.text)) > r.limits.File); full {
			r.text = r.text[:whole]
			break
		}
		rest.done()
		last = at
	}
	if err := r.append(r.text); err != nil {
		return err
	}
	*b, r.last = rest, last
	if full {
		return r.end()
	}
	return nil
}

// elapsed is when a piece came, counted from the beginning of the file, and whether it belongs in there.
func (r *reel) elapsed(at time.Time, last time.Duration) (d time.Duration, inTime bool) {
	d = at.Sub(r.began)
	inTime = d <= day && d >= last-back
	return max(d, last).Truncate(time.Millisecond), inTime
}

// append leaves whole lines only. A file that it cannot mend is given up.
func (r *reel) append(text []byte) error {
	n, err := r.file.Write(text)
	if err == nil {
		r.size += int64(n)
		return nil
	}
	if n > 0 {
		if torn := r.file.Truncate(r.size); torn != nil {
			return errors.Join(err, torn, r.end())
		}
	}
	return err
}

func (r *reel) end() error {
	if r.file == nil {
		return nil
	}
	f := r.file
	r.file = nil
	return f.Close()
}

// begin makes the next file and writes its header.
func (r *reel) begin(at time.Time) error {
	number, err := r.makeRoom()
	if err != nil {
		return err
	}
	at = at.UTC().Truncate(time.Millisecond)
	var header bytes.Buffer
	c := capture.Capture{MadeBy: madeBy, Wrench: r.wrench, Profile: r.profile, Began: at}
	if err := c.Write(&header); err != nil {
		return err
	}
	name := filepath.Join(r.folder, fmt.Sprintf("%0*d-%s%s", digits, number, at.Format("2006-01-02T15-04-05Z"), suffix))
	f, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY|os.O_APPEND, fileFor)
	if err != nil {
		return err
	}
	if _, err := f.Write(header.Bytes()); err != nil {
		return errors.Join(err, f.Close(), os.Remove(name))
	}
	r.file, r.size, r.header, r.began, r.last = f, int64(header.Len()), int64(header.Len()), at, 0
	return nil
}

// makeRoom removes the oldest files until one more fits, and gives its number.
func (r *reel) makeRoom() (number int, err error) {
	if err := os.MkdirAll(r.folder, folderFor); err != nil { // somebody may have cleared up
		return 0, err
	}
	files, err := filesIn(r.folder)
	if err != nil {
		return 0, err
	}
	taken := blocks(r.limits.File)
	for _, f := range files {
		taken += blocks(f.size)
		number = f.number
	}
	for len(files) > 1 && taken > r.limits.Total {
		if err := os.Remove(files[0].path); err != nil && !errors.Is(err, os.ErrNotExist) {
			return 0, err
		}
		taken -= blocks(files[0].size)
		files = files[1:]
	}
	return number + 1, nil
}

func blocks(size int64) int64 { return (size + block - 1) / block * block }

// kept is a file of raw evidence.
type kept struct {
	path   string
	number int
	size   int64
}

// filesIn lists the files of a wrench, oldest first, and passes over what has another name.
func filesIn(folder string) ([]kept, error) {
	names, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	var files []kept
	for _, e := range names {
		front, rest, _ := strings.Cut(e.Name(), "-")
		number, err := strconv.Atoi(front)
		if err != nil || len(front) != digits || !strings.HasSuffix(rest, suffix) {
			continue
		}
		info, err := e.Info()
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		files = append(files, kept{filepath.Join(folder, e.Name()), number, info.Size()})
	}
	return files, nil
}
