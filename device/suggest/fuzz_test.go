package suggest

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"witnessmark/device/capture"
)

// FuzzPropose: whatever came, a search ends, with a profile that decodes what was shown or with advice that is none of
// its own faults.
func FuzzPropose(f *testing.F) {
	files, err := filepath.Glob("../../testdata/captures/*.capture")
	if err != nil || len(files) == 0 {
		f.Fatalf("got %d captures, %v, want some", len(files), err)
	}
	for _, file := range files {
		var b bytes.Buffer
		for _, c := range readCapture(f, file).Chunks {
			b.Write(c.Bytes)
		}
		f.Add(b.Bytes()[:min(b.Len(), 600)], "45.2 N·m, 31.4°", "44.8 N·m", uint8(40))
	}
	f.Fuzz(func(t *testing.T, b []byte, first, second string, piece uint8) {
		var shown []Shown
		for _, text := range []string{first, second} {
			if s, err := ParseShown(text); err == nil {
				shown = append(shown, s)
			}
		}
		c := capture.Capture{MadeBy: "synthetic", Wrench: "TW-01"}
		for at := 0; at < min(len(b), 2000); at += int(piece) + 1 {
			c.Chunks = append(c.Chunks, capture.Chunk{At: time.Duration(at) * 50 * time.Millisecond, Bytes: b[at:min(at+int(piece)+1, len(b))]})
		}
		p, err := Propose(c, shown, Asked{})
		switch {
		case err != nil && strings.Contains(err.Error(), "fault of this program"):
			t.Error(err)
		case err == nil && len(p.Found) != len(shown):
			t.Errorf("got %d of %d shown values\n%s", len(p.Found), len(shown), p.YAML)
		}
	})
}
