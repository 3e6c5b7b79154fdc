package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/store"
	"witnessmark/store/ledger"
)

// builds commits two work orders with two builds, and one that is named by a number.
func builds(t *testing.T) (*shop, *store.Reader) {
	s := newShop(t)
	st := s.open()
	s.commit(st, 1, 60)
	var more []audit.Outcome
	for i, order := range []string{"WO-2", "WO-2", "4"} {
		more = append(more, audit.Outcome{Entry: audit.Entry{Seq: uint64(61 + i), At: time.Date(2026, 5, 4, 11, 0, i, 0, time.UTC),
			Event: audit.BuildOpened{Engine: "E-200", Family: "F", Revision: "1", WorkOrder: order, Person: "ab12"}}})
	}
	if err := errors.Join(st.Commit(t.Context(), more), st.Publish()); err != nil {
		t.Fatal(err)
	}
	r, err := store.OpenReader(t.Context(), s.opt.URL, "")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return s, r
}

func TestReader_Build(t *testing.T) {
	_, r := builds(t)
	for name, want := range map[string]uint64{"WO-1": 4, "61": 61, "4": 63} { // a work order goes before a number
		h, err := r.Build(t.Context(), name)
		if err != nil || len(h.Builds) != 1 || h.Builds[0].ID != want {
			t.Errorf("%s: got %+v, %v, want build %d", name, h, err, want)
		}
	}
	for name, want := range map[string]string{"WO-2": "has the builds 61, 62", "WO-9": "no build", "'; DROP TABLE build; --": "no build"} {
		if _, err := r.Build(t.Context(), name); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %q", name, err, want)
		}
	}
}

func TestReader_BuildNumber(t *testing.T) {
	_, r := builds(t)
	for _, id := range []uint64{4, 61, 63} { // 4 is a work order of another build, too
		h, err := r.BuildNumber(t.Context(), id)
		if err != nil || len(h.Builds) != 1 || h.Builds[0].ID != id {
			t.Errorf("got %+v, %v, want build %d", h, err, id)
		}
	}
	if _, err := r.BuildNumber(t.Context(), 5); !errors.Is(err, store.ErrNotRecorded) {
		t.Errorf("got %v, want %v", err, store.ErrNotRecorded)
	}
}

func TestReader_SignedAfter(t *testing.T) {
	s, r := builds(t)
	h, err := r.Build(t.Context(), "WO-1")
	if err != nil {
		t.Fatal(err)
	}
	signed, _, err := r.SignedAfter(t.Context(), &h.Builds[0])
	if err != nil {
		t.Fatal(err)
	}
	c, err := ledger.Open(signed, s.opt.Key.Verifier)
	if err != nil {
		t.Fatal(err)
	}
	last := h.Builds[0].Runs[0].Readings
	if high := last[len(last)-1].Marks[0].Index; c.Size <= high {
		t.Errorf("got a checkpoint of %d entries, want it to hold leaf %d", c.Size, high)
	}
	head, err := ledger.ReadOutside(s.opt.Outside)
	if err != nil {
		t.Fatal(err)
	}
	if newest, err := ledger.Open(head, s.opt.Key.Verifier); err != nil || newest.Size != c.Size+3 {
		t.Errorf("got the checkpoint of size %d, want the first that holds the build, three before %d (%v)", c.Size, newest.Size, err)
	}
}

func TestReader_Declarations(t *testing.T) {
	_, r := builds(t)
	h, err := r.Build(t.Context(), "WO-1")
	if err != nil {
		t.Fatal(err)
	}
	list, err := r.Declarations(t.Context(), &h.Builds[0])
	if err != nil || len(list) != 1 || list[0].Wrench != "W1" || list[0].Seq != 3 {
		t.Errorf("got %+v, %v, want the declaration of W1", list, err)
	}
}
