package evidence

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/device/capture"
)

// told is what the files of a wrench tell, from the first to the last.
type told struct {
	bytes []byte // 0xff, 0xff for each byte left out: the tests send none of these
	gone  []int  // after how many bytes the port went away
	left  int64
	gones int // left out
	times []time.Time
	files []capture.Capture
}

const missing = 0xff

type failer interface {
	Helper()
	Fatal(...any)
	Fatalf(string, ...any)
}

// tell reads all files of a wrench with capture.Read, and the remarks of what was left out.
func tell(t failer, folder string) (all told) {
	t.Helper()
	files, err := filesIn(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f.path)
		if err != nil {
			t.Fatal(err)
		}
		c, err := capture.Read(bytes.NewReader(text))
		if err != nil {
			t.Fatalf("%s: %v", filepath.Base(f.path), err)
		}
		all.files = append(all.files, c)
		_, body, _ := strings.Cut(string(text), "\n\n")
		for line := range strings.Lines(body) {
			var n int64
			if _, err := fmt.Sscanf(line, "# left out: %d bytes", &n); err == nil {
				all.left += n
				all.bytes = append(all.bytes, bytes.Repeat([]byte{missing}, int(n))...)
				if _, gones, also := strings.Cut(line, ", and "); also {
					if _, err := fmt.Sscan(gones, &n); err != nil {
						t.Fatalf("%q: %v", line, err)
					}
					all.gones += int(n)
				}
				continue
			}
			chunk := c.Chunks[0]
			c.Chunks = c.Chunks[1:]
			all.bytes = append(all.bytes, chunk.Bytes...)
			all.times = append(all.times, c.Began.Add(chunk.At))
			if chunk.Gone {
				all.gone = append(all.gone, len(all.bytes))
			}
		}
		if len(c.Chunks) != 0 {
			t.Fatalf("%s: got %d chunks beside its lines, want none", filepath.Base(f.path), len(c.Chunks))
		}
	}
	return all
}

// is fails unless the files tell what came, except where they say that something is missing.
func (all told) is(t failer, came []byte) {
	t.Helper()
	if len(all.bytes) != len(came) {
		t.Fatalf("got %d bytes with those left out, want %d", len(all.bytes), len(came))
	}
	for i, b := range all.bytes {
		if b != came[i] && b != missing {
			t.Fatalf("byte %d: got %#x, want %#x", i, b, came[i])
		}
	}
}

// only fails unless the wrench has a single file, and gives its text.
func only(t *testing.T, folder string) string {
	t.Helper()
	files, err := filesIn(folder)
	if err != nil || len(files) != 1 {
		t.Fatalf("got files %v, %v, want one", files, err)
	}
	text, err := os.ReadFile(files[0].path)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
