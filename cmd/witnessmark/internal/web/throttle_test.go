package web

import (
	"testing"
	"time"
)

func TestThrottle(t *testing.T) {
	now := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	th := newThrottle(func() time.Time { return now })
	for i, want := range []time.Duration{0, 0, 0, 0, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300} {
		th.wrong("a")
		if got := th.wait("a"); got != want*time.Second {
			t.Errorf("after %d wrong tries: got %s, want %d s", i+1, got, want)
		}
	}
	if got := th.wait("b"); got != 0 {
		t.Errorf("got %s for a colleague, want none", got)
	}
	th.right("a")
	if got := th.wait("a"); got != 0 {
		t.Errorf("got %s after the right one, want none", got)
	}
	th.wrong("a")
	now = now.Add(time.Hour)
	th.wrong("b")
	if len(th.tries) != 1 {
		t.Errorf("got %d keys after an hour, want the old one forgotten", len(th.tries))
	}
}

// A link in the address must not lead off the site.
func TestWithin(t *testing.T) {
	for next, want := range map[string]string{"/bench/1?a=b": "/bench/1?a=b", "": "/", "bench": "/", "//evil.example": "/", "/\\evil.example": "/",
		"https://evil.example": "/", "/a\r\nSet-Cookie: x": "/", "javascript:alert(1)": "/"} {
		if got := within(next); got != want {
			t.Errorf("%q: got %q, want %q", next, got, want)
		}
	}
}
