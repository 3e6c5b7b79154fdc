package journal

import (
	"path/filepath"
	"reflect"
	"strconv"
	"testing"
	"time"

	"witnessmark/audit"
	"witnessmark/device"
	"witnessmark/device/unit"
)

// What is read of the newest entries out of memory is what a new opener reads off the disk.
func TestJournal_ReadsTheSameFromMemory(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	j, err := Open(path, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	const all = mostTail + 150
	for i := range all {
		angle := 30 * unit.Degree
		var ev audit.Event = audit.ReadingTaken{Bench: "1", Reading: device.Reading{Wrench: "TW-01", Torque: unit.NewtonMetre * unit.Torque(i), Angle: &angle, Raw: []byte("x\r\n")}}
		if i%3 == 0 {
			ev = audit.PersonAdded{Person: strconv.Itoa(i), Name: "Ada Holt"}
		}
		if _, err := j.Append(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	var parts [][]audit.Entry
	spans := [][2]uint64{{1, 10}, {140, 30}, {all - mostTail, 3}, {all - mostTail + 1, 3}, {all - 4, 3}, {all - 4, 100}, {all, 1}, {all + 1, 5}}
	for _, s := range spans {
		got, err := j.Read(s[0], int(s[1]))
		if err != nil {
			t.Fatal(err)
		}
		parts = append(parts, got)
	}
	if len(j.tail) != mostTail {
		t.Errorf("got %d entries in memory, want %d", len(j.tail), mostTail)
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := j.Read(all, 1); err != ErrClosed {
		t.Errorf("got %v after the close, want %v", err, ErrClosed)
	}
	if j, err = Open(path, time.Now); err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for i, s := range spans {
		got, err := j.Read(s[0], int(s[1]))
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != len(parts[i]) || len(got) > 0 && !reflect.DeepEqual(got, parts[i]) {
			t.Errorf("from %d, %d: got %+v from memory, %+v from the disk", s[0], s[1], parts[i], got)
		}
	}
}
