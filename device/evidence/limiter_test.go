package evidence

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"
	"witnessmark/device"
)

var noon = time.Date(2026, 1, 17, 12, 0, 0, 0, time.UTC)

func refused(reason string, n int) device.Refusal {
	return device.Refusal{Wrench: "TW-01", Reason: reason, Raw: fmt.Append(nil, n)}
}

// flood gives a limiter n frames of one reason, which come at the same time, and returns what it lets through.
func flood(l *Limiter, at time.Time, reason string, n int) (out []device.Refusal) {
	for i := range n {
		if r, record := l.Refused(at, refused(reason, i)); record {
			out = append(out, r)
		}
	}
	return out
}

func TestLimiter_Row(t *testing.T) {
	var l Limiter
	if got := flood(&l, noon, device.ReasonChecksum, Free+5); len(got) != Free {
		t.Fatalf("got %d recorded of the first in a row, want %d", len(got), Free)
	}
	if r, record := l.Refused(noon.Add(Every-1), refused(device.ReasonChecksum, 100)); record {
		t.Errorf("before the time is over: got %+v recorded, want none", r)
	}
	want := refused(device.ReasonChecksum, 101)
	want.More = 6
	if got, record := l.Refused(noon.Add(Every), refused(device.ReasonChecksum, 101)); !record || !reflect.DeepEqual(got, want) {
		t.Errorf("when the time is over: got %+v, %v, want %+v", got, record, want)
	}
	if _, record := l.Refused(noon.Add(Every), refused(device.ReasonForm, 102)); !record {
		t.Error("the first of another reason: got it held back, want it recorded")
	}
	if r, record := l.Refused(noon, refused(device.ReasonForm, 103)); !record || r.More != 0 {
		t.Errorf("after the clock was set back: got %+v, %v, want it recorded", r, record)
	}
	flood(&l, noon, device.ReasonForm, 3)
	want = refused(device.ReasonForm, 2)
	want.More = 2
	if got := l.Over(); !reflect.DeepEqual(got, []device.Refusal{want}) {
		t.Errorf("at the end: got %+v, want %+v", got, want)
	}
	if got := l.Over(); got != nil {
		t.Errorf("at the end again: got %+v, want nothing", got)
	}
	if got := flood(&l, noon, device.ReasonForm, Free+1); len(got) != Free {
		t.Errorf("in the next row: got %d recorded, want %d", len(got), Free)
	}
}

// However refused frames come, each is recorded or counted, once and under its own reason; and no more than the limit are
// recorded.
func TestLimiter_CountsAll(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l Limiter
		came, told := map[string]int64{}, map[string]int64{}
		row, recorded, at, begun := 0, 0, noon, noon
		record := func(r device.Refusal) { told[r.Reason] += 1 + r.More }
		t.Repeat(map[string]func(*rapid.T){
			"refuse": func(t *rapid.T) {
				for range rapid.IntRange(1, 60).Draw(t, "number") {
					at = at.Add(time.Duration(rapid.IntRange(0, 400).Draw(t, "ms")) * time.Millisecond)
					r := refused(rapid.SampledFrom([]string{device.ReasonForm, device.ReasonNUL}).Draw(t, "reason"), 0)
					r.More = rapid.Int64Range(0, 2).Draw(t, "more")
					came[r.Reason] += 1 + r.More
					row++
					if r, now := l.Refused(at, r); now {
						record(r)
						recorded++
					}
				}
				if most := Free + 2*(1+int(at.Sub(begun)/Every)); recorded > most {
					t.Fatalf("got %d recorded in %v, want at most %d", recorded, at.Sub(begun), most)
				}
			},
			"over": func(t *rapid.T) {
				for _, r := range l.Over() {
					record(r)
				}
				if !reflect.DeepEqual(told, came) {
					t.Fatalf("got %v, want %v", told, came)
				}
				if recorded < min(row, Free) {
					t.Fatalf("got %d of a row of %d recorded, want all of the first %d", recorded, row, Free)
				}
				row, recorded, begun = 0, 0, at
			},
		})
	})
}
