package control

import (
	"context"
	"testing"
	"time"
)

func (d *desk) ChangeKey(_ context.Context, in NewKey) (KeyChange, error) {
	d.ask(in)
	return KeyChange{Old: "a", New: "b"}, nil
}

func TestControl_ChangeKey(t *testing.T) {
	d, c := open(t, t.TempDir(), time.Hour)
	in := NewKey{Reason: "every year", Person: "Ada"}
	if got, err := c.ChangeKey(t.Context(), in); err != nil || got != (KeyChange{"a", "b"}) || d.last() != in {
		t.Errorf("got %v, %v after %v, want the change that was asked for", got, err, d.last())
	}
}
