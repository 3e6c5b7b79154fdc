package profile

import "testing"

func TestOnlyNames(t *testing.T) {
	for text, want := range map[string]bool{"ETX": true, "LFCR": true, "CRLFCR": true, "--": false, "-": false, "LF-": false, ";;": false, "": false} {
		if got := onlyNames(text); got != want {
			t.Errorf("%q: got %t, want %t", text, got, want)
		}
	}
}
